"""Firmware files to compare with and to save: Intel HEX, Motorola S-record (both by bincopy), or bare bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from analysis.image.rebuilt import Image, Range, Segment
from canlog.errors import CanlogError

if TYPE_CHECKING:
    from bincopy import BinFile

#: More is no file of a control module.
MOST_BYTES = 256 * 1024 * 1024
HEX_NAMES, SREC_NAMES = (".hex", ".ihex", ".ihx"), (".s19", ".s28", ".s37", ".srec", ".mot")


@dataclass(frozen=True, slots=True)
class Comparison:
    """What was written beside a file: bytes that both have, that differ, that only one has."""

    same: int
    different: int
    first_difference: tuple[int, int, int] | None  # address, byte of the file, byte written
    only_written: int
    only_in_file: tuple[Range, ...]  # inside the range announced: due, and not written

    @property
    def is_equal(self) -> bool:
        """Something was compared, and all of it is the same, on both sides."""
        return bool(self.same) and not (self.different or self.only_written or self.only_in_file)


def load(path: str, address: int | None = None) -> list[Segment]:
    """The segments of a firmware file, in order of address.

    Args:
        path: Intel HEX and S-record are known by their content; anything else is bare bytes.
        address: where bare bytes begin; 0 if not given.

    Raises:
        CanlogError: it cannot be read, or is a damaged HEX or S-record file.
    """
    import bincopy

    try:
        if Path(path).stat().st_size > MOST_BYTES:
            raise CanlogError(f"{path}: larger than {MOST_BYTES:,} bytes", hint="name the firmware file itself")
        content = Path(path).read_bytes()
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise CanlogError(f"{path}: {reason}", hint="name the firmware file to compare with") from error
    if not content:
        raise CanlogError(f"{path}: is empty", hint="name the firmware file to compare with")
    file = bincopy.BinFile()
    text = content.lstrip()[:1]
    if text not in (b":", b"S"):
        return [(address or 0, content)]
    try:
        (file.add_ihex if text == b":" else file.add_srec)(content.decode("ascii"))
    except (bincopy.Error, ValueError, IndexError) as error:
        if text == b"S":  # bytes that happen to begin with an S
            return [(address or 0, content)]
        raise CanlogError(f"{path}: {error}", hint="the HEX file is damaged: take another copy") from error
    return [(segment.address, bytes(segment.data)) for segment in file.segments]


def compare(image: Image, file: Sequence[Segment]) -> Comparison:
    """One download beside the part of a file that lies in its range."""
    same = different = only_written = 0
    first_difference = None
    missing: list[Range] = []
    for start, data in image.segments:
        at = start
        for address, ours, theirs in _shared(start, data, file):
            only_written += address - at
            at = address + len(ours)
            if ours == theirs:
                same += len(ours)
                continue
            differing = [place for place in range(len(ours)) if ours[place] != theirs[place]]
            same, different = same + len(ours) - len(differing), different + len(differing)
            if first_difference is None:
                place = differing[0]
                first_difference = address + place, theirs[place], ours[place]
        only_written += start + len(data) - at
    for hole in image.holes:
        due = _shared(hole.first, bytes(hole.behind - hole.first), file)
        missing += [(address, address + len(theirs)) for address, _, theirs in due]
    return Comparison(same, different, first_difference, only_written, tuple(missing))


def _shared(start: int, data: bytes, file: Sequence[Segment]) -> list[tuple[int, bytes, bytes]]:
    """Where a segment and a file meet: address, our bytes, the file's."""
    found = []
    for theirs_at, theirs in file:
        first, behind = max(start, theirs_at), min(start + len(data), theirs_at + len(theirs))
        if first < behind:
            found.append((first, data[first - start : behind - start], theirs[first - theirs_at : behind - theirs_at]))
    return found


def saved(images: Sequence[Image], name: str) -> bytes:
    """The bytes of a file with what was written: HEX or S-record by its name, else bare bytes of the one range.

    Raises:
        CanlogError: data that is no memory (compressed, encrypted), or whose place no frame tells; several ranges,
            or one whose beginning is missing, in a form without addresses.
    """
    if not images:
        raise CanlogError("no download is in the capture", hint="`canlog report` says what is")
    suffix = Path(name).suffix.lower()
    has_addresses = suffix in (*HEX_NAMES, *SREC_NAMES)
    segments = [segment for image in images for segment in image.segments]
    if not has_addresses:
        return _bare(images, segments, name)
    for image in images:
        if image.is_transformed:
            hint = "save it as .bin: the bytes as they were carried"
            raise CanlogError(f"{name}: {image.label} was sent compressed or encrypted, not as memory", hint=hint)
        if image.address is None:
            hint = "save it as .bin: the bytes as they were carried"
            raise CanlogError(f"{name}: where {image.label} was to store it is not in the capture", hint=hint)
    if not segments:
        hint = "`canlog image` without --save says what is missing"
        raise CanlogError(f"{name}: of no block is it known where it belongs", hint=hint)
    file = _bin_file(segments, name)
    text = str(file.as_ihex() if suffix in HEX_NAMES else file.as_srec())
    return text.encode("ascii")


def _bare(images: Sequence[Image], segments: Sequence[Segment], name: str) -> bytes:
    """The one range that is there, from its first byte on."""
    for image in images:
        lacks_beginning = image.holes and image.segments and image.holes[0].first < image.segments[0][0]
        if image.unplaced or lacks_beginning:
            hint = "save it as .hex or .s37: what has an address, without the rest"
            raise CanlogError(f"{name}: blocks of {image.label} are missing in front of others", hint=hint)
    if len(segments) > 1:
        raise CanlogError(
            f"{name}: {len(segments)} ranges have no place in a file without addresses",
            hint="save them as .hex or .s37, or choose one module with --link",
        )
    return segments[0][1] if segments else b""


def _bin_file(segments: Sequence[Segment], name: str) -> BinFile:
    import bincopy

    file = bincopy.BinFile()
    try:
        for address, data in segments:
            file.add_binary(data, address=address, overwrite=True)
    except bincopy.Error as error:
        raise CanlogError(f"{name}: {error}", hint="choose one module with --link") from error
    return file
