"""A page as plain lines: wrapping, hanging indents, columns. Knows nothing of reports.

The other writers of pages (``terminal_page.py``, ``html_page.py``) take the same calls and show them their way.
"""

from __future__ import annotations

import re
import textwrap
from collections.abc import Iterator, Sequence
from itertools import zip_longest
from typing import NamedTuple

#: Colours only underline what the words already say (SGR codes, ECMA-48).
INK = {"plain": "", "strong": "1", "dim": "2", "good": "32", "doubtful": "33", "bad": "31;1", "caution": "33;1"}
NARROWEST = 40
#: Runs of hex digits longer than this are shortened in prose; the JSON report and `canlog list` have them whole.
LONGEST_HEX = 24
_LONG_HEX = re.compile(rf"\b[0-9A-Fa-f]{{{LONGEST_HEX + 1},}}\b")


def printable(text: str) -> str:
    """The text with control characters written out: a capture must not steer the terminal."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def shorten_middle(text: str, width: int) -> str:
    """At most ``width`` characters: begin and end stay, the middle becomes three dots."""
    if len(text) <= width:
        return text
    if width < 5:
        return text[:width]
    keep = width - 3
    head = (keep + 1) // 2
    return f"{text[:head]}...{text[len(text) - (keep - head) :]}"


def short_hex(text: str) -> str:
    """The text with long runs of hex digits shortened in their middle."""
    return _LONG_HEX.sub(lambda match: shorten_middle(match[0], LONGEST_HEX), text)


class Cell(NamedTuple):
    """A cell of a table.

    Args:
        text: one line.
        colour: of :data:`INK`.
        word: token of the word of the five that it says, for a sign in front of it; empty: none.
        below: further lines in the same cell.
    """

    text: str
    colour: str = "plain"
    word: str = ""
    below: tuple[str, ...] = ()

    @property
    def lines(self) -> tuple[str, ...]:
        """All of its lines."""
        return (self.text, *self.below)


def as_cell(cell: str | Cell) -> Cell:
    """A bare text is a cell without colour."""
    return cell if isinstance(cell, Cell) else Cell(cell)


class Lines:
    """Collects lines no wider than ``width``."""

    def __init__(self, width: int, *, color: bool) -> None:
        self.width = max(width, NARROWEST)
        self._color = color
        self._lines: list[str] = []
        self._widths: Sequence[int] = ()
        self._indent = 0
        self._wraps = False

    def __str__(self) -> str:
        return "\n".join(self._lines) + "\n"

    def ink(self, text: str, colour: str) -> str:
        """The text in a colour of :data:`INK`, or as it is."""
        return f"\033[{INK[colour]}m{text}\033[0m" if self._color and INK[colour] else text

    def take(self) -> str:
        """What is written so far, once; an open table goes on."""
        text = "".join(f"{line}\n" for line in self._lines)
        self._lines = []
        return text

    def heading(self, title: str, answer: str = "", colour: str = "plain", word: str = "") -> None:
        """A blank line, then the title in capitals and a short answer beside it; ``word``: see :class:`Cell`."""
        if self._lines:
            self._lines.append("")
        title, answer = printable(title), printable(answer)
        if not answer:
            self._lines.append(self.ink(title.upper(), "strong"))
        elif len(title) + 2 + len(answer) <= self.width:
            self._lines.append(f"{self.ink(title.upper(), 'strong')}  {self.ink(answer, colour)}")
        else:
            self._lines.append(self.ink(title.upper(), "strong"))
            self.text(answer, colour=colour)

    def text(
        self, text: str, *, indent: int = 2, mark: str = "", colour: str = "plain", hang: int | None = None,
        word: str = "",
    ) -> None:  # fmt: skip
        """A paragraph; ``mark`` stands in front of it in ``colour``, further lines hang behind the mark.

        Without a mark the whole paragraph has the colour. ``word``: see :class:`Cell`.
        """
        first = " " * indent + mark
        rest = " " * (indent + (len(mark) if hang is None else hang))
        wrapped = textwrap.wrap(
            printable(text), self.width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
        ) or [first.rstrip()]
        if mark:
            wrapped[0] = " " * indent + self.ink(mark, colour) + wrapped[0][len(first) :]
        else:
            wrapped = [self.ink(line, colour) for line in wrapped]
        self._lines += wrapped

    def table(self, head: Sequence[str], widths: Sequence[int], *, indent: int = 2, wraps: bool = False) -> None:
        """Begin a table; the next heading or paragraph ends it.

        Args:
            head: names of the columns; empty: it has none.
            widths: of the columns in plain lines; the last one is what is left of the line.
            indent: of the table.
            wraps: cells that are too long go on in the next line; otherwise they lose their middle.
        """
        self._widths, self._indent, self._wraps = widths, indent, wraps
        if head:
            self.row(*head)

    def row(self, *cells: str | Cell) -> None:
        """A row of the table that was begun last."""
        columns = [self._cell_lines(as_cell(cell), number) for number, cell in enumerate(cells)]
        colours = [as_cell(cell).colour for cell in cells]
        for line in zip_longest(*columns, fillvalue=""):
            self._columns(line, colours)

    def note(
        self, text: str, *, indent: int = 4, mark: str = "", colour: str = "plain", hang: int | None = None
    ) -> None:
        """A paragraph beneath a row; the table goes on."""
        self.text(text, indent=indent, mark=mark, colour=colour, hang=hang)

    def _cell_lines(self, cell: Cell, number: int) -> list[str]:
        if not self._wraps:
            return list(cell.lines)
        before = sum(width + 2 for width in self._widths[:-1])
        room = self.width - self._indent - before if number == len(self._widths) - 1 else self._widths[number]
        wrapped: Iterator[str] = (
            piece
            for line in cell.lines
            for piece in textwrap.wrap(printable(line), max(room, 1), break_on_hyphens=False)
        )
        return list(wrapped)

    def _columns(self, cells: Sequence[str], colours: Sequence[str]) -> None:
        """Cells padded to their widths; the last one is cut to what is left of the line."""
        left = self.width - self._indent
        parts: list[str] = []
        for number, (cell, width) in enumerate(zip(cells, self._widths, strict=True)):
            last = number == len(cells) - 1
            room = left if last else min(width, left)
            if room <= 0:
                break
            text = shorten_middle(printable(cell), room)
            parts.append(self.ink(text, colours[number]) + ("" if last else " " * (width - len(text)) + "  "))
            left -= width + 2
        self._lines.append((" " * self._indent + "".join(parts)).rstrip())
