"""Where the bytes of a capture come from: a file, a pipe or standard input.

A pipe is spooled to a temporary file, because a capture is read twice. What is packed is unpacked once
(:mod:`canlog.capture.unpacking`), text in UTF-16 is turned into UTF-8 once; byte positions count in what
is read afterwards.
"""

from __future__ import annotations

import codecs
import hashlib
import shutil
import stat
import sys
import tempfile
import weakref
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass, field
from functools import cached_property
from io import FileIO
from itertools import count
from pathlib import Path
from threading import Thread
from typing import IO, Final

from canlog.capture import unpacking
from canlog.errors import CaptureError

BLOCK_BYTES: Final = 3 * 1024 * 1024
_HASHED_BYTES: Final = 2 * BLOCK_BYTES  # at once; the fewer pieces, the less waiting for the interpreter
#: Bytes to recognise a form by; the longer one where pages of other text come first.
HEADS_BYTES: Final = (64 * 1024, 1024 * 1024)
#: Layers of packing that are taken off.
MOST_LAYERS: Final = 3
#: Called with the bytes read so far and the bytes in all.
Progress = Callable[[int, int], None]

_HINT: Final = "name a capture file, or `-` for standard input"


@dataclass
class Source:
    """An opened capture: its name, the file with its original bytes and the file that is read."""

    name: str
    original: Path
    unpacked: Path
    note: str = ""  # how it was unpacked, in words
    damage: str = ""  # what is wrong with what it was packed in: its end is missing
    wrappings: tuple[bytes, ...] = ()  # the first bytes of each layer that was taken off, outermost first
    _beneath: Source | None = field(default=None, repr=False)  # what this was unpacked from: lives as long
    _hashing: Thread | None = field(default=None, repr=False)
    _digest: str = field(default="", repr=False)

    @cached_property
    def sha256(self) -> str:
        """Of the original bytes, hex."""
        if self._hashing is not None:
            self._hashing.join()
        return self._digest or _sha256(self.original)

    def hash_meanwhile(self) -> None:
        """Begin to work out :attr:`sha256` in a thread: hashing a large file leaves the interpreter free.

        The file is opened at once: it may be gone before the thread has its turn.
        """
        if self._hashing is None:
            with suppress(OSError):  # told when somebody asks
                file = self.original.open("rb", buffering=0)
                self._hashing = Thread(target=self._hash, args=(file,), name="canlog-hashes", daemon=True)
                self._hashing.start()

    def _hash(self, file: FileIO) -> None:
        with suppress(OSError), file:
            self._digest = _digest_of(file)

    @cached_property
    def size(self) -> int:
        """Bytes that :meth:`blocks` yields."""
        return self.unpacked.stat().st_size

    def head(self, n_bytes: int) -> bytes:
        """The first bytes, to recognise the format by."""
        with self.unpacked.open("rb") as file:
            return file.read(n_bytes)

    def blocks(self, progress: Progress | None = None) -> Iterator[bytes]:
        """All bytes in blocks of bounded size, which end with a line where they can."""
        done = 0
        with self.unpacked.open("rb") as file:
            while block := file.read(BLOCK_BYTES):
                block += file.readline(BLOCK_BYTES)
                yield block
                done += len(block)
                if progress is not None:
                    progress(done, self.size)

    def line_at(self, position: int, longest: int) -> bytes:
        """The line that begins at a byte position, without its end, cut at ``longest`` bytes."""
        with self.unpacked.open("rb") as file:
            file.seek(position)
            return file.read(longest).split(b"\n", 1)[0].split(b"\r", 1)[0]


def _sha256(path: Path) -> str:
    with path.open("rb", buffering=0) as file:
        return _digest_of(file)


def _digest_of(file: FileIO) -> str:
    digest, room = hashlib.sha256(), memoryview(bytearray(_HASHED_BYTES))
    while n_bytes := file.readinto(room):
        digest.update(room[:n_bytes])
    return digest.hexdigest()


