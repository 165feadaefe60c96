"""MF4 (ASAM MDF 4) bus logs, through python-can and asammdf.

Theory of operation: the library runs in a process of its own (:mod:`canlog.capture.mf4_library`), because a
damaged file can crash it. It needs the whole file and reads it or raises; a file that is cut mostly gives
nothing and is refused with what the library says. Data, error and remote frames are kept in groups of their
own, which are merged by time; so frames of one group keep their order, frames of two groups at the same time
may not. The number of the frame in that order stands for the line.

Times come through floating point and are rounded to a microsecond.

Source: python-can 4.6.1 (can/io/mf4.py); the first bytes from ASAM MDF 4.1, identification block (M).
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path
from threading import Timer
from typing import IO, Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import peek
from canlog.capture.mf4_library import FIELDS, KINDS, SIZE
from canlog.capture.records import RecordReader
from canlog.capture.whole_file import whole_file
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable

NAME: Final = "mf4"
ABOUT: Final = "MF4 (ASAM MDF 4) bus log (needs asammdf and python-can)"
EXPECTED: Final = "no MF4 file"
EVIDENCE: Final = "the first bytes `MDF     4`"
CANNOT_TELL: Final = "the order of data, error and remote frames at the same time; the kind of an error frame"
SUFFIXES: Final = (".mf4", ".mdf")

_MAGIC: Final = (b"MDF     4.", b"UnFinMF 4.")
_BUS_ERROR: Final = 0x080  # the kind is not passed on
NOTE_ROUNDED: Final = "its times are good to a microsecond"
#: Seconds the library may take: some, and more for each MB; it reads about 1 MB a second.
_SOME_SECONDS, _SECONDS_PER_MB = 60, 10
_MOST_RECORD: Final = 1024
_CRASHED: Final = "the library that reads it crashed or took too long"
_CLASSIC_KINDS: Final = {
    "is_extended_id": FrameFlag.EXTENDED, "is_remote_frame": FrameFlag.REMOTE, "is_error_frame": FrameFlag.ERROR,
}  # fmt: skip
_FD_KINDS: Final = {
    "is_fd": FrameFlag.FD, "bitrate_switch": FrameFlag.BRS, "error_state_indicator": FrameFlag.ESI,
}  # fmt: skip


def recognise(head: bytes) -> float:
    """1 with the first bytes of an MDF 4 file, else 0."""
    return 1.0 if head.startswith(_MAGIC) else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a bus log, chunk by chunk.

    Raises:
        CaptureError: the libraries are missing, or cannot read the file at all.
    """
    head, blocks = peek(blocks, recognise)
    if not recognise(head):
        raise CaptureError(EXPECTED, hint="`canlog formats` lists what can be read")
    if not find_spec("can") or not find_spec("asammdf"):
        raise CaptureError("an MF4 file, for which a library is missing", hint="pip install asammdf python-can")
    reader = _Mf4()
    with whole_file(blocks, ".mf4") as path:
        yield from reader.tables(reader.records(path))


class _Mf4(RecordReader):
    def __init__(self) -> None:
        super().__init__(None)
        self.note(NOTE_ROUNDED)

    def records(self, path: Path) -> Iterator[None]:
        """Every frame of the file, added or kept as damage."""
        failure = ""
        for record in _from_library(path):
            if record[:1] == b"F":
                self._take(record[1:])
                yield
            else:
                failure = record[1:].decode("utf-8", "replace")
        if failure and not self.number:
            raise CaptureError(f"an MF4 file that cannot be read ({failure})", hint="copy it again from the logger")
        if failure:
            self.number += 1
            self.damaged(f"the file is damaged here ({failure}); what stands behind cannot be read", b"")
            self.note(f"the file is damaged after record {self.number - 1}")

    def _take(self, record: bytes) -> None:
        self.number += 1
        time_us, can_id, channel_number, length, kind = FIELDS.unpack_from(record)
        data = record[FIELDS.size :]
        named = {name for bit, name in enumerate(KINDS) if kind & 1 << bit}
        if abs(time_us) > LARGEST_SECONDS * 1_000_000:
            self.damaged("its time is out of range", data)
            return
        channel = "bus" if channel_number < 0 else str(channel_number)
        flags = sum(flag.value for name, flag in _CLASSIC_KINDS.items() if name in named)
        flags |= (FrameFlag.RECEIVED if "is_rx" in named else FrameFlag.SENT).value
        if flags & FrameFlag.ERROR:
            self.add(time_us * 1000, channel, _BUS_ERROR, FrameFlag.ERROR.value, data[:CLASSIC_BYTES], 0)
            return
        if flags & FrameFlag.REMOTE:
            length, data = min(length, CLASSIC_BYTES), b""
        else:
            length = len(data)
        if can_id > (LARGEST_29_BIT if flags & FrameFlag.EXTENDED else LARGEST_11_BIT) or length not in FD_SIZES:
            self.damaged("an id or a length that no frame can have", data)
            return
        if "is_fd" in named or length > CLASSIC_BYTES:
            flags |= sum(flag.value for name, flag in _FD_KINDS.items() if name in named) | FrameFlag.FD.value
        self.add(time_us * 1000, channel, can_id, flags, data, 0, length)


def _from_library(path: Path) -> Iterator[bytes]:
    """The records that the library's process writes; a last one says so if it dies."""
    script = Path(__file__).with_name("mf4_library.py")
    command = [sys.executable, "-P", str(script), str(path)]  # -P: the files beside it are no modules of its own
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as process:
        seconds = _SOME_SECONDS + _SECONDS_PER_MB * path.stat().st_size / 1024**2
        watchdog = Timer(seconds, process.kill)
        watchdog.daemon = True
        watchdog.start()
        explained = ended = False
        try:
            assert process.stdout is not None
            while record := _next_record(process.stdout):
                explained |= record[:1] != b"F"
                yield record
            ended = True
            process.wait()
        finally:
            watchdog.cancel()
            if not ended:  # nobody wants the rest
                process.kill()
        if process.returncode and not explained:
            yield b"X" + _CRASHED.encode()


def _next_record(stream: IO[bytes]) -> bytes:
    head = stream.read(SIZE.size)
    if len(head) < SIZE.size:
        return b""
    size = min(SIZE.unpack(head)[0], _MOST_RECORD)
    record = stream.read(size)
    return record if len(record) == size and (record[:1] != b"F" or size > FIELDS.size) else b""
