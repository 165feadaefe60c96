"""Id and bytes alone, as people write them down: ``7E8 02 50 03``, ``7E8#025003``, ``0x7E8 02 50 03``.

Theory of operation: a line is an id, perhaps its length, and its bytes as pairs of hex digits. There is no
time and no channel, only order. An id has 3 or more digits, so that it cannot be a byte.

Source: common practice, no source.
"""

from __future__ import annotations

import re
from binascii import unhexlify
from collections.abc import Iterable, Iterator
from typing import Final

from canlog.capture.identifiers import CLASSIC_BYTES, NOTE_UNPADDED, Identifiers, check_size
from canlog.capture.lines import Damaged, LineReader, head_lines, peek
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "id-data"
ABOUT: Final = "id and bytes alone, without a time: 7E8 02 50 03 or 7E8#025003"
EXPECTED: Final = "no line like `7E8 02 50 03` or `7E8#025003`"
EVIDENCE: Final = "lines of an id with 3 to 8 hex digits and at most 64 bytes, and nothing else"
CANNOT_TELL: Final = "time, direction, channel, error frames, CAN FD up to 8 bytes"
SUFFIXES: Final[tuple[str, ...]] = ()

_BYTE: Final = rb"(?:0x)?[0-9A-F]{2}"
_LINE: Final = re.compile(
    rb"(?:0x)?(?P<id>[0-9A-F]{3,8})(?:\s*\#\s*|\s*[:;,]\s*|\s+)"
    rb"(?:(?:\[(?P<boxed>\d{1,2})\]|(?P<length>\d))(?=[\s,;:]|$)[\s,;:]*)?"
    rb"(?P<data>" + _BYTE + rb"(?:[\s,;.\-]*" + _BYTE + rb")*)?",
    re.IGNORECASE,
)
_PREFIX: Final = re.compile(rb"0[xX](?=[0-9A-Fa-f]{2})")
_SIGNS: Final = re.compile(rb"[\s,;.\-]+")
_CHANNEL: Final = "bus"
#: candump's own forms, which have their readers, come first where a line fits both.
_FAITH: Final = 0.9


def recognise(head: bytes) -> float:
    """The share of lines that are frames in this form, at most 0.9."""
    lines = head_lines(head)
    return _FAITH * sum(_is_frame(line) for line in lines) / max(len(lines), 1)


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a list, chunk by chunk."""
    _, blocks = peek(blocks, recognise)
    return _IdData().tables(blocks)


def _is_frame(line: bytes) -> bool:
    match = _LINE.fullmatch(line.strip())
    return match is not None and match["data"] is not None


class _IdData(LineReader):
    def __init__(self) -> None:
        super().__init__()
        self.rows.time_kind = TimeKind.NONE
        self._identifiers = Identifiers()

    def read_line(self, line: bytes, number: int, position: int) -> None:
        text = line.strip()
        if not text or text.startswith(b"#"):
            return
        match = _LINE.fullmatch(text) if len(text) <= 512 else None
        if match is None:
            raise Damaged("no id followed by bytes")
        can_id, flags = self._identifiers[match["id"]]
        if self._identifiers.unpadded:
            self.note(NOTE_UNPADDED)
        data = unhexlify(_SIGNS.sub(b"", _PREFIX.sub(b"", match["data"] or b"")))
        announced = match["boxed"] or match["length"]
        if announced is not None and int(announced) != len(data):
            raise Damaged(f"{int(announced)} bytes announced, {len(data)} there")
        if announced is None and not data:
            raise Damaged("an id without bytes")
        fd = len(data) > CLASSIC_BYTES
        check_size(len(data), fd)
        flags |= FrameFlag.FD if fd else 0
        self.add(0, _CHANNEL, can_id, int(flags), data, len(data), number, position, line)
