"""What the readers of text captures share: numbered lines, and the loop that never stops at a bad one."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from itertools import chain
from typing import Final, NamedTuple

import numpy as np

from canlog.capture.source import HEADS_BYTES
from canlog.frames import BadLine, FrameRows, FrameTable

LONGEST_LINE_BYTES: Final = 1024 * 1024  # more in one line is no text; skipped in bounded memory
KEPT_TEXT: Final = 200  # characters of a bad line that are kept
CHUNK_FRAMES: Final = 32_768  # a table is handed on when it has as many; a block of bytes may add some more
MOST_CHANNELS: Final = 1000  # more names than that are damage, not buses
#: No car job lasts a year: a stamp that far from its neighbours has lost or won a digit.
FAR_NS: Final = 366 * 86_400 * 1_000_000_000
UTF8_BOM: Final = b"\xef\xbb\xbf"


class Damaged(Exception):  # noqa: N818  (it is a state of a line, and never leaves the readers)
    """This line is no frame, and why."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


class Stretch(NamedTuple):
    """Consecutive whole lines with their ends (a CR before LF is still there); the last of all may lack its end."""

    text: bytes
    end: bytes  # LF; CR where the first block has only those
    first: int  # number of the first line, 1-based
    position: int  # its byte position
    overlong: bool = False  # one line longer than LONGEST_LINE_BYTES, of which only the beginning is here

    def lines(self) -> list[bytes]:
        """Its lines without their ends."""
        lines = self.text.split(self.end)
        if not lines[-1]:
            lines.pop()
        return lines


def stretches(blocks: Iterable[bytes]) -> Iterator[Stretch]:
    """Blocks of bytes cut behind their last line end."""
    tail = b""  # a line not yet ended
    skipped = 0  # bytes of it already thrown away
    number, position, end = 1, 0, b""
    for block in blocks:
        if not end:
            end = b"\r" if b"\r" in block and b"\n" not in block else b"\n"
            if block.startswith(UTF8_BOM):
                block, position = block[len(UTF8_BOM) :], len(UTF8_BOM)
        text, tail = _cut_behind_last(end, tail + block if tail else block)
        if text and skipped:
            at = text.index(end) + 1
            yield Stretch(text[:at], end, number, position, overlong=True)
            number, position, skipped, text = number + 1, position + skipped + at, 0, text[at:]
        if text:
            yield Stretch(text, end, number, position)
            number, position = number + _count(end, text), position + len(text)
        if skipped or len(tail) > LONGEST_LINE_BYTES:
            skipped += len(tail) - len(tail[:KEPT_TEXT])
            tail = tail[:KEPT_TEXT]
    if tail or skipped:
        yield Stretch(tail, end, number, position, overlong=skipped > 0)


def _cut_behind_last(end: bytes, text: bytes) -> tuple[bytes, bytes]:
    at = text.rfind(end) + 1
    return (text, b"") if at == len(text) else (text[:at], text[at:])


def _count(end: bytes, text: bytes) -> int:
    """How often a character occurs; several times as fast as ``bytes.count`` where it is frequent."""
    return int(np.count_nonzero(np.frombuffer(text, dtype=np.uint8) == end[0]))


def peek(blocks: Iterable[bytes], recognise: Callable[[bytes], float]) -> tuple[bytes, Iterator[bytes]]:
    """The head of the bytes, long enough to hold a frame if that can be, and all of them again."""
    iterator = iter(blocks)
    first = head = b""
    for n_bytes in HEADS_BYTES:
        while len(first) < n_bytes and (block := next(iterator, b"")):
            first += block
        head = first[:n_bytes]
        if recognise(head) or len(first) < n_bytes:
            break
    return head, chain((first,), iterator)


def head_lines(head: bytes) -> list[bytes]:
    """The whole, non-blank lines of a head; comment lines left out."""
    lines = head.removeprefix(UTF8_BOM).replace(b"\r", b"\n").split(b"\n")
    if len(head) in HEADS_BYTES and len(lines) > 1:
        lines.pop()  # cut by us, not by the capture
    return [line for line in lines if line.strip() and not line.lstrip().startswith(b"#")]


