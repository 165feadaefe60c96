"""Text of unknown shape: one frame a line, in an order that is learned from the lines themselves.

Theory of operation: :mod:`canlog.capture.text_shape` says where the parts of a frame stand. Lines that do
not have that shape are damage with a reason. What was learned and how many lines fit is told. This form
comes last: every described form is surer of what its words mean.

Source: common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Final, NamedTuple

from canlog.capture.identifiers import (
    CLASSIC_BYTES,
    LARGEST_11_BIT,
    LARGEST_29_BIT,
    NOTE_UNPADDED,
    Identifiers,
    check_size,
)
from canlog.capture.lines import Damaged, LineReader, bad_line, head_lines, peek
from canlog.capture.number_base import NOTE_DECIMAL_BYTES, NOTE_DECIMAL_IDS, number, without_hex_signs
from canlog.capture.stamp_text import Stamps
from canlog.capture.text_shape import (
    EXTENDED,
    FEWEST_FITTING,
    FEWEST_LINES,
    IS_RECEIVED,
    RECEIVED,
    YES,
    Line,
    Shape,
    Unsure,
    learn_shape,
)
from canlog.frames import FrameFlag, FrameRows, FrameTable, TimeKind

NAME: Final = "learned-text"
ABOUT: Final = "any other text with one frame a line; its shape is learned from the lines"
EXPECTED: Final = "no shape that most lines share"
EVIDENCE: Final = "most lines have id and bytes (and time, direction, channel, length if any) in the same places"
CANNOT_TELL: Final = "what its words do not say; whether a time's unit was guessed right; error frames"
SUFFIXES: Final[tuple[str, ...]] = ()

#: What the surest learned shape is worth against a described form.
LARGEST_FIT: Final = 0.5
#: A shape was seen, but not without doubt: enough to be asked for the reason.
_DOUBT: Final = 1e-6
_NO_CHANNEL: Final = b"bus"
_TROUBLE: Final = re.compile(rb"error|err\b|bus.?off|passive|warning|overrun|status", re.IGNORECASE)
_LONGEST_LINE: Final = 4096


class _Learned(NamedTuple):
    """What a head teaches: a shape and how many of its lines fit, or why there is none."""

    shape: Shape | None
    n_fitting: int
    n_lines: int
    doubt: str


def recognise(head: bytes) -> float:
    """At most 0.5: half the share of lines that fit the shape learned; 0 without one."""
    learned = _learn(head)
    if learned.shape is not None:
        return LARGEST_FIT * learned.n_fitting / learned.n_lines
    return _DOUBT if learned.n_lines >= FEWEST_LINES else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames, chunk by chunk; a table with nothing but a reason where no shape can be told."""
    head, blocks = peek(blocks, recognise)
    learned = _learn(head)
    if learned.shape is None:
        return iter([_refusal(learned.doubt)])
    reader = _LearnedText(head_lines(head), learned.shape)
    reader.note(
        f"its shape was learned from the lines: {learned.shape.in_words()}; "
        f"{learned.n_fitting} of the first {learned.n_lines} fit"
    )
    return reader.tables(blocks)


@lru_cache(maxsize=2)  # a head is asked for several times while a form is chosen and read
def _learn(head: bytes) -> _Learned:
    lines = head_lines(head)
    try:
        shape = learn_shape(lines)
    except Unsure as doubt:
        return _Learned(None, 0, len(lines), str(doubt))
    fitting = _n_fitting(lines, shape)
    if not _is_enough(fitting, len(lines)):
        reason = f"{fitting} of {len(lines)} lines fit what was learned: {shape.in_words()}"
        return _Learned(None, fitting, len(lines), reason)
    return _Learned(shape, fitting, len(lines), "")


def _is_enough(fitting: int, n_lines: int) -> bool:
    return fitting >= FEWEST_LINES and fitting >= FEWEST_FITTING * n_lines


def _refusal(reason: str) -> FrameTable:
    rows = FrameRows(lines_read=1)
    rows.bad_lines.append(bad_line(1, reason, b""))
    return rows.flush()


