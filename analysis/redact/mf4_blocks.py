"""The blocks of an MF4 file, as far as a copy with other bytes needs them: found by their links, changed in place.

Theory of operation: a block is a name, its length, links (places in the file) and content. A data group points to its
records: one block, a packed one, or a list of either. A packed block that grows is written again at the end of the
file, and the link to it is bent; its old place is overwritten.

Source: ASAM MDF 4.1 (M), read beside asammdf 8.8.28 (blocks/v4_blocks.py, blocks/v4_constants.py).
"""

from __future__ import annotations

import re
import struct
import zlib
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from analysis.redact.copied_text import HINT
from canlog.errors import CanlogError

HEADER_AT: Final = 64
_HEAD: Final = struct.Struct("<4s4xQQ")
_LINK: Final = 8
_TEXTS: Final = re.compile(rb"##(?:TX|MD)\0{4}")
_PACKED: Final = struct.Struct("<2sBxIQQ")  # name of the block in it, way, bytes of a line, sizes
_DEFLATED, _TURNED = 0, 1


class Block(NamedTuple):
    """One block: where it stands, its name, its links with their own places, where its content begins and ends."""

    at: int
    name: bytes
    links: tuple[int, ...]
    start: int
    end: int

    def link_at(self, number: int) -> int:
        """Where a link of it is written."""
        return self.at + _HEAD.size + number * _LINK


class Channel(NamedTuple):
    """A value in a record."""

    kind: int  # 1: what stands in the record is a place among data of any length
    bit: int
    byte: int
    bits: int
    data_at: int  # where the link to such data is written


@dataclass
class Mf4File:
    """The bytes of a file; ``raw`` is changed by :meth:`put`."""

    raw: bytearray
    _done: set[int] = field(default_factory=set)

    def block(self, at: int) -> Block:
        """The block at a place.

        Raises:
            CanlogError: there is none.
        """
        if not 0 < at <= len(self.raw) - _HEAD.size:
            raise CanlogError(f"no block of an MF4 file stands at byte {at}", hint=HINT)
        name, size, n_links = _HEAD.unpack_from(self.raw, at)
        start, end = at + _HEAD.size + n_links * _LINK, at + size
        if name[:2] != b"##" or not start <= end <= len(self.raw):
            raise CanlogError(f"a block of an MF4 file at byte {at} is damaged", hint=HINT)
        links = struct.unpack_from(f"<{n_links}Q", self.raw, at + _HEAD.size)
        return Block(at, name[2:], links, start, end)

    def chain(self, at: int) -> Iterator[Block]:
        """A block and those behind it: the first link is the next one.

        Raises:
            CanlogError: it runs in a circle, or to no block.
        """
        seen: set[int] = set()
        while at:
            if at in seen:
                raise CanlogError("the blocks of an MF4 file run in a circle", hint=HINT)
            seen.add(at)
            block = self.block(at)
            yield block
            at = block.links[0]

    def text(self, at: int) -> str:
        """The text of a block of text; nothing without one."""
        if not at:
            return ""
        block = self.block(at)
        return bytes(self.raw[block.start : block.end]).split(b"\0", 1)[0].decode("utf-8", "replace")

    def texts(self) -> list[Block]:
        """Every block of text, also one that no link leads to."""
        found = []
        for match in _TEXTS.finditer(bytes(self.raw)):
            with suppress(CanlogError):  # four bytes by chance
                found.append(self.block(match.start()))
        return found

    def channels(self, at: int) -> dict[str, Channel]:
        """The channels from a place on, with the parts of those that have some, by name."""
        found: dict[str, Channel] = {}
        for block in self.chain(at):
            kind, _, _, bit, byte, bits = struct.unpack_from("<BBBBII", self.raw, block.start)
            found[self.text(block.links[2])] = Channel(kind, bit, byte, bits, block.link_at(5))
            if block.links[1] and self.block(block.links[1]).name == b"CN":
                found |= self.channels(block.links[1])
        return found

    def data(self, link_at: int) -> bytes:
        """All that a link to data leads to, unpacked."""
        return b"".join(self._unpacked(self._linked(one)) for one in self._pieces(link_at))

    def put(self, link_at: int, data: bytes) -> None:
        """Write other data of the same size to where :meth:`data` found it."""
        at = 0
        for one in list(self._pieces(link_at)):
            size = len(self._unpacked(self._linked(one)))
            self._put(one, data[at : at + size])
            at += size

    def _linked(self, link_at: int) -> Block:
        return self.block(int.from_bytes(self.raw[link_at : link_at + _LINK], "little"))

    def _pieces(self, link_at: int) -> Iterator[int]:
        """Where links to single blocks of data are written."""
        if not int.from_bytes(self.raw[link_at : link_at + _LINK], "little"):
            return
        block = self._linked(link_at)
        if block.name == b"HL":
            yield from self._pieces(block.link_at(0))
        elif block.name == b"DL":
            for piece in self.chain(block.at):
                yield from (piece.link_at(number) for number in range(1, len(piece.links)) if piece.links[number])
        elif block.name in (b"DT", b"SD", b"DZ"):
            yield link_at
        else:
            name = block.name.decode("ascii", "replace")
            raise CanlogError(f"an MF4 file whose data stand in blocks of the kind {name}", hint=HINT)

    def _unpacked(self, block: Block) -> bytes:
        content = bytes(self.raw[block.start : block.end])
        if block.name != b"DZ":
            return content
        _, way, line, size, packed = _PACKED.unpack_from(content)
        try:
            plain = zlib.decompress(content[_PACKED.size : _PACKED.size + packed])
        except zlib.error as error:
            raise CanlogError(f"a packed block of an MF4 file is damaged ({error})", hint=HINT) from error
        if len(plain) != size or way not in (_DEFLATED, _TURNED):
            raise CanlogError("a packed block of an MF4 file is damaged", hint=HINT)
        return _turned(plain, line, back=True) if way == _TURNED else plain

    def _put(self, link_at: int, data: bytes) -> None:
        block = self._linked(link_at)
        if block.name != b"DZ":
            self.raw[block.start : block.end] = data
            return
        name, way, line, size, _ = _PACKED.unpack_from(self.raw, block.start)
        packed = zlib.compress(_turned(data, line, back=False) if way == _TURNED else data)
        content = _PACKED.pack(name, way, line, size, len(packed)) + packed
        head = _HEAD.pack(b"##DZ", _HEAD.size + len(content), 0)
        room = block.end - block.at
        self.raw[block.at : block.end] = bytes(room)
        at = block.at
        if len(head) + len(content) > room:
            self.raw += bytes(-len(self.raw) % 8)
            at = len(self.raw)
            self.raw[link_at : link_at + _LINK] = at.to_bytes(_LINK, "little")
        self.raw[at : at + len(head) + len(content)] = head + content


def _turned(data: bytes, line: int, *, back: bool) -> bytes:
    """Lines written as columns, or columns as lines; what fills no line stays behind them."""
    if not line:
        return data
    lines = len(data) // line
    whole, rest = data[: lines * line], data[lines * line :]
    step = lines if back else line
    return b"".join(whole[first::step] for first in range(step)) + rest
