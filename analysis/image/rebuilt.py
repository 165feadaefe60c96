"""The memory that downloads wrote, rebuilt from their blocks: ranges, holes, overlaps, checksums.

An image is called whole only where every byte announced is in the capture. Where the data is compressed or encrypted
the bytes carried cannot be compared with the memory, and that is what is said.
Source: ISO 14229-1:2020, 15 (M); CRC-32 as in ISO 3309 (zlib); SHA-256 as in FIPS 180-4.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from analysis.operations.attempts import Attempt, attempts_of
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation
from analysis.report.model import Report
from analysis.story import Story

#: Bytes of one range: (first address, data). Without an address they count from 0.
Segment = tuple[int, bytes]
Range = tuple[int, int]


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
    holes: tuple[Range, ...]
    overlaps: tuple[Range, ...]  # written more than once by this download
    problems: tuple[str, ...]

    @cached_property
    def n_bytes(self) -> int:
        """Bytes that the capture shows."""
        return sum(len(data) for _, data in self.segments)

    @property
    def is_whole(self) -> bool:
        """Every byte announced is here; never of transformed data."""
        return not (self.is_transformed or self.holes or self.problems) and self.size == self.n_bytes

    @property
    def data(self) -> bytes | None:
        """All bytes in one piece; None where there are holes."""
        return self.segments[0][1] if len(self.segments) == 1 and not self.holes else None

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
    if any(not piece.data and piece.exchange.request is None for piece in account.pieces):
        problems.append("a block is not in the capture: where the ones behind it belong is not known")
    segments, overlaps = _laid_out((base + start, data) for start, data in _seen(attempt))
    first = base if not account.form.is_addressed or not segments else segments[0][0]
    return Image(
        operation=operation,
        label=story.label,
        part=str(operation.details["name"] or ""),
        address=attempt.address,
        size=attempt.size,
        is_transformed=attempt.transformed,
        segments=tuple(segments),
        holes=tuple(_holes(segments, first, None if attempt.transformed else attempt.size)),
        overlaps=tuple(overlaps),
        problems=tuple(problems),
    )


def _seen(attempt: Attempt) -> Iterator[Segment]:
    """What frames brought of each block, in the order it was written."""
    for piece in attempt.account.pieces:
        at = 0
        for start, end in (*piece.missing, (len(piece.data), len(piece.data))):
            if at < start:
                yield piece.start + at, piece.data[at:start]
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
