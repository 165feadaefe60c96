"""The same lines as :mod:`canlog.capture.candump_columns` takes, read by the compiled ``_candump``.

It is built where the installation finds a compiler; everything works without it. ``CANLOG_COMPILED=0`` in the
environment leaves it aside.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from typing import Any, Final

import numpy as np

from canlog.capture.candump_columns import Strict
from canlog.frames import FrameTable

try:
    from canlog.capture import _candump
except ImportError:  # not built
    _parse: Callable[..., tuple[int, int, int, tuple[bytes, ...]]] | None = None
else:
    _parse = _candump.parse

SWITCH: Final = "CANLOG_COMPILED"
_LF: Final = ord("\n")
_COLUMNS: Final = {
    "time_ns": np.int64, "channel": np.int16, "can_id": np.uint32, "flags": np.uint16, "length": np.uint16,
    "offset": np.int64, "line": np.int64, "position": np.int64,
}  # fmt: skip


def is_available() -> bool:
    """Whether it was built and is not switched off."""
    return _parse is not None and os.environ.get(SWITCH, "") != "0"


def parse_compiled(text: bytes, first: int, position: int) -> Iterator[Strict]:
    """Lines as columns; see :func:`canlog.capture.candump_columns.parse_columns`.

    Raises:
        RuntimeError: it is not there.
    """
    if _parse is None:
        raise RuntimeError("the compiled reader is not built")
    n_lines = int(np.count_nonzero(np.frombuffer(text, dtype=np.uint8) == _LF)) + 1
    columns = {name: np.empty(n_lines, dtype=kind) for name, kind in _COLUMNS.items()}
    payload = np.empty(len(text) // 2, dtype=np.uint8)  # two digits a byte
    loose = [np.empty(n_lines, dtype=np.int64) for _ in range(4)]
    n_rows, n_loose, n_bytes, names = _parse(text, first, position, (*columns.values(), payload, *loose))
    cut: dict[str, Any] = {name: column[:n_rows] for name, column in columns.items()}
    yield Strict(FrameTable(**cut, payload=payload[:n_bytes], channels=()), names, *(each[:n_loose] for each in loose))
