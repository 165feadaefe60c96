"""Reads an MF4 file with python-can and asammdf in a process of its own and writes its frames to standard output.

A damaged file can crash the library's compiled parts (seen with asammdf 8.8.28), make it loop or take all
memory. Here that costs nothing but the rest of the file. Run by :mod:`canlog.capture.mf4`; imports nothing
of canlog.

Each record is a size of 4 bytes and its content: the byte ``F``, the fields of :data:`FIELDS` and the data; or
the byte ``X`` and why reading ended early.
"""

from __future__ import annotations

import contextlib
import logging
import struct
import sys
import warnings
from typing import TYPE_CHECKING, BinaryIO, Final

if TYPE_CHECKING:
    import can

#: Time in µs, id, channel (-1: none), length asked for, what :data:`KINDS` says.
FIELDS: Final = struct.Struct("<qIiHH")
KINDS: Final = ("is_extended_id", "is_fd", "bitrate_switch", "error_state_indicator", "is_remote_frame",
                "is_error_frame", "is_rx")  # fmt: skip
SIZE: Final = struct.Struct("<I")
_MOST_MEMORY_BYTES: Final = 4 * 1024**3


def main(path: str, out: BinaryIO) -> None:
    """Write every frame; an exception ends the process and becomes its last record."""
    logging.disable()
    warnings.simplefilter("ignore")
    _limit_memory()

    def tell(kind: type[BaseException], error: BaseException, _: object) -> None:
        reason = " ".join(str(error).split()) or kind.__name__
        _write(out, b"X" + reason.encode("utf-8", "replace")[:500])

    sys.excepthook = tell
    import can

    with can.io.MF4Reader(path) as reader:
        for message in reader:
            _write(out, b"F" + _packed(message))


def _limit_memory() -> None:
    with contextlib.suppress(ImportError, ValueError, OSError):  # not on every system
        import resource

        resource.setrlimit(resource.RLIMIT_AS, (_MOST_MEMORY_BYTES, _MOST_MEMORY_BYTES))


def _packed(message: can.Message) -> bytes:
    kind = sum(1 << bit for bit, name in enumerate(KINDS) if getattr(message, name))
    channel = message.channel if isinstance(message.channel, int) else -1
    fields = FIELDS.pack(round(message.timestamp * 1e6), message.arbitration_id, channel, message.dlc, kind)
    return fields + bytes(message.data)


def _write(out: BinaryIO, record: bytes) -> None:
    out.write(SIZE.pack(len(record)) + record)


if __name__ == "__main__":
    main(sys.argv[1], sys.stdout.buffer)
