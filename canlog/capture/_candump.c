/* candump's log form, line by line in C: the same columns as candump_columns.py, from the same lines.
 *
 * Only lines of the usual exact shape are taken: `(SEC.FRAC) CHANNEL ID#DATA`, 6 or 9 decimals, an id of 3 or 8
 * digits, whole bytes, perhaps ` R` or ` T`, perhaps CR before LF. Every other line is reported as loose and left
 * to the reader of single lines. Nothing is read outside the text or written outside the arrays: each step first
 * asks how much is left. The interpreter is free for other threads meanwhile.
 */
#define PY_SSIZE_T_CLEAN
#include <Python.h>

#include <stdint.h>
#include <string.h>

enum { EXTENDED = 1, FD = 2, BRS = 4, ESI = 8, ERROR = 32, RECEIVED = 64, SENT = 128 }; /* FrameFlag */
enum { LONGEST_NAME = 15, MOST_NAMES = 64, CLASSIC_BYTES = 8, FD_BYTES = 64 };
enum { TIME, CHANNEL, ID, FLAGS, LENGTH, OFFSET, LINE, POSITION, PAYLOAD, LOOSE_ROW, LOOSE_LINE, LOOSE_START,
       LOOSE_STOP, N_ARRAYS };

static const Py_ssize_t ITEM_BYTES[N_ARRAYS] = {8, 2, 4, 2, 2, 8, 8, 8, 1, 8, 8, 8, 8};
static const int64_t LARGEST_SECONDS = 9223372035; /* int64 nanoseconds end one second later */
static const uint32_t LARGEST_11_BIT = 0x7FF, LARGEST_29_BIT = 0x1FFFFFFF, ERROR_BIT = 0x20000000;

static uint8_t nibble[256]; /* value of a hex digit, 0xFF for anything else */
static uint16_t pair[65536];  /* value of two hex digits, the first one in the low byte; WRONG for anything else */
static uint8_t is_fd_size[FD_BYTES + 1];

enum { WRONG = 0xFF00 };

typedef struct {
    const uint8_t *name[MOST_NAMES];
    Py_ssize_t size[MOST_NAMES];
    int count, last;
} Names;

typedef struct {
    int64_t time_ns;
    uint32_t id;
    uint16_t flags, length;
    int channel;
} Row;

/* The digits at `at`, as many as there are up to `most`; moves `at` behind them. */
static int64_t digits(const uint8_t **at, const uint8_t *end, int most, int *count)
{
    const uint8_t *p = *at;
    int64_t value = 0;
    if (end - p > most)
        end = p + most;
    while (p < end && *p >= '0' && *p <= '9')
        value = value * 10 + (*p++ - '0');
    *count = (int)(p - *at);
    *at = p;
    return value;
}

/* Eight characters as one number, the first in the lowest byte; compilers make one load of it where they can. */
static uint64_t eight(const uint8_t *p)
{
    return (uint64_t)p[0] | (uint64_t)p[1] << 8 | (uint64_t)p[2] << 16 | (uint64_t)p[3] << 24 | (uint64_t)p[4] << 32 |
           (uint64_t)p[5] << 40 | (uint64_t)p[6] << 48 | (uint64_t)p[7] << 56;
}

/* The number that eight decimal digits mean: neighbours joined to pairs, fours, eight. Sets `wrong` if they are none. */
static int64_t number(uint64_t digits, uint64_t *wrong)
{
    digits ^= 0x3030303030303030;
    *wrong |= (digits | (digits + 0x0606060606060606)) & 0xF0F0F0F0F0F0F0F0;
    digits = (digits * 10 + (digits >> 8)) & 0x00FF00FF00FF00FF;
    digits = (digits * 100 + (digits >> 16)) & 0x0000FFFF0000FFFF;
    return (int64_t)((digits * 10000 + (digits >> 32)) & 0xFFFFFFFF);
}

