"""The memory that downloads wrote, rebuilt from their blocks: ranges, holes, overlaps, checksums.

A block whose place is not known (``placing``) is counted, and neither laid, compared nor saved.
An image is called whole only where every byte announced is in the capture. Where the data is compressed or encrypted
the bytes carried cannot be compared with the memory, and that is what is said.
Source: ISO 14229-1:2020, 15 (M); CRC-32 as in ISO 3309 (zlib); SHA-256 as in FIPS 180-4.
"""

from __future__ import annotations

import hashlib
import zlib
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import NamedTuple

from analysis.image.placing import Laid, place_blocks
from analysis.operations.attempts import Attempt, attempts_of
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation
from analysis.operations.transfer_account import Piece
from analysis.report.model import Report
from analysis.story import Story

#: Bytes of one range: (first address, data). Without an address they count from 0.
Segment = tuple[int, bytes]
Range = tuple[int, int]


class Hole(NamedTuple):
    """Memory that was due and is not in the capture, and where in the capture it is missing."""

    first: int
    behind: int
    where: str  # ``block 03, between lines 31 and 40``


@dataclass(frozen=True)
class Image:
    """One download as memory. Ranges are half-open (first address, address behind the last)."""

    operation: Operation
    label: str
    part: str  # name of the part, empty where no names tell it
    address: int | None
    size: int | None  # bytes announced
    is_transformed: bool
    segments: tuple[Segment, ...]  # what the capture shows, in order of address, without overlap
    holes: tuple[Hole, ...]
    unplaced: tuple[Piece, ...]  # blocks of which nobody can say where they lie
    overlaps: tuple[Range, ...]  # written more than once by this download
    problems: tuple[str, ...]
    n_repeats: int  # blocks sent again with the same bytes

    @cached_property
    def n_bytes(self) -> int:
        """Bytes that the capture shows."""
        unplaced = sum(len(data) for piece in self.unplaced for _, data in _seen(piece))
        return sum(len(data) for _, data in self.segments) + unplaced

    @property
    def is_whole(self) -> bool:
        """Every byte announced is here; never of transformed data."""
        is_open = self.is_transformed or self.holes or self.unplaced or self.problems
        return not is_open and self.size == self.n_bytes

    @property
    def data(self) -> bytes | None:
        """All bytes in one piece; None where there are holes."""
        is_one = len(self.segments) == 1 and not (self.holes or self.unplaced)
        return self.segments[0][1] if is_one else None

    @property
    def crc32(self) -> str | None:
        """CRC-32 of the bytes in one piece, hex; None where there are holes."""
        return None if self.data is None else f"{zlib.crc32(self.data):08X}"

    @property
    def sha256(self) -> str | None:
        """SHA-256 of the bytes in one piece, hex; None where there are holes."""
        return None if self.data is None else hashlib.sha256(self.data).hexdigest()


def images(report: Report) -> list[Image]:
    """Every download that no later one replaced, by module, in order; helper programs in RAM are among them."""
    found = []
    for story in report.record.stories:
        attempts = attempts_of(story, report.record)
        by_number = {attempt.exchanges[0].number: attempt for attempt in attempts}
        for operation in standing(report.operations):
            if operation.kind is not Kind.DOWNLOAD or operation.link.key != story.link.key:
                continue
            attempt = next((by_number[one] for one in operation.exchanges if one in by_number), None)
            if attempt is not None and attempt.blocks:
                found.append(_image(operation, attempt, story))
    return found


def overlapping(found: Sequence[Image]) -> list[tuple[Image, Image, Range]]:
    """Pairs of downloads of one module that wrote the same addresses, with the range they share."""
    pairs = []
    for at, one in enumerate(found):
        for other in found[at + 1 :]:
            mine, theirs = _span(one), _span(other)
            if one.operation.link.key != other.operation.link.key or mine is None or theirs is None:
                continue
            first, behind = max(mine[0], theirs[0]), min(mine[1], theirs[1])
            if first < behind:
                pairs.append((one, other, (first, behind)))
    return pairs


def _span(image: Image) -> Range | None:
    if image.address is None or not image.segments:
        return None
    first, data = image.segments[-1]
    return image.segments[0][0], first + len(data)


