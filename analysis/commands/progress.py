"""How far a long reading is: one line on a terminal, nothing anywhere else."""

from __future__ import annotations

import time
from typing import TextIO

_QUIET_S = 1.0
_BETWEEN_S = 0.1
_BAR = 30


class ProgressLine:
    """Called with bytes read and bytes in all; shows itself after a second and wipes itself at the end."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._wanted = stream.isatty()
        self._next = time.monotonic() + _QUIET_S
        self._shown = False

    def __call__(self, done: int, total: int) -> None:
        """Show how far it is."""
        now = time.monotonic()
        if not self._wanted or now < self._next:
            return
        self._next = now + _BETWEEN_S
        share = min(done / total, 1.0) if total else 1.0
        filled = round(share * _BAR)
        self._stream.write(f"\rreading [{'#' * filled}{'.' * (_BAR - filled)}] {share:4.0%} ")
        self._stream.flush()
        self._shown = True

    def close(self) -> None:
        """Wipe the line."""
        if self._shown:
            self._stream.write("\r" + " " * (_BAR + 20) + "\r")
            self._stream.flush()
