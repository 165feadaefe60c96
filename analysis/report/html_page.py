"""The same page as for a terminal, collected as HTML: what text.py writes, a browser shows word for word."""

from __future__ import annotations

import re
from collections.abc import Sequence
from html import escape

from analysis.report.lines import Cell, Lines, as_cell, printable
from analysis.report.texts import section_of

#: Wide enough that nothing is shortened for lack of columns.
_WIDE = 10_000
_LINES = re.compile(r"\blines? (\d+)(?:(?:-| and )(\d+))?(?:, capture (\d+))?")
#: What may be broken anywhere: bytes, a digest, a key, a name without end. Words of people never are.
_BREAKABLE = re.compile(r"(?=\S*\d)\S{13}|\S{25}")
_NUMBERED = re.compile(r"\d+\. ")


class HtmlPage(Lines):
    """Sections, paragraphs, lists and tables. Colours become classes; what they mean is always said in words."""

    def __init__(self, anchors: frozenset[tuple[int, int]] = frozenset()) -> None:
        """``anchors``: (capture, line) of the frames that stand on the page; lines named in the text link to them."""
        super().__init__(_WIDE, color=False)
        self._anchors = anchors
        self._html: list[str] = []
        self._open = ""  # the list or table that is being written
        self._sections = 0
        self._headings = 0

    def __str__(self) -> str:
        return "\n".join([*self._html, f"</{self._open}>" if self._open else "", "</section>" * self._sections])

    def raw(self, html: str) -> None:
        """HTML made elsewhere, between two blocks."""
        self._block("")
        self._html.append(html)

    def heading(self, title: str, answer: str = "", colour: str = "plain", word: str = "") -> None:
        """A new section."""
        self._block("")
        self._html.append("</section>" * self._sections)
        self._sections = 1
        self._headings += 1
        said = f' <em class="{colour}">{safe(answer)}</em>' if answer else ""
        name = section_of(title) or re.sub(r"[^a-z]+", "-", title.lower()).strip("-")
        self._html.append(f'<section id="{name}" aria-labelledby="h{self._headings}">')
        self._html.append(f'<h2 id="h{self._headings}">{safe(title)}{said}</h2>')

    def text(
        self, text: str, *, indent: int = 2, mark: str = "", colour: str = "plain", hang: int | None = None,
        word: str = "",
    ) -> None:  # fmt: skip
        """A paragraph, or an item where ``mark`` is a dash or a number."""
        depth = "" if indent <= 2 else " in" if indent <= 4 else " deep"
        inner = self._linked(text)
        if (mark == "- " and self._open != "table") or _NUMBERED.fullmatch(mark):
            self._block("ul" if mark == "- " else "ol")
            number = f' value="{mark[:-2]}"' if mark[0] != "-" else ""  # what stands between two items ends a list
            self._html.append(f'<li{number} class="{colour}{depth}">{inner}</li>')
            return
        if self._open == "table" and indent > 2:  # what a row rests on belongs to its table
            label = _label(mark.strip())
            self._html.append(f'<tr class="more"><td></td><td colspan="9" class="{colour}">{label}{inner}</td></tr>')
            return
        self._block("")
        tag = "p" if self._headings else "h1"
        label = _label(mark.strip())
        self._html.append(f'<{tag} class="{colour}{depth}">{label}{inner}</{tag}>')

    def table(self, head: Sequence[str], widths: Sequence[int], *, indent: int = 2, wraps: bool = False) -> None:
        """Begin a table; browsers find the widths themselves."""
        if head:
            self._row([Cell(name) for name in head], is_head=True)

    def row(self, *cells: str | Cell) -> None:
        """One row of a table."""
        self._row([as_cell(cell) for cell in cells])

    def _row(self, cells: Sequence[Cell], *, is_head: bool = False) -> None:
        self._block("table")
        row = []
        for cell in cells:
            tag = "th" if is_head and cell.text else "td"
            wraps = " long" if any(map(_BREAKABLE.search, cell.lines)) else ""
            row.append(f'<{tag} class="{cell.colour}{wraps}">{"<br>".join(map(self._linked, cell.lines))}</{tag}>')
        self._html.append(f"<tr>{''.join(row)}</tr>")

    def _block(self, kind: str) -> None:
        if kind == self._open:
            return
        if self._open:
            self._html.append(f"</{self._open}>")
        if kind:
            self._html.append(f"<{kind}>")
        self._open = kind

    def _linked(self, text: str) -> str:
        """Escaped, with the lines that it names as links to the frames of the page."""
        pieces, at = [], 0
        for found in _LINES.finditer(text):
            place = int(found[3] or 1), int(found[1])
            if place in self._anchors:
                pieces += [safe(text[at : found.start()]), f'<a href="#{anchor(*place)}">{safe(found[0])}</a>']
                at = found.end()
        return "".join([*pieces, safe(text[at:])])


def _label(mark: str) -> str:
    if not mark:
        return ""
    return f'<span class="time">{safe(mark)}</span> ' if mark[:1].isdigit() else f"<b>{safe(mark)}</b> "


def anchor(capture: int, line: int) -> str:
    """The id of a frame's row."""
    return f"c{capture}-l{line}"


def safe(text: str) -> str:
    """Text as HTML shows it: escaped, control characters written out."""
    return escape(printable(text))
