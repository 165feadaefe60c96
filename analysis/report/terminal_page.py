"""The same page for a terminal: tables that wrap inside their cells, a sign in front of each of the five words.

``rich`` lays out the tables and knows how wide a letter is on a screen. It is given texts only, never markup, and
control characters are written out before it sees them: a capture must not steer the terminal.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Sequence
from itertools import groupby, zip_longest
from typing import Any, Final, NamedTuple

from rich.box import Box
from rich.cells import cell_len
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from analysis.report.lines import Cell, Lines, as_cell, printable, shorten_middle
from canlog.column_widths import fit_widths

#: What colours are called in rich. They only underline what signs and words already say.
STYLES: Final = {
    "plain": "", "strong": "bold", "dim": "dim", "good": "green", "doubtful": "yellow", "bad": "bold red",
    "caution": "bold yellow",
}  # fmt: skip
#: In front of each of the five words, so that none needs its colour; the second where only ASCII can be shown.
SIGNS: Final = {
    "confirmed": ("✓", "+"), "unproven": ("~", "~"), "failed": ("✗", "x"), "interrupted": ("!", "!"),
    "not-shown": ("-", "-"),
}  # fmt: skip
NARROWEST_TERMINAL: Final = 20
#: Room for a VIN: longer words are broken in a cell, and a column that narrow is not broken at all.
NARROWEST_COLUMN: Final = 17
#: Longer runs of hex digits in a cell lose their middle; `canlog list --format jsonl` has them whole.
LONGEST_DIGITS: Final = 64
_GAP: Final = 2
_LONG: Final = re.compile(rf"\b[0-9A-F]{{{LONGEST_DIGITS + 1},}}\b")
_NUMBER: Final = re.compile(r"(-?\d[\d.,]*( ms| %)?|-)?")
_BLANK_END: Final = re.compile(r" +$", re.M)
#: Eight lines of four signs: only the line below the head is drawn.
_RULE: Final = Box("    \n    \n ── \n    \n    \n    \n    \n    \n")
_ASCII_RULE: Final = Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)


class _Note(NamedTuple):
    """A paragraph beneath a row, as it was asked for."""

    text: str
    layout: dict[str, Any]


class TerminalPage(Lines):
    """Takes what :class:`Lines` takes; no line is wider than ``width``."""

    def __init__(self, width: int, *, color: bool, draws: bool) -> None:
        """``draws``: the terminal can show signs and lines beyond ASCII."""
        super().__init__(width, color=color)
        self.width = max(width, NARROWEST_TERMINAL)
        self._draws = draws
        self._console = self._empty_console()
        self._head: Sequence[str] = ()
        self._items: list[list[Cell] | _Note] = []
        self._columns_kept: _Columns | None = None
        self._has_begun = False

    def __str__(self) -> str:
        self._flush()
        return self._written()

    def take(self) -> str:
        """What is written so far, once; a table that is open goes on with the widths that it has."""
        self._flush(goes_on=True)
        text, self._console = self._written(), self._empty_console()
        return text

    def heading(self, title: str, answer: str = "", colour: str = "plain", word: str = "") -> None:
        """A blank line, then the title in capitals and a short answer beside it."""
        self._flush()
        if self._has_begun:
            self._put(Text())
        title, said = printable(title.upper()), self._signed(printable(answer), word)
        beside = cell_len(title) + 2 + cell_len(said) <= self.width
        line = Text(title, STYLES["strong"])
        if said and beside:
            line.append("  ").append(said, STYLES[colour])
        for part in self._wrapped(line, self.width):
            self._put(part)
        if said and not beside:
            self.text(said, colour=colour)

    def text(
        self, text: str, *, indent: int = 2, mark: str = "", colour: str = "plain", hang: int | None = None,
        word: str = "",
    ) -> None:  # fmt: skip
        """A paragraph, as in :meth:`Lines.text`."""
        self._flush()
        self._paragraph(self._signed(text, word), indent, mark, colour, hang)

    def table(self, head: Sequence[str], widths: Sequence[int], *, indent: int = 2, wraps: bool = False) -> None:
        """Begin a table; its widths follow from its content."""
        self._flush()
        self._head, self._indent = [printable(name) for name in head], indent

    def row(self, *cells: str | Cell) -> None:
        """A row of the table that was begun last."""
        self._items.append([self._prepared(as_cell(cell)) for cell in cells])

    def note(
        self, text: str, *, indent: int = 4, mark: str = "", colour: str = "plain", hang: int | None = None
    ) -> None:
        """A paragraph beneath a row."""
        self._items.append(_Note(text, {"indent": indent, "mark": mark, "colour": colour, "hang": hang}))

    def _empty_console(self) -> Console:
        return Console(
            file=io.StringIO(), width=self.width, color_system="standard" if self._color else None, force_terminal=True,
            legacy_windows=False, highlight=False, markup=False, emoji=False,
        )  # fmt: skip

    def _written(self) -> str:
        assert isinstance(self._console.file, io.StringIO)
        return _BLANK_END.sub("", self._console.file.getvalue())

    def _put(self, renderable: Text | Padding) -> None:
        self._has_begun = True
        self._console.print(renderable, no_wrap=isinstance(renderable, Text), overflow="ignore", crop=False)

    def _signed(self, text: str, word: str) -> str:
        return f"{SIGNS[word][0 if self._draws else 1]} {text}" if word else text

    def _wrapped(self, text: Text, width: int) -> list[Text]:
        lines = list(text.wrap(self._console, max(width, 1), overflow="fold"))
        for line in lines:
            line.rstrip()
        return lines

    def _paragraph(self, text: str, indent: int, mark: str, colour: str, hang: int | None) -> None:
        """Where further lines hang less deep than the mark is long, they are wrapped together with it."""
        style = STYLES[colour]
        deep = cell_len(mark) if hang is None else hang
        body = Text(printable(text), "" if mark else style)
        first = Text(" " * indent).append(mark, style)
        if deep != cell_len(mark):
            body = Text().append(mark, style).append(body)
            first = Text(" " * indent)
        for number, line in enumerate(self._wrapped(body, self.width - indent - deep)):
            self._put((first if number == 0 else Text(" " * (indent + deep))) + line)

    def _prepared(self, cell: Cell) -> Cell:
        lines = [_LONG.sub(lambda run: shorten_middle(run[0], LONGEST_DIGITS), printable(line)) for line in cell.lines]
        return cell._replace(text=self._signed(lines[0], cell.word), below=tuple(lines[1:]))

    def _flush(self, *, goes_on: bool = False) -> None:
        """Write the rows and notes that wait, all with the same widths."""
        rows = [item for item in self._items if not isinstance(item, _Note)]
        is_first = self._columns_kept is None
        if is_first and rows:
            self._columns_kept = _Columns.of(self._head, rows, self.width - self._indent)
        columns = self._columns_kept
        if columns is not None:
            if is_first and self._head:
                self._put(self._placed(columns.as_table([], self._head, self._draws)))
            for is_note, items in groupby(self._items, key=lambda item: isinstance(item, _Note)):
                if is_note:
                    for note in items:
                        assert isinstance(note, _Note)
                        self._paragraph(note.text, **note.layout)
                else:
                    self._rows([item for item in items if not isinstance(item, _Note)], columns)
        self._items = []
        if not goes_on:
            self._columns_kept, self._head = None, ()

    def _rows(self, rows: Sequence[list[Cell]], columns: _Columns) -> None:
        """Rows that need no layout are written at once: a list may have a million of them."""
        for is_simple, group in groupby(rows, key=columns.is_simple):
            if is_simple:
                self._has_begun = True
                self._console.file.writelines(f"{' ' * self._indent}{columns.as_line(row)}\n" for row in group)
            elif not columns.beneath:
                self._put(self._placed(columns.as_table(list(group), (), self._draws)))
            else:
                for row in group:
                    self._put(self._placed(columns.as_table([row], (), self._draws)))
                    for said in columns.said_beneath(row, self._head):
                        self._paragraph(said, self._indent + 2, "", "plain", 2)

    def _placed(self, table: Table) -> Padding:
        return Padding(table, (0, 0, 0, self._indent), expand=False)


class _Columns(NamedTuple):
    """Which columns of a table stand side by side, how wide, and which are told beneath the row."""

    shown: list[int]
    widths: list[int]
    right: list[bool]  # numbers stand below each other
    beneath: list[int]

    @classmethod
    def of(cls, head: Sequence[str], rows: Sequence[list[Cell]], width: int) -> _Columns:
        """What fits into ``width``; else the column with the longest word (bytes) goes beneath, never the first one."""
        lines = [line for row in rows for line in zip_longest(*(cell.lines for cell in row), fillvalue="")]
        flat: list[tuple[str, ...]] = [*([tuple(head)] if head else []), *lines]
        asked = [max(cell_len(line[at]) for line in flat) for at in range(len(rows[0]))]
        kept = [
            [_unbroken(one, is_short=asked[at] <= NARROWEST_COLUMN) for at, one in enumerate(line)] for line in flat
        ]
        words = [max(cell_len(word) for line in kept for word in line[at].split() or [""]) for at in range(len(asked))]
        shown, beneath = list(range(len(rows[0]))), list[int]()
        while True:
            room = width - _GAP * (len(shown) - 1)
            widths = fit_widths([[line[at] for at in shown] for line in kept], room, NARROWEST_COLUMN, cell_len)
            if sum(widths) <= room or len(shown) == 1:
                break
            widest = max(shown[1:], key=words.__getitem__)
            shown.remove(widest)
            beneath.append(widest)
        right = [all(_NUMBER.fullmatch(line[at]) for line in lines) for at in shown]
        return cls(shown, widths, right, sorted(beneath))

    def is_simple(self, row: list[Cell]) -> bool:
        """One line without colour, in signs that are all one column wide."""
        return not self.beneath and all(
            cell.colour == "plain" and not cell.below and cell.text.isascii() and len(cell.text) <= width
            for cell, width in zip(row, self.widths, strict=True)
        )

    def as_line(self, row: list[Cell]) -> str:
        """A simple row."""
        cells = zip(row, self.widths, self.right, strict=True)
        padded = (cell.text.rjust(width) if right else cell.text.ljust(width) for cell, width, right in cells)
        return (" " * _GAP).join(padded).rstrip()

    def as_table(self, rows: Sequence[list[Cell]], head: Sequence[str], draws: bool) -> Table:
        """Rows for rich; the gap is a blank of padding and one of the box."""
        table = Table(
            box=_RULE if draws else _ASCII_RULE, show_edge=False, show_header=bool(head), pad_edge=False,
            padding=(0, _GAP - 1, 0, 0), header_style=STYLES["strong"],
        )  # fmt: skip
        for at, width, right in zip(self.shown, self.widths, self.right, strict=True):
            name = Text(head[at] if head else "", overflow="fold")
            table.add_column(name, width=width, justify="right" if right else "left", overflow="fold")
        for row in rows:
            table.add_row(*(_text(row[at]) for at in self.shown))
        return table

    def said_beneath(self, row: list[Cell], head: Sequence[str]) -> Iterator[str]:
        """Cells that found no room, each with the name of its column."""
        for at in self.beneath:
            if said := " ".join(row[at].lines).strip():
                yield f"{head[at]}: {said}" if head and head[at] else said


def _unbroken(text: str, *, is_short: bool) -> str:
    """For measuring: a short text is one word, and a sign belongs to the word behind it."""
    if is_short:
        return text.replace(" ", "_")
    is_signed = text[1:2] == " " and any(text[0] in signs for signs in SIGNS.values())
    return text.replace(" ", "_", 1) if is_signed else text


def _text(cell: Cell) -> Text:
    return Text("\n".join(cell.lines), STYLES[cell.colour], overflow="fold")
