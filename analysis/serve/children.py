"""The processes that read, each for one reading. One is started ahead, so that nobody waits for Python and its modules.

It waits for its folder on its standard input. That pipe closes with the page, however it ends, and the process with it.
"""

from __future__ import annotations

import os
import subprocess
import sys
import threading
from pathlib import Path
from typing import Final

COMMAND: Final = (sys.executable, "-m", "analysis.serve.child")
Child = subprocess.Popen[bytes]


class Children:
    """Starts them. ``fonts``: where matplotlib keeps what it knows of the machine's fonts."""

    def __init__(self, fonts: Path) -> None:
        self._fonts = fonts
        self._ahead: Child | None = None
        self._turn = threading.Lock()
        self._stopped = False

    def start_ahead(self) -> None:
        """See that one waits, also when the last one died waiting."""
        with self._turn:
            if self._ahead is not None and self._ahead.poll() is not None:
                _end(self._ahead)
                self._ahead = None
            if self._ahead is None and not self._stopped:
                self._ahead = self._new()

    def start(self, folder: Path) -> Child:
        """One that reads what lies in a folder: the one that waits, or a new one if that has died."""
        with self._turn:
            child, self._ahead = self._ahead, None
        if child is not None and _told(child, folder):
            return child
        if child is not None:
            _end(child)
        child = self._new()
        _told(child, folder)
        return child

    def stop(self) -> None:
        """End the one that waits, and start none ahead any more."""
        with self._turn:
            child, self._ahead, self._stopped = self._ahead, None, True
        if child is not None:
            _end(child)

    def _new(self) -> Child:
        environment = os.environ | {"MPLCONFIGDIR": str(self._fonts), "OPENBLAS_NUM_THREADS": "1"}
        return subprocess.Popen(
            COMMAND, bufsize=0, env=environment,
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE,
        )  # fmt: skip


def _told(child: Child, folder: Path) -> bool:
    """False where nobody is there to hear it."""
    if child.poll() is not None or child.stdin is None:
        return False
    try:
        child.stdin.write(os.fsencode(folder) + b"\n")
    except BrokenPipeError:
        return False
    return True


def _end(child: Child) -> None:
    with child:
        child.kill()