def _n_fitting(lines: list[bytes], shape: Shape) -> int:
    reader = _LearnedText(lines, shape)
    for line in lines:
        reader.try_line(line, 1, 0)
    return len(reader.rows)


class _LearnedText(LineReader):
    def __init__(self, head: list[bytes], shape: Shape) -> None:
        super().__init__()
        self._shape = shape
        stamps = [text for line in head if shape.time and (text := Line(line).text(shape.time)) is not None]
        self._stamps = Stamps(stamps, shape.unit)
        self.rows.time_kind = self._stamps.time_kind if stamps else TimeKind.NONE
        self.rows.notes += self._stamps.notes if stamps else []
        self._identifiers = Identifiers()
        if shape.id_base == 10:
            self.note(NOTE_DECIMAL_IDS)
        if shape.byte_base == 10:
            self.note(NOTE_DECIMAL_BYTES)

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b"#"):
            return
        if len(text) > _LONGEST_LINE:
            raise Damaged("a line far longer than the others")
        try:
            self._read_frame(Line(line), line, number, position)
        except Damaged:
            if _TROUBLE.search(text):
                raise Damaged("no frame: it speaks of an error or a status") from None
            raise

    def _read_frame(self, words: Line, line: bytes, number: int, position: int) -> None:
        shape = self._shape
        can_id, flags = self._identifier(words)
        data = self._data(words)
        if len(data) > CLASSIC_BYTES:
            flags |= FrameFlag.FD.value
        check_size(len(data), fd=len(data) > CLASSIC_BYTES)
        direction = words.text(shape.direction)
        if direction is not None and shape.direction is not None:
            names = YES if shape.direction[0] == IS_RECEIVED else RECEIVED
            flags |= FrameFlag.RECEIVED.value if direction.lower() in names else FrameFlag.SENT.value
        time = words.text(shape.time)
        if time is None and shape.time is not None:
            raise Damaged("no time, though the others have one")
        time_ns = self._stamps.time_ns(time) if time is not None else 0
        channel = self.channel_names[words.text(shape.channel) or _NO_CHANNEL]
        self.add(time_ns, channel, can_id, flags, data, len(data), number, position, line)

    def _identifier(self, words: Line) -> tuple[int, int]:
        text = words.text(self._shape.id)
        if text is None:
            raise Damaged("no id where the others have one")
        try:
            can_id = number(without_hex_signs(text) if self._shape.id_base == 16 else text, self._shape.id_base)
        except ValueError:
            raise Damaged("its id is no number") from None
        kind = words.text(self._shape.extended)
        if kind is not None:
            extended = kind.lower() in EXTENDED
            if can_id > (LARGEST_29_BIT if extended else LARGEST_11_BIT):
                raise Damaged("the id has more bits than its kind")
            return can_id, FrameFlag.EXTENDED.value if extended else 0
        if self._shape.id_base == 16 and text[:2].lower() != b"0x":
            answer = self._identifiers[without_hex_signs(text)] if len(text) <= 8 else (can_id, 0)
            if self._identifiers.unpadded:
                self.note(NOTE_UNPADDED)
            return answer
        if can_id > LARGEST_29_BIT:
            raise Damaged("the id has more than 29 bits")
        return can_id, FrameFlag.EXTENDED.value if can_id > LARGEST_11_BIT else 0

    def _data(self, words: Line) -> bytes:
        run = words.run(self._shape.data)
        length = words.text(self._shape.length)
        if self._shape.length is not None:
            if length is None or not length.isdigit() or len(length) > 4:
                raise Damaged("no length where the others have one")
            if int(length) != len(run):
                raise Damaged(f"{int(length)} bytes announced, {len(run)} there")
        elif not run:
            raise Damaged("no bytes where the others have them")
        try:
            digits = run if self._shape.byte_base == 10 else [without_hex_signs(text) for text in run]
            return bytes(number(text, self._shape.byte_base) for text in digits)
        except ValueError:
            raise Damaged("its data are no bytes") from None