/* The stamp of a clock that is set, `(SSSSSSSSSS.FFFFFF) `: 20 characters. What stands behind it, or NULL. */
static const uint8_t *read_usual_stamp(const uint8_t *p, const uint8_t *end, int64_t *time_ns)
{
    uint64_t wrong = 0;
    int64_t seconds, micros;
    if (end - p < 20 || p[0] != '(' || p[11] != '.' || p[18] != ')' || p[19] != ' ')
        return NULL;
    seconds = number(eight(p + 1), &wrong) * 100;
    seconds += number((eight(p + 3) & 0xFFFF000000000000) | 0x0000303030303030, &wrong);
    micros = number((eight(p + 10) & 0xFFFFFFFFFFFF0000) | 0x3030, &wrong);
    if (wrong || seconds > LARGEST_SECONDS)
        return NULL;
    *time_ns = seconds * 1000000000 + micros * 1000;
    return p + 20;
}

/* `(SEC.FRAC) `; what stands behind it, or NULL. */
static const uint8_t *read_stamp(const uint8_t *p, const uint8_t *end, int64_t *time_ns)
{
    int whole, decimals;
    int64_t seconds, fraction;
    const uint8_t *behind = read_usual_stamp(p, end, time_ns);
    if (behind != NULL)
        return behind;
    if (p >= end || *p++ != '(')
        return NULL;
    seconds = digits(&p, end, 10, &whole);
    if (whole == 0 || seconds > LARGEST_SECONDS || p >= end || *p++ != '.')
        return NULL;
    fraction = digits(&p, end, 9, &decimals);
    if ((decimals != 6 && decimals != 9) || end - p < 2 || p[0] != ')' || p[1] != ' ')
        return NULL;
    *time_ns = seconds * 1000000000 + (decimals == 6 ? fraction * 1000 : fraction);
    return p + 2;
}

static int find_name(Names *names, const uint8_t *name, Py_ssize_t size)
{
    int at;
    if (names->count && names->size[names->last] == size && memcmp(names->name[names->last], name, size) == 0)
        return names->last;
    for (at = 0; at < names->count; at++)
        if (names->size[at] == size && memcmp(names->name[at], name, size) == 0)
            return names->last = at;
    if (names->count == MOST_NAMES)
        return -1;
    names->name[at] = name;
    names->size[at] = size;
    names->count++;
    return names->last = at;
}

/* The id, and what its digits say it is; 0 where it is none. */
static int read_id(const uint8_t *p, Py_ssize_t size, Row *row)
{
    uint32_t value = 0;
    uint8_t wrong = 0;
    Py_ssize_t at;
    if (size != 3 && size != 8)
        return 0;
    for (at = 0; at < size; at++) {
        uint8_t digit = nibble[p[at]];
        wrong |= digit;
        value = value << 4 | (digit & 0xF);
    }
    if (wrong > 0xF || (size == 3 && value > LARGEST_11_BIT) || value >= 2 * ERROR_BIT)
        return 0;
    row->flags = size == 3 ? 0 : value <= LARGEST_29_BIT ? EXTENDED : ERROR;
    row->id = row->flags == ERROR ? value - ERROR_BIT : value;
    return 1;
}

/* What stands behind the first `#`; the number of data bytes written, or -1. */
static int read_data(const uint8_t *p, const uint8_t *end, uint8_t *data, const uint8_t *data_end, Row *row)
{
    Py_ssize_t size, at;
    uint16_t wrong = 0;
    if (end - p >= 2 && p[0] == '#') {
        uint8_t digit = nibble[p[1]];
        if (digit > 0xF || row->flags & ERROR)
            return -1;
        row->flags |= FD | (digit & 1 ? BRS : 0) | (digit & 2 ? ESI : 0);
        p += 2;
    }
    if (end - p >= 2 && end[-2] == ' ') {
        uint8_t mark = end[-1] & 0xDF; /* upper case */
        if (mark != 'R' && mark != 'T')
            return -1;
        row->flags |= mark == 'T' ? SENT : RECEIVED;
        end -= 2;
    }
    size = (end - p) / 2;
    if ((end - p) % 2 || size > data_end - data)
        return -1;
    if (row->flags & FD ? size > FD_BYTES || !is_fd_size[size] : size > CLASSIC_BYTES)
        return -1;
    for (at = 0; at < size; at++) {
        uint16_t value = pair[p[2 * at] | p[2 * at + 1] << 8];
        wrong |= value;
        data[at] = (uint8_t)value;
    }
    row->length = (uint16_t)size;
    return wrong >= WRONG ? -1 : (int)size;
}

