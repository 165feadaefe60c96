"""Compressed captures: unpacked once, in bounded memory, up to the damage, never without end.

A compressed file says nothing reliable of its size, so its output is counted while it is written: a few
bytes can stand for a disk full of zeros. :data:`LIMITS` holds what is refused, each with its reason.

Source: magic numbers of RFC 1952 (gzip), RFC 8878 (Zstandard), the .xz file format 1.2.0 and the ZIP
format as Python's zipfile reads it.
"""

from __future__ import annotations

import lzma
import shutil
import tempfile
import zipfile
import zlib
from collections.abc import Callable, Iterator
from typing import IO, Any, Final, NamedTuple

from canlog.errors import CaptureError


class Unpacked(NamedTuple):
    """What was done, in words, and what went wrong (nothing if all is sound)."""

    note: str
    damage: str = ""


class UnpackingLimit(NamedTuple):
    """One limit as documentation."""

    name: str
    value: int
    reason: str


MOST_BYTES: Final = 256 * 1024**3
MOST_TIMES: Final = 300
FREE_TIMES_BYTES: Final = 64 * 1024**2
KEPT_FREE_BYTES: Final = 256 * 1024**2
MOST_MEMORY_BYTES: Final = 256 * 1024**2

LIMITS: Final = (
    UnpackingLimit("most_bytes", MOST_BYTES, "no recording of one job is larger when unpacked (our choice)"),
    UnpackingLimit(
        "most_times", MOST_TIMES, "text of a bus shrinks 5 to 50 times; a thousand times are zeros (our choice)"
    ),
    UnpackingLimit("free_times_bytes", FREE_TIMES_BYTES, "up to here the ratio is not looked at: it fits anywhere"),
    UnpackingLimit("kept_free_bytes", KEPT_FREE_BYTES, "so much of the disk for temporary files stays free"),
    UnpackingLimit("most_memory_bytes", MOST_MEMORY_BYTES, "a dictionary larger than this is no log's (our choice)"),
)

#: Packed bytes given to a decoder at once; what comes out is at most a few tens of MB (zlib 1032 times, xz 7000 times).
_PIECE: Final = 4096
#: Zstandard can turn 4 bytes into 128 KB.
_ZSTD_PIECE: Final = 512
_WATCHED_EVERY: Final = 64 * 1024**2  # bytes between two looks at the free disk

_GZIP: Final = b"\x1f\x8b\x08"
_XZ: Final = b"\xfd7zXZ\x00"
_ZSTD: Final = b"\x28\xb5\x2f\xfd"
_ZIP: Final = b"PK\x03\x04"


class _Bounded:
    """Writes what comes out of a decoder, and refuses what never ends."""

    def __init__(self, unpacked: IO[bytes]) -> None:
        self._unpacked = unpacked
        self.written = 0
        self._watched = 0

    def write(self, data: bytes, packed_bytes: int) -> None:
        self.written += len(data)
        if self.written > MOST_BYTES:
            raise CaptureError(
                f"it unpacks to more than {MOST_BYTES} bytes", hint="unpack it yourself and name the part that matters"
            )
        if self.written > FREE_TIMES_BYTES and self.written > MOST_TIMES * packed_bytes:
            raise CaptureError(
                f"it unpacks to more than {MOST_TIMES} times its size: no recording does",
                hint="unpack it yourself if you trust it",
            )
        if self.written >= self._watched:
            self._watched = self.written + _WATCHED_EVERY
            if shutil.disk_usage(tempfile.gettempdir()).free < KEPT_FREE_BYTES + _WATCHED_EVERY:
                raise CaptureError(
                    "no room left to unpack it", hint=f"free some room in {tempfile.gettempdir()}, or set TMPDIR"
                )
        self._unpacked.write(data)


def _unpack_stream(
    packed: IO[bytes], unpacked: IO[bytes], new_decoder: Callable[[], Any], piece: int, error: type[Exception]
) -> str:
    """Unpack one or several streams one behind the other; what went wrong in words, or nothing."""
    out = _Bounded(unpacked)
    decoder, begun, done = new_decoder(), False, 0
    while data := packed.read(piece):
        while data:
            try:
                out.write(decoder.decompress(data), done + piece)
            except error as damage:
                return f"damaged after {out.written} unpacked bytes, the rest could not be read ({damage})"
            begun, data = True, b""
            if decoder.eof:
                data, decoder, begun = decoder.unused_data.lstrip(b"\0"), new_decoder(), False
        done += piece
    return f"its end is missing, {out.written} bytes could be unpacked" if begun else ""


