"""MF4 (ASAM MDF 4) bus logs, through python-can and asammdf.

Theory of operation: the libraries need the whole file and read it or raise; a file that is cut gives
nothing and is refused with what they say. Data, error and remote frames are kept in groups of their own,
which are merged by time; so frames of one group keep their order, frames of two groups at the same time may
not. The number of the frame in that order stands for the line.

Times come through floating point and are rounded to a microsecond.

Source: python-can 4.6.1 (can/io/mf4.py); the first bytes from ASAM MDF 4.1, identification block (M).
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import logging
import struct
import sys
import warnings
import zlib
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.lines import peek
from canlog.capture.records import RecordReader
from canlog.capture.whole_file import whole_file
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable

if TYPE_CHECKING:
    import can

NAME: Final = "mf4"
ABOUT: Final = "MF4 (ASAM MDF 4) bus log (needs asammdf and python-can)"
EXPECTED: Final = "no MF4 file"
EVIDENCE: Final = "the first bytes `MDF     4`"
CANNOT_TELL: Final = "the order of data, error and remote frames at the same time; the kind of an error frame"
SUFFIXES: Final = (".mf4", ".mdf")

_MAGIC: Final = (b"MDF     4.", b"UnFinMF 4.")
_BUS_ERROR: Final = 0x080  # the kind is not passed on
NOTE_ROUNDED: Final = "its times are good to a microsecond"
#: What the two libraries were seen to raise on damaged files (tests/properties/test_format_fuzz.py), besides
#: the exceptions of asammdf and of the decoders it uses.
_DAMAGE: Final[tuple[type[Exception], ...]] = (
    ValueError, LookupError, TypeError, AttributeError, NameError, ArithmeticError, AssertionError, EOFError, OSError,
    MemoryError, RuntimeError, struct.error, zlib.error,
)  # fmt: skip


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
    try:
        import asammdf  # noqa: F401
        import can  # noqa: F401
    except ImportError:
        raise CaptureError(
            "an MF4 file, for which a library is missing", hint="pip install asammdf python-can"
        ) from None
    reader = _Mf4()
    with whole_file(blocks, ".mf4") as path:
        yield from reader.tables(reader.records(path))


class _Mf4(RecordReader):
    def __init__(self) -> None:
        super().__init__(None)
        self.note(NOTE_ROUNDED)

    def records(self, path: Path) -> Iterator[None]:
        """Every frame of the file, added or kept as damage."""
        reader, failure = _open(path)
        if reader is None:
            raise CaptureError(f"an MF4 file that cannot be read ({failure})", hint="copy it again from the logger")
        with reader:
            try:
                for message in reader:
                    self._take(message)
                    yield
            except _damage() as error:
                failure = str(error) or type(error).__name__
        if failure:
            self.number += 1
            self.damaged(f"the file is damaged here ({failure}); what stands behind cannot be read", b"")
            self.note(f"the file is damaged after record {self.number - 1}")

    def _take(self, message: can.Message) -> None:
        self.number += 1
        channel = "bus" if message.channel is None else str(message.channel)
        data = bytes(message.data)
        if not abs(message.timestamp) <= LARGEST_SECONDS:
            self.damaged("its time is out of range", data)
            return
        time_ns = round(message.timestamp * 1e6) * 1000
        flags = FrameFlag.RECEIVED if message.is_rx else FrameFlag.SENT
        if message.is_error_frame:
            self.add(time_ns, channel, _BUS_ERROR, FrameFlag.ERROR.value, data[:CLASSIC_BYTES], 0)
            return
        if message.is_remote_frame:
            flags, length, data = flags | FrameFlag.REMOTE, min(message.dlc, CLASSIC_BYTES), b""
        else:
            length = len(data)
        largest = LARGEST_29_BIT if message.is_extended_id else LARGEST_11_BIT
        if message.arbitration_id > largest or length not in FD_SIZES:
            self.damaged("an id or a length that no frame can have", data)
            return
        flags |= FrameFlag.EXTENDED if message.is_extended_id else 0
        if message.is_fd or length > CLASSIC_BYTES:
            flags |= FrameFlag.FD
            flags |= FrameFlag.BRS if message.bitrate_switch else 0
            flags |= FrameFlag.ESI if message.error_state_indicator else 0
        self.add(time_ns, channel, message.arbitration_id, int(flags), data, 0, length)


def _damage() -> tuple[type[Exception], ...]:
    """Every exception that means a damaged file."""
    from asammdf.blocks.utils import MdfException

    raised = [*_DAMAGE, MdfException]
    for module, name in (("isal.isal_zlib", "error"), ("zstd", "Error")):  # decoders that asammdf uses where it can
        with contextlib.suppress(ImportError):
            raised.append(getattr(importlib.import_module(module), name))
    return tuple(raised)


def _open(path: Path) -> tuple[can.io.MF4Reader | None, str]:
    """The library's reader, or why there is none. The library complains once more when a failed attempt is
    thrown away; nobody wants to see that."""
    import can

    logging.getLogger("asammdf").setLevel(logging.CRITICAL)  # it writes to the terminal
    hook, failure = sys.unraisablehook, ""
    sys.unraisablehook = lambda _: None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            try:
                return can.io.MF4Reader(path), ""
            except _damage() as error:
                failure = str(error) or type(error).__name__
            gc.collect()  # the failed attempt goes now, not when the next user of this process is talked to
    finally:
        sys.unraisablehook = hook
    return None, " ".join(failure.split())