/* One line without its end. The number of data bytes written, or -1: it is loose. */
static int read_line(const uint8_t *p, const uint8_t *end, Names *names, uint8_t *data, const uint8_t *data_end, Row *row)
{
    const uint8_t *name, *blank, *hash;
    int size;
    if (p < end && end[-1] == '\r')
        end--;
    p = read_stamp(p, end, &row->time_ns);
    if (p == NULL)
        return -1;
    while (p < end && *p == ' ')
        p++; /* short names are right-aligned */
    for (name = p; p < end && *p > ' ' && *p <= '~' && *p != '(' && *p != ')' && *p != '#'; p++)
        ;
    blank = p;
    if (blank == name || blank - name > LONGEST_NAME || p >= end || *p++ != ' ')
        return -1;
    hash = p + 3 < end && p[3] == '#' ? p + 3 : p + 8 < end && p[8] == '#' ? p + 8 : NULL;
    if (hash == NULL || !read_id(p, hash - p, row))
        return -1;
    size = read_data(hash + 1, end, data, data_end, row);
    if (size < 0)
        return -1;
    row->channel = find_name(names, name, blank - name);
    return row->channel < 0 ? -1 : size;
}

typedef struct {
    void *array[N_ARRAYS];
    Py_ssize_t rows, loose, payload; /* how much there is room for */
} Arrays;

#define PUT(kind, type, at, value) (((type *)arrays->array[kind])[at] = (type)(value))

/* All lines of a text. Their numbers of rows, loose lines and payload bytes; -1 where the arrays are too short. */
static int read_text(const uint8_t *text, Py_ssize_t size, int64_t line, int64_t position, Names *names,
                     const Arrays *arrays, Py_ssize_t used[3])
{
    const uint8_t *p = text, *end = text + size, *stop;
    uint8_t *payload = arrays->array[PAYLOAD];
    Py_ssize_t row = 0, loose = 0, n_bytes = 0;
    for (; p < end; p = stop + 1, line++) {
        Row one;
        int written = -1;
        stop = memchr(p, '\n', (size_t)(end - p));
        if (stop == NULL)
            stop = end;
        if (row < arrays->rows)
            written = read_line(p, stop, names, payload + n_bytes, payload + arrays->payload, &one);
        if (written < 0) {
            if (loose == arrays->loose)
                return -1;
            PUT(LOOSE_ROW, int64_t, loose, row);
            PUT(LOOSE_LINE, int64_t, loose, line);
            PUT(LOOSE_START, int64_t, loose, p - text);
            PUT(LOOSE_STOP, int64_t, loose, stop - text);
            loose++;
            continue;
        }
        PUT(TIME, int64_t, row, one.time_ns);
        PUT(CHANNEL, int16_t, row, one.channel);
        PUT(ID, uint32_t, row, one.id);
        PUT(FLAGS, uint16_t, row, one.flags);
        PUT(LENGTH, uint16_t, row, one.length);
        PUT(OFFSET, int64_t, row, n_bytes);
        PUT(LINE, int64_t, row, line);
        PUT(POSITION, int64_t, row, position + (p - text));
        n_bytes += written;
        row++;
    }
    used[0] = row;
    used[1] = loose;
    used[2] = n_bytes;
    return 0;
}

static PyObject *names_of(const Names *names)
{
    PyObject *all = PyTuple_New(names->count);
    int at;
    for (at = 0; all != NULL && at < names->count; at++) {
        PyObject *name = PyBytes_FromStringAndSize((const char *)names->name[at], names->size[at]);
        if (name == NULL)
            Py_CLEAR(all);
        else
            PyTuple_SET_ITEM(all, at, name);
    }
    return all;
}

