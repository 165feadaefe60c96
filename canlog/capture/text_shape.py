"""The shape of lines that nobody described: where time, channel, direction, id, length and bytes stand.

Theory of operation: a line is cut into words; a word is addressed by the label before it (``ID:``, ``dlc=``)
and its place behind that label, so that lines with and without an optional word still agree. Then each part
of a frame is looked for among the addresses by what only it can be:

- bytes: a run of small numbers, best one whose number another word states (the length);
- id: a number that repeats from line to line, with three or eight digits, a prefix or a label;
- time: the only other number that rises, or a date, or a time of day;
- direction, channel, kind of id: words of a small vocabulary.

Where two places would do as well, or the base of the bytes cannot be told, there is no shape: better no
frames than wrong ones.

Source: common practice, no source; labels also from python-can 4.6.1 (``str`` and ``repr`` of a message).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, NamedTuple

from canlog.capture.csv_header import time_unit
from canlog.capture.identifiers import LARGEST_29_BIT
from canlog.capture.number_base import base_of_bytes, base_of_ids, without_hex_signs

#: The label before a word (lower case, empty at the start of a line) and its place behind it, from 0.
Address = tuple[bytes, int]

_TOKEN: Final = re.compile(
    rb"""(?P<date>\d{4}[-/.]\d\d[-/.]\d\d[T ]\d\d:\d\d:\d\d(?:[.,]\d{1,9})?(?:Z|[+-]\d\d:?\d\d)?(?![\w:]))
    |(?P<clock>(?<![\w:])\d{1,2}:\d\d:\d\d(?:[.,]\d{1,9})?(?![\w:]))
    |(?P<label>[A-Za-z_]{2,24}["']?[ ]?[:=])
    |(?P<decimal>(?<![\w.])-?\d+\.\d+(?:[eE][+-]?\d{1,2})?(?![\w.]))
    |(?P<arrow><-{1,3}|-{1,3}>|<<|>>|[<>])
    |(?P<word>\w+)""",
    re.VERBOSE,
)
_HEX_LETTERS: Final = re.compile(rb"[A-Fa-f]+")
_BYTE: Final = re.compile(rb"(?:0[xX])?[0-9A-Fa-f]{1,2}|[0-9]{3}")
_LONG: Final = re.compile(rb"(?:0[xX])?((?:[0-9A-Fa-f]{2}){2,64})")
_ID: Final = re.compile(rb"(?:0[xX])?[0-9A-Fa-f]{1,8}|[0-9]{9}|[0-9A-Fa-f]{1,8}[hHxX]")
_MARKED: Final = re.compile(rb"0[xX].+|.+[hHxX]")
_COUNT: Final = re.compile(rb"\d{1,19}")

_ID_LABELS: Final = frozenset((b"id", b"canid", b"can_id", b"arbitration_id", b"identifier", b"msgid", b"arbid"))
_UNITS: Final = {b"ms": "milliseconds", b"us": "microseconds", b"s": "seconds", b"ns": "nanoseconds"}
_LENGTH_LABELS: Final = frozenset((b"dlc", b"len", b"length", b"dl", b"size"))
_CHANNEL_LABELS: Final = frozenset((b"channel", b"ch", b"bus", b"interface", b"iface"))
_CHANNEL: Final = re.compile(rb"(?:v|sl|vx)?can\d{1,3}|ch(?:an)?\d{1,3}|bus\d{1,3}", re.IGNORECASE)
RECEIVED: Final = frozenset((b"rx", b"r", b"recv", b"received", b"in", b"<-", b"<--", b"<", b"<<"))
SENT: Final = frozenset((b"tx", b"t", b"sent", b"send", b"out", b"->", b"-->", b">", b">>"))
IS_RECEIVED: Final = b"is_rx"  # a label whose word is yes or no
EXTENDED: Final = frozenset((b"x", b"ext", b"extended", b"xtd", b"eff", b"true", b"1"))
STANDARD: Final = frozenset((b"s", b"std", b"standard", b"base", b"sff", b"false", b"0"))
_EXTENDED_LABELS: Final = frozenset((b"is_extended_id", b"extended", b"ide", b"ext"))
YES: Final = frozenset((b"true", b"1", b"yes"))
NO: Final = frozenset((b"false", b"0", b"no"))

_LEARNED_FROM: Final = 1000  # lines
FEWEST_LINES: Final = 6
#: Share of lines that must agree on a place, and that must fit in the end.
_AGREE: Final = 0.95
FEWEST_FITTING: Final = 0.7
_MOST_WORDS: Final = 200


class Word(NamedTuple):
    """One word of a line."""

    text: bytes
    kind: str  # date, clock, decimal, arrow or word


class Line:
    """A line as words by their address."""

    def __init__(self, line: bytes) -> None:
        self.words: dict[Address, Word] = {}
        label, place = b"", 0
        for match in _TOKEN.finditer(_without_ascii_column(line)):
            kind = match.lastgroup or "word"
            if kind == "label":
                name = match[0].rstrip(b":= \"'").lower()
                if not _HEX_LETTERS.fullmatch(name):
                    label, place = name, 0
                    continue
                kind, name = "word", match[0].rstrip(b":= \"'")
                self._put((label, place), Word(name, kind))
            else:
                self._put((label, place), Word(match[0], kind))
            place += 1
            if place > _MOST_WORDS:
                break

    def _put(self, address: Address, word: Word) -> None:
        self.words.setdefault(address, word)

    def text(self, address: Address | None) -> bytes | None:
        """The word there, or nothing."""
        word = self.words.get(address) if address is not None else None
        return word.text if word is not None else None

    def run_sizes(self) -> dict[Address, int]:
        """How many bytes :meth:`run` gives from each address on, where it gives any."""
        sizes: dict[Address, int] = {}
        for label, place in reversed(self.words):
            word = self.words[label, place]
            if word.kind != "word":
                continue
            if match := _LONG.fullmatch(word.text):
                sizes[label, place] = len(match[1]) // 2
            elif _BYTE.fullmatch(word.text):
                behind = self.words.get((label, place + 1))
                goes_on = behind is not None and behind.kind == "word" and _BYTE.fullmatch(behind.text)
                sizes[label, place] = 1 + (sizes.get((label, place + 1), 0) if goes_on else 0)
        return sizes

    def run(self, start: Address) -> list[bytes]:
        """The bytes from there on: words one behind the other that can be bytes, or one long hex number."""
        label, place = start
        first = self.text(start)
        if first is None:
            return []
        if match := _LONG.fullmatch(first):
            digits = match[1]
            return [digits[at : at + 2] for at in range(0, len(digits), 2)]
        run: list[bytes] = []
        while (
            (text := self.text((label, place))) is not None and _BYTE.fullmatch(text) and _is_word(self, label, place)
        ):
            run.append(text)
            place += 1
        return run


def _is_word(line: Line, label: bytes, place: int) -> bool:
    return line.words[label, place].kind == "word"


def _without_ascii_column(line: bytes) -> bytes:
    """A line without the characters that its bytes stand for, in quotes or bars at its end."""
    text = line.rstrip()
    match text[-1:]:
        case b"|":
            at = text.find(b" |", 0, -1)
        case b"'" | b'"':
            at = text.rfind(b" " + text[-1:], 0, -1)
        case _:
            at = -1
    return text if at < 0 else text[:at]


@dataclass(frozen=True)
class Shape:
    """Where the parts of a frame stand."""

    id: Address
    data: Address
    id_base: int
    byte_base: int
    length: Address | None = None
    time: Address | None = None
    unit: str = ""  # of the time, where the lines name it
    direction: Address | None = None
    channel: Address | None = None
    extended: Address | None = None

    def in_words(self) -> str:
        """What was learned, for the user."""
        bases = {10: "decimal", 16: "hex"}
        unit = f" ({self.unit})" if self.unit else ""
        parts = [
            ("time", self.time, unit), ("channel", self.channel, ""), ("direction", self.direction, ""),
            ("id", self.id, f" ({bases[self.id_base]})"), ("kind of id", self.extended, ""),
            ("length", self.length, ""), ("bytes from", self.data, f" ({bases[self.byte_base]})"),
        ]  # fmt: skip
        return ", ".join(f"{name} {_place(at)}{more}" for name, at, more in parts if at is not None)


class Unsure(Exception):  # noqa: N818  (an answer, not a failure)
    """No shape can be told, and why."""


def _place(address: Address) -> str:
    label, place = address
    if not label:
        return f"word {place + 1}"
    return f"behind `{label.decode('ascii', 'replace')}`" + (f" word {place + 1}" if place else "")


def learn_shape(texts: Sequence[bytes]) -> Shape:
    """The shape that most of these lines have.

    Raises:
        Unsure: too few lines, or not one shape without doubt.
    """
    lines = [Line(text) for text in texts[:_LEARNED_FROM]]
    if len(lines) < FEWEST_LINES:
        raise Unsure(f"{len(lines)} lines are too few to learn from")
    length, data = _find_data(lines)
    lines = [line for line in lines if (run := line.run(data)) and (not length or _states(line.text(length), len(run)))]
    used = {length, data}
    id_at = _find_id(
        lines, [at for at in _shared(lines) if at not in used and not _is_inside(at, data)], length or data
    )
    used.add(id_at)
    free = [at for at in _shared(lines) if at not in used and not _is_inside(at, data)]
    byte_base = base_of_bytes([text for line in lines for text in line.run(data)])
    if byte_base is None:
        raise Unsure("its bytes may be hex or decimal")
    time = _find_time(lines, free)
    direction = _find_words(lines, free, _is_direction)
    free = [at for at in free if at not in (time, direction)]
    return Shape(
        id=id_at,
        data=data,
        id_base=base_of_ids([text for line in lines if (text := line.text(id_at)) is not None]),
        byte_base=byte_base,
        length=length,
        time=time,
        unit=_find_unit(lines, time),
        direction=direction,
        channel=_find_words(lines, free, lambda at, text: at[0] in _CHANNEL_LABELS or bool(_CHANNEL.fullmatch(text))),
        extended=_find_words(lines, free, _is_extended),
    )


def _shared(lines: Sequence[Line]) -> list[Address]:
    """Addresses that nearly all lines have, in the order of the first line that has most."""
    counts: dict[Address, int] = {}
    for line in lines:
        for at in line.words:
            counts[at] = counts.get(at, 0) + 1
    return [at for at, n_lines in counts.items() if n_lines >= _AGREE * len(lines)]


def _is_inside(at: Address, data: Address) -> bool:
    return at[0] == data[0] and at[1] >= data[1]


def _find_data(lines: Sequence[Line]) -> tuple[Address | None, Address]:
    """Where the length (if any) and the bytes stand."""
    counts: dict[Address, int] = {}
    for line in lines:
        for at in line.words:
            counts[at] = counts.get(at, 0) + 1
    common = [at for at, n_lines in counts.items() if n_lines >= FEWEST_FITTING * len(lines)]
    sizes = [line.run_sizes() for line in lines]
    starts = {at: [each.get(at, 0) for each in sizes] for at in common}
    starts = {at: runs for at, runs in starts.items() if sum(map(bool, runs)) >= FEWEST_FITTING * len(lines)}
    pairs = []
    for start, runs in starts.items():
        for at in common:
            if at != start and not _is_inside(at, start) and _states_sizes(lines, at, runs):
                varied = len(set(runs)) > 1
                pairs.append((at[0] in _LENGTH_LABELS, _follows(at, start), varied, sum(runs), at, start))
    if pairs:
        *_, at, start = max(pairs)
        return at, start
    if not starts:
        raise Unsure("no place where bytes stand in most lines")
    longest = max(starts, key=lambda at: sum(starts[at]))
    if sum(starts[longest]) < 2 * len(lines):
        raise Unsure("no place where bytes stand in most lines")
    return None, longest


def _states_sizes(lines: Sequence[Line], at: Address, sizes: Sequence[int]) -> bool:
    """Does a word state how many bytes follow, in nearly all lines that have any? The first lines say no soon."""
    wrong, allowed = 0, (1 - _AGREE) * sum(map(bool, sizes))
    for line, size in zip(lines, sizes, strict=True):
        wrong += bool(size) and not _states(line.text(at), size)
        if wrong > allowed:
            return False
    return True


def _states(text: bytes | None, size: int) -> bool:
    return text is not None and len(text) <= 4 and text.isdigit() and int(text) == size > 0


def _follows(at: Address, start: Address) -> bool:
    return at[0] == start[0] and at[1] + 1 == start[1]


def _find_id(lines: Sequence[Line], places: Sequence[Address], behind: Address) -> Address:
    scores = {at: _id_score(lines, at, behind) for at in places}
    ranked = sorted(scores, key=lambda at: scores[at], reverse=True)
    if not ranked or scores[ranked[0]] < 2:
        raise Unsure("no word looks like an id")
    if len(ranked) > 1 and scores[ranked[1]] >= scores[ranked[0]] - 1:
        raise Unsure(f"two words could be the id: {_place(ranked[0])} and {_place(ranked[1])}")
    return ranked[0]


def _id_score(lines: Sequence[Line], at: Address, behind: Address) -> int:
    """How much speaks for an id there; -1 if it cannot be one."""
    words = [word for line in lines if (word := line.words.get(at)) is not None]
    texts = [word.text for word in words]
    if not all(word.kind == "word" and _ID.fullmatch(word.text) for word in words) or _time_label(at) is not None:
        return -1
    base = base_of_ids(texts)
    values = [int(without_hex_signs(text) if base == 16 else text, base) for text in texts]
    distinct = len(set(values))
    if max(values) > LARGEST_29_BIT or distinct > max(8, 0.6 * len(values)) or _is_counter(values):
        return -1
    digits = {len(without_hex_signs(text)) for text in texts}
    if distinct == 1 and digits == {1}:
        return -1  # a sign that all lines have
    return (
        4 * (at[0] in _ID_LABELS)
        + 3 * all(_MARKED.fullmatch(text) for text in texts)
        + 2 * (digits <= {3, 8})
        + (base == 16 and any(_HEX_LETTERS.search(text) for text in texts))
        + (base == 10 and max(values) > 255)
        + (distinct > 1)
        + _follows(at, behind)
    )


def _is_counter(values: Sequence[int]) -> bool:
    return len(values) > 2 and all(after - before == 1 for before, after in pairwise(values))


def _find_time(lines: Sequence[Line], places: Sequence[Address]) -> Address | None:
    """The place of the time; none where nothing rises.

    Raises:
        Unsure: two places rise alike.
    """
    scores = {at: score for at in places if (score := _time_score(lines, at)) > 0}
    ranked = sorted(scores, key=lambda at: scores[at], reverse=True)
    if len(ranked) > 1 and scores[ranked[0]] == scores[ranked[1]]:
        raise Unsure(f"two words could be the time: {_place(ranked[0])} and {_place(ranked[1])}")
    return ranked[0] if ranked else None


def _time_score(lines: Sequence[Line], at: Address) -> int:
    words = [word for line in lines if (word := line.words.get(at)) is not None]
    kinds = {word.kind for word in words}
    if kinds in ({"date"}, {"clock"}):
        return 6 if kinds == {"date"} else 5
    if not kinds <= {"decimal", "word"} or not all(
        word.kind == "decimal" or _COUNT.fullmatch(word.text) for word in words
    ):
        return 0
    values = [float(word.text) for word in words]
    steps = [after - before for before, after in pairwise(values)]
    if not any(step > 0 for step in steps) or sum(step < 0 for step in steps) > (1 - _AGREE) * len(steps) + 1:
        return 0
    if all(step == 1 for step in steps):
        return 0  # a counter of lines
    return 1 + 4 * (_time_label(at) is not None) + 2 * ("decimal" in kinds)


def _time_label(at: Address) -> str | None:
    """The unit that the label names, nothing where it only says time, None where it does not."""
    return time_unit(at[0].decode("ascii", "replace")) if at[0] else None


def _find_unit(lines: Sequence[Line], time: Address | None) -> str:
    """The unit of the time, where its label or the word behind it names one."""
    if time is None:
        return ""
    behind = {line.text((time[0], time[1] + 1)) for line in lines}
    word = behind.pop() if len(behind) == 1 else None
    return _time_label(time) or (_UNITS.get(word, "") if word else "")


def _is_direction(at: Address, text: bytes) -> bool:
    if at[0] == IS_RECEIVED:
        return text.lower() in YES | NO
    return text.lower() in RECEIVED | SENT


def _is_extended(at: Address, text: bytes) -> bool:
    if at[0] in _EXTENDED_LABELS:
        return text.lower() in EXTENDED | STANDARD
    return text.lower() in (EXTENDED | STANDARD) - YES - NO


def _find_words(
    lines: Sequence[Line], places: Sequence[Address], fits: Callable[[Address, bytes], bool]
) -> Address | None:
    """The first place where every line has a word of a vocabulary."""
    for at in places:
        texts = [text for line in lines if (text := line.text(at)) is not None]
        if texts and all(fits(at, text) for text in texts):
            return at
    return None
