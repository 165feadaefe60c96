"""The terminal: how wide it is, whether it has colours, the line of progress."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

#: Long lines of prose are hard to read however wide the window is.
WIDEST_REPORT = 120


@contextmanager
def progress_line() -> Iterator[Callable[[int, int], None]]:
    """What is called with bytes done and bytes in all; the line is wiped at the end."""
    from analysis.commands.progress import ProgressLine

    line = ProgressLine(sys.stderr)
    try:
        yield line
    finally:
        line.close()


def terminal_width() -> int | None:
    """Columns of the terminal; None when the output goes elsewhere and nobody set COLUMNS."""
    if sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdecimal():
        return shutil.get_terminal_size((80, 24)).columns
    return None


def wants_colour() -> bool:
    """Only on a terminal that has colours, and not where the user said no (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def page_width() -> int:
    """Columns for a page of prose."""
    return min(terminal_width() or 80, WIDEST_REPORT)


def page_height() -> int:
    """Lines of the terminal."""
    return shutil.get_terminal_size().lines
