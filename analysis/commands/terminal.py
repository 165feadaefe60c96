"""The terminal: how wide it is, whether it has colours, the line of progress."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.report.lines import Lines

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


def can_draw() -> bool:
    """The terminal shows signs and lines beyond ASCII, as far as its locale says.

    Python itself speaks UTF-8 in the C locale and then sets ``LC_CTYPE``; the terminal may still not show it.
    """
    try:
        "─✓✗".encode(sys.stdout.encoding or "ascii")
    except (LookupError, UnicodeEncodeError):
        return False
    if os.name == "nt":
        return True
    chosen = os.environ.get("LC_ALL") or os.environ.get("LANG") or ""
    if os.environ.get("LC_CTYPE", "C.UTF-8") != "C.UTF-8" and not os.environ.get("LC_ALL"):
        chosen = os.environ["LC_CTYPE"]
    return chosen not in ("", "C", "POSIX") and os.environ.get("TERM") not in ("dumb", "linux")


def new_page(width: int | None = None) -> Lines:
    """The page to write on: laid out for a terminal, plain lines anywhere else."""
    width = page_width() if width is None else width
    if not sys.stdout.isatty():
        from analysis.report.lines import Lines

        return Lines(width, color=False)
    from analysis.report.terminal_page import TerminalPage  # a pipe does not wait for rich

    return TerminalPage(width, color=wants_colour(), draws=can_draw())


def page_width() -> int:
    """Columns for a page of prose."""
    return min(terminal_width() or 80, WIDEST_REPORT)


def page_height() -> int:
    """Lines of the terminal."""
    return shutil.get_terminal_size().lines