def from_gzip(packed: IO[bytes], unpacked: IO[bytes], head: bytes) -> Unpacked:
    """Unpack gzip."""
    del head
    damage = _unpack_stream(packed, unpacked, lambda: zlib.decompressobj(wbits=31), _PIECE, zlib.error)
    return Unpacked("unpacked with gzip", damage)


def from_xz(packed: IO[bytes], unpacked: IO[bytes], head: bytes) -> Unpacked:
    """Unpack xz."""
    del head
    damage = _unpack_stream(
        packed, unpacked, lambda: lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=MOST_MEMORY_BYTES), _PIECE,
        lzma.LZMAError,
    )  # fmt: skip
    return Unpacked("unpacked with xz", damage)


def from_zstd(packed: IO[bytes], unpacked: IO[bytes], head: bytes) -> Unpacked:
    """Unpack Zstandard.

    Raises:
        CaptureError: the library for it is not installed.
    """
    del head
    try:
        import zstandard
    except ImportError:
        raise CaptureError(
            "it is compressed with Zstandard, for which a library is missing",
            hint="pip install zstandard, or unpack it with zstd -d",
        ) from None

    damage = _unpack_stream(
        packed, unpacked,
        lambda: zstandard.ZstdDecompressor(max_window_size=MOST_MEMORY_BYTES // 2).decompressobj(),
        _ZSTD_PIECE, zstandard.ZstdError,
    )  # fmt: skip
    return Unpacked("unpacked with zstd", damage)


def from_zip(packed: IO[bytes], unpacked: IO[bytes], head: bytes) -> Unpacked:
    """Unpack the one member of a zip file.

    Raises:
        CaptureError: none or several members, a password, or not readable at all.
    """
    del head
    try:
        with zipfile.ZipFile(packed) as archive:
            member = _only_member(archive)
            with archive.open(member) as content:
                damage = _copy_member(content, unpacked, member.compress_size)
                return Unpacked(f"unpacked from a zip file, member {member.filename}", damage)
    except (zipfile.BadZipFile, NotImplementedError, EOFError, ValueError, OverflowError) as error:
        reason = str(error) or "its end is missing"
        raise CaptureError(f"a damaged zip file ({reason})", hint="copy it again, or unpack it yourself") from error
    except RuntimeError as error:  # zipfile's word for a password
        raise CaptureError(f"a zip file that cannot be opened ({error})", hint="unpack it yourself") from error


def _only_member(archive: zipfile.ZipFile) -> zipfile.ZipInfo:
    members = [
        item
        for item in archive.infolist()
        if not item.is_dir() and not item.filename.startswith("__MACOSX/") and not item.filename.endswith(".DS_Store")
    ]
    if len(members) == 1:
        return members[0]
    names = ", ".join(item.filename for item in members[:5])
    raise CaptureError(
        f"a zip file with {len(members)} members{': ' + names if names else ''}",
        hint="unpack it and name the captures in the order of the job",
    )


def _copy_member(content: IO[bytes], unpacked: IO[bytes], packed_bytes: int) -> str:
    out = _Bounded(unpacked)
    try:
        for data in _pieces(content):
            out.write(data, max(packed_bytes, 1))
    except (zipfile.BadZipFile, zlib.error, EOFError, lzma.LZMAError) as damage:
        return f"damaged after {out.written} unpacked bytes ({damage or 'its end is missing'})"
    return ""


def _pieces(content: IO[bytes]) -> Iterator[bytes]:
    while data := content.read(64 * 1024):
        yield data


#: What a file may be packed in: how to see it, and how to unpack it (the answer is told to the user).
UNPACKERS: Final[tuple[tuple[Callable[[bytes], bool], Callable[[IO[bytes], IO[bytes], bytes], Unpacked]], ...]] = (
    (lambda head: head.startswith(_GZIP), from_gzip),
    (lambda head: head.startswith(_XZ), from_xz),
    (lambda head: head.startswith(_ZSTD), from_zstd),
    (lambda head: head.startswith(_ZIP), from_zip),
)