static int take_arrays(PyObject *given, Py_buffer views[N_ARRAYS], int *taken, Arrays *arrays)
{
    Py_ssize_t room[N_ARRAYS];
    int kind;
    if (!PyTuple_Check(given) || PyTuple_GET_SIZE(given) != N_ARRAYS) {
        PyErr_SetString(PyExc_ValueError, "not as many arrays as needed");
        return -1;
    }
    for (kind = 0; kind < N_ARRAYS; kind++) {
        if (PyObject_GetBuffer(PyTuple_GET_ITEM(given, kind), &views[kind], PyBUF_WRITABLE | PyBUF_C_CONTIGUOUS) < 0)
            return -1;
        *taken = kind + 1;
        if (views[kind].itemsize != ITEM_BYTES[kind]) {
            PyErr_SetString(PyExc_ValueError, "an array of another kind than needed");
            return -1;
        }
        arrays->array[kind] = views[kind].buf;
        room[kind] = views[kind].len / ITEM_BYTES[kind];
    }
    arrays->rows = room[TIME];
    for (kind = TIME; kind < PAYLOAD; kind++)
        arrays->rows = room[kind] < arrays->rows ? room[kind] : arrays->rows;
    arrays->payload = room[PAYLOAD];
    arrays->loose = room[LOOSE_ROW];
    for (kind = LOOSE_ROW; kind < N_ARRAYS; kind++)
        arrays->loose = room[kind] < arrays->loose ? room[kind] : arrays->loose;
    return 0;
}

static PyObject *parse(PyObject *self, PyObject *args)
{
    Py_buffer text, views[N_ARRAYS];
    PyObject *given, *answer = NULL;
    long long line, position;
    Py_ssize_t used[3];
    Arrays arrays;
    Names names = {.count = 0, .last = 0};
    int taken = 0, result;
    (void)self;
    if (!PyArg_ParseTuple(args, "y*LLO", &text, &line, &position, &given))
        return NULL;
    if (take_arrays(given, views, &taken, &arrays) == 0) {
        Py_BEGIN_ALLOW_THREADS
        result = read_text(text.buf, text.len, line, position, &names, &arrays, used);
        Py_END_ALLOW_THREADS
        if (result < 0)
            PyErr_SetString(PyExc_ValueError, "the arrays are too short for this text");
        else
            answer = Py_BuildValue("nnnN", used[0], used[1], used[2], names_of(&names));
    }
    while (taken)
        PyBuffer_Release(&views[--taken]);
    PyBuffer_Release(&text);
    return answer;
}

static PyMethodDef methods[] = {
    {"parse", parse, METH_VARARGS,
     "parse(text, first_line, position, arrays) -> (rows, loose lines, payload bytes, channel names)"},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {PyModuleDef_HEAD_INIT, "_candump", "Lines of candump's log form to columns.", -1,
                                    methods, NULL, NULL, NULL, NULL};

PyMODINIT_FUNC PyInit__candump(void)
{
    static const uint8_t sizes[] = {0, 1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 20, 24, 32, 48, 64};
    size_t at;
    memset(nibble, 0xFF, sizeof nibble);
    for (at = 0; at < 10; at++)
        nibble['0' + at] = (uint8_t)at;
    for (at = 0; at < 6; at++)
        nibble['a' + at] = nibble['A' + at] = (uint8_t)(10 + at);
    for (at = 0; at < 65536; at++)
        pair[at] = nibble[at & 0xFF] > 0xF || nibble[at >> 8] > 0xF ? WRONG
                                                                   : (uint16_t)(nibble[at & 0xFF] << 4 | nibble[at >> 8]);
    for (at = 0; at < sizeof sizes; at++)
        is_fd_size[sizes[at]] = 1;
    return PyModule_Create(&module);
}