def open_source(path: str | Path) -> Source:
    """A capture's bytes; ``-`` is standard input.

    Raises:
        CaptureError: nothing there, not readable, a folder, a device or empty.
    """
    name = "standard input" if str(path) == "-" else Path(path).name
    try:
        source = _spooled(name, sys.stdin.buffer) if str(path) == "-" else _of_path(name, Path(path))
        if source.size == 0:
            raise CaptureError(f"{name}: empty, it holds no byte", hint="capture again, or check the disk it was on")
        return _unpack(source)
    except (OSError, ValueError) as error:  # ValueError: a NUL byte in the path
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise CaptureError(f"{name}: cannot be read ({reason})", hint=_HINT) from error


def _of_path(name: str, path: Path) -> Source:
    mode = path.stat().st_mode
    if stat.S_ISDIR(mode):
        raise CaptureError(f"{name}: a folder, not a capture", hint="name the capture files in it")
    if stat.S_ISFIFO(mode):
        with path.open("rb") as pipe:
            return _spooled(name, pipe)
    if not stat.S_ISREG(mode):
        raise CaptureError(f"{name}: a device, not a file", hint=_HINT)
    with path.open("rb"):  # refuses here what must not be read
        return Source(name, path, path)


def _spooled(name: str, stream: IO[bytes]) -> Source:
    spool = _new_spool()
    shutil.copyfileobj(stream, spool, BLOCK_BYTES)
    return _of_spool(Source(name, Path(spool.name), Path(spool.name)), spool)


def _new_spool() -> IO[bytes]:
    return tempfile.NamedTemporaryFile(prefix="canlog-")


def _of_spool(source: Source, spool: IO[bytes]) -> Source:
    """The source with its temporary file written out, which is deleted when nobody needs the source any more."""
    spool.flush()
    weakref.finalize(source, spool.close)
    return source


def _unpack(source: Source) -> Source:
    """What is inside, layer by layer: a compressed file of UTF-16 text has two."""
    for layer in count():
        head = source.head(4096)
        unpack = next((unpack for fits, unpack in UNPACKERS if fits(head)), None)
        if unpack is None:
            break
        if layer == MOST_LAYERS:
            raise CaptureError(f"{source.name}: packed more than {MOST_LAYERS} times", hint="unpack it yourself")
        spool = _new_spool()
        try:
            with source.unpacked.open("rb") as packed:
                note, damage = unpack(packed, spool, head)
        except CaptureError as error:
            spool.close()
            raise CaptureError(f"{source.name}: {error}", hint=error.hint) from error
        note = "; ".join(filter(None, (source.note, note)))
        damage = "; ".join(filter(None, (source.damage, damage)))
        wrappings = (*source.wrappings, head)
        inside = Source(source.name, source.original, Path(spool.name), note, damage, wrappings, source)
        source = _of_spool(inside, spool)
        if source.size == 0:
            raise CaptureError(
                f"{source.name}: nothing is in it ({note}{'; ' if damage else ''}{damage})",
                hint="copy it again from the logger",
            )
    return source


def utf16_kind(head: bytes) -> str:
    """``utf-16-le``, ``utf-16-be`` or nothing. Without a byte order mark: every second byte of plain text is zero."""
    if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16-le" if head.startswith(codecs.BOM_UTF16_LE) else "utf-16-be"
    sample = head[: len(head) & ~1]
    if len(sample) >= 16 and sample.count(0) == len(sample) // 2:
        if not any(sample[1::2]):
            return "utf-16-le"
        if not any(sample[0::2]):
            return "utf-16-be"
    return ""


def _from_utf16(packed: IO[bytes], unpacked: IO[bytes], head: bytes) -> unpacking.Unpacked:
    decoder = codecs.getincrementaldecoder(utf16_kind(head))(errors="replace")
    while block := packed.read(BLOCK_BYTES):
        unpacked.write(decoder.decode(block).encode("utf-8", "replace"))
    unpacked.write(decoder.decode(b"", final=True).encode("utf-8", "replace"))
    return unpacking.Unpacked("the text is UTF-16; byte positions count in its UTF-8 form")


#: What a file may be wrapped in: how to see it, and how to unwrap it (the answer tells the user what was done).
UNPACKERS: Final[
    tuple[tuple[Callable[[bytes], object], Callable[[IO[bytes], IO[bytes], bytes], unpacking.Unpacked]], ...]
] = (
    (utf16_kind, _from_utf16),
    *unpacking.UNPACKERS,
)
