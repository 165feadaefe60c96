"""A program on a terminal of its own."""

from __future__ import annotations

import fcntl
import os
import pty
import struct
import subprocess
import termios
from collections.abc import Mapping, Sequence
from pathlib import Path


def written_on_terminal(
    command: Sequence[str], env: Mapping[str, str], *, width: int = 0, cwd: Path | None = None
) -> str:
    """All that it writes there. ``width``: columns; 0 leaves them unsaid."""
    master, slave = pty.openpty()
    fcntl.ioctl(slave, termios.TIOCSWINSZ, struct.pack("HHHH", 40 if width else 0, width, 0, 0))
    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=slave, stderr=slave, cwd=cwd, env=dict(env))
    os.close(slave)
    written = b""
    while True:
        try:
            block = os.read(master, 65536)
        except OSError:  # the other end is closed
            break
        if not block:
            break
        written += block
    os.close(master)
    assert process.wait() == 0
    return written.decode()