def _image(operation: Operation, attempt: Attempt, story: Story) -> Image:
    account = attempt.account
    base = 0 if account.form.is_addressed else attempt.address or 0
    problems = list(account.problems)
    if attempt.request is None:
        problems.append("its beginning is not in the capture: how much was due, and where, is not known")
    if account.unanswered is not None:
        problems.append("the answer to its last block is not in the capture")
    if account.is_unheard:
        problems.append("only the answers to its blocks are in the capture: no byte of it")
    places = place_blocks(attempt)
    laid = [one._replace(start=base + one.start) for one in places.laid]
    segments, overlaps = _laid_out((one.start + at, data) for one in laid for at, data in _seen(one.piece))
    first = base if not account.form.is_addressed or not segments else segments[0][0]
    holes = _holes(segments, first, None if attempt.transformed else attempt.size)
    return Image(
        operation=operation,
        label=story.label,
        part=str(operation.details["name"] or ""),
        address=attempt.address,
        size=attempt.size,
        is_transformed=attempt.transformed,
        segments=tuple(segments),
        holes=tuple(_where_they_are(holes, laid, attempt)),
        unplaced=places.unplaced,
        overlaps=tuple(overlaps),
        problems=tuple(problems),
        n_repeats=sum(bool(one.asked) and one.asked == again.asked for one, again in pairwise(attempt.blocks)),
    )


def _seen(piece: Piece) -> Iterator[Segment]:
    """What frames brought of a block."""
    at = 0
    for start, end in (*piece.missing, (len(piece.data), len(piece.data))):
        if at < start:
            yield at, piece.data[at:start]
        at = end


def _laid_out(written: Iterator[Segment]) -> tuple[list[Segment], list[Range]]:
    """Segments in order of address, joined where they touch; what was written later stands. And what was overlaid."""
    memory: list[tuple[int, bytearray]] = []
    overlaps: list[Range] = []
    for start, data in written:
        if memory and memory[-1][0] + len(memory[-1][1]) == start:
            memory[-1][1].extend(data)
            continue
        for first, old in memory:
            shared = max(first, start), min(first + len(old), start + len(data))
            if shared[0] < shared[1]:
                overlaps.append(shared)
        memory.append((start, bytearray(data)))
    if overlaps:
        memory = _overlaid(memory)
    return _joined(sorted(((start, bytes(data)) for start, data in memory), key=lambda one: one[0])), overlaps


def _overlaid(memory: Sequence[tuple[int, bytearray]]) -> list[tuple[int, bytearray]]:
    """The same without overlap: the later of two wins, byte by byte."""
    found: dict[int, int] = {}
    for start, data in memory:
        found.update(zip(range(start, start + len(data)), data, strict=True))
    return [(address, bytearray([found[address]])) for address in sorted(found)]


def _joined(segments: Sequence[Segment]) -> list[Segment]:
    joined: list[tuple[int, bytearray]] = []
    for start, data in segments:
        if joined and joined[-1][0] + len(joined[-1][1]) == start:
            joined[-1][1].extend(data)
        else:
            joined.append((start, bytearray(data)))
    return [(start, bytes(data)) for start, data in joined]


def _holes(segments: Sequence[Segment], first: int, size: int | None) -> Iterator[Range]:
    """What lies between the segments, and what is due behind the last."""
    at = first
    for start, data in segments:
        if at < start:
            yield at, start
        at = start + len(data)
    if size is not None and at < first + size:
        yield at, first + size


def _where_they_are(holes: Iterable[Range], laid: Sequence[Laid], attempt: Attempt) -> Iterator[Hole]:
    """Holes cut at the edges of blocks, each with the block or the lines that it is missing at."""
    blocks = sorted(laid, key=lambda one: one.start)
    starts = [one.start for one in blocks]
    for first, behind in holes:
        at = first
        while at < behind:
            before = bisect_right(starts, at) - 1
            inside = blocks[before] if before >= 0 and at < blocks[before].behind else None
            following = blocks[before + 1] if before + 1 < len(blocks) else None
            end = min(behind, inside.behind if inside else behind, following.start if following else behind)
            where = (
                _inside(inside.piece)
                if inside
                else _between(blocks[before] if before >= 0 else None, following, attempt)
            )
            yield Hole(at, end, where)
            at = end


def _inside(piece: Piece) -> str:
    first, last = piece.exchange.lines
    return f"in {piece.form.said(piece.mark)}, lines {first}-{last}"


def _between(before: Laid | None, following: Laid | None, attempt: Attempt) -> str:
    """Which blocks, and the lines of what stands on both sides."""
    earlier = before.piece.exchange if before else attempt.request
    if following is None:
        return f"behind line {earlier.lines[1]}" if earlier else ""
    later = following.piece.exchange
    blocks = _blocks_said(following)
    if earlier is None:
        return f"{blocks}in front of line {later.lines[0]}"
    lines = sorted((earlier.lines[1], later.lines[0]))
    return f"{blocks}between lines {lines[0]} and {lines[1]}"


def _blocks_said(following: Laid) -> str:
    """``block 03, ``; empty where blocks have no counter."""
    mark, skipped = following.piece.mark, following.skipped
    if mark is None or not skipped:
        return ""
    first, last = (mark - skipped) & 0xFF, (mark - 1) & 0xFF
    return f"block {first:02X}, " if skipped == 1 else f"blocks {first:02X}-{last:02X}, "