def bad_line(number: int, reason: str, text: bytes) -> BadLine:
    """A line kept with its reason; bytes that are no UTF-8 are replaced."""
    return BadLine(number, reason, text[: KEPT_TEXT * 4].decode("utf-8", "replace").rstrip("\r\n")[:KEPT_TEXT])


class ChannelNames(dict[bytes, str]):
    """Channel names as text, each decoded once."""

    def __missing__(self, raw: bytes) -> str:
        if len(self) >= MOST_CHANNELS:
            raise Damaged("one more channel name after a thousand others")
        name = self[raw] = raw.decode("utf-8", "replace")
        return name


class _Held(NamedTuple):
    """A frame whose stamp waits for the next one to agree."""

    time_ns: int
    channel: str
    can_id: int
    flags: int
    data: bytes
    length: int
    number: int
    position: int
    text: bytes


class LineReader:
    """A reader of one text format: subclasses say what one line means.

    ``read_line`` calls :meth:`add`, raises :class:`Damaged`, or does neither for a line that says nothing.
    """

    def __init__(self) -> None:
        self.rows = FrameRows()
        self.last_ns: int | None = None  # stamp of the last frame
        self.channel_names = ChannelNames()
        self.held: _Held | None = None
        self._others: Counter[str] = Counter()

    def read_line(self, line: bytes, number: int, position: int) -> None:
        """One line of the source."""
        raise NotImplementedError

    def add(
        self, time_ns: int, channel: str, can_id: int, flags: int, data: bytes, length: int,
        number: int, position: int, line: bytes,
    ) -> None:  # fmt: skip
        """Keep a frame, unless its stamp is a year or more from the last one: that waits for a second opinion."""
        last = self.last_ns
        if last is not None and not -FAR_NS < time_ns - last < FAR_NS:
            self._judge_far(_Held(time_ns, channel, can_id, flags, data, length, number, position, line))
            return
        if self.held is not None:
            self.refuse_held()
        self.last_ns = time_ns
        self.rows.add(
            time_ns=time_ns, channel=channel, can_id=can_id, flags=flags, data=data, length=length,
            line=number, position=position,
        )  # fmt: skip

    def _judge_far(self, frame: _Held) -> None:
        held = self.held
        if held is None or not -FAR_NS < frame.time_ns - held.time_ns < FAR_NS:
            self.refuse_held()
            self.held = frame
            return
        # Two in a row agree: the clock was set, or two captures were joined.
        self.held, self.last_ns = None, held.time_ns
        for each in (held, frame):
            self.add(*each)

    def refuse_held(self) -> None:
        """The frame that waits for a second opinion got none."""
        if self.held is not None:
            self.rows.bad_lines.append(
                bad_line(self.held.number, "its time is far from its neighbours'", self.held.text)
            )
            self.held = None

    def note(self, sentence: str) -> None:
        """Remember an assumption once."""
        if sentence not in self.rows.notes:
            self.rows.notes.append(sentence)

    def count_other(self, what: str) -> None:
        """One more line that belongs to the form and is no frame; the sum becomes a note at the end."""
        self._others[what] += 1

    def tables(self, blocks: Iterable[bytes]) -> Iterator[FrameTable]:
        """Read all lines; at least one table, the last with everything that is left."""
        rows = self.rows
        for stretch in stretches(blocks):
            self.read_stretch(stretch)
            if len(rows) >= CHUNK_FRAMES or len(rows.bad_lines) >= CHUNK_FRAMES:
                yield rows.flush()
        self.refuse_held()
        for what, n_lines in self._others.items():
            self.note(f"{what}: {n_lines}")
        yield rows.flush()

    def read_stretch(self, stretch: Stretch) -> None:
        """Its lines, one after the other."""
        number, position = stretch.first, stretch.position
        for line in stretch.lines():
            if stretch.overlong:
                self.rows.bad_lines.append(bad_line(number, f"a line of more than {LONGEST_LINE_BYTES} bytes", line))
            else:
                self.try_line(line, number, position)
            number += 1
            position += len(line) + 1
        self.rows.lines_read = number - 1

    def try_line(self, line: bytes, number: int, position: int) -> None:
        """One line, kept with its reason if it is damaged."""
        try:
            self.read_line(line, number, position)
        except Damaged as damage:
            self.rows.bad_lines.append(bad_line(number, damage.reason, line))
