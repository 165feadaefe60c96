"""Lines of a terminal page: wrapping, hanging indents, columns, colour. Knows nothing of reports."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Sequence

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


class Lines:
    """Collects lines no wider than ``width``."""

    def __init__(self, width: int, *, color: bool) -> None:
        self.width = max(width, NARROWEST)
        self._color = color
        self._lines: list[str] = []

    def __str__(self) -> str:
        return "\n".join(self._lines) + "\n"

    def ink(self, text: str, colour: str) -> str:
        """The text in a colour of :data:`INK`, or as it is."""
        return f"\033[{INK[colour]}m{text}\033[0m" if self._color and INK[colour] else text

    def heading(self, title: str, answer: str = "", colour: str = "plain") -> None:
        """A blank line, then the title in capitals and a short answer beside it."""
        if self._lines:
            self._lines.append("")
        if not answer:
            self._lines.append(self.ink(title.upper(), "strong"))
        elif len(title) + 2 + len(answer) <= self.width:
            self._lines.append(f"{self.ink(title.upper(), 'strong')}  {self.ink(answer, colour)}")
        else:
            self._lines.append(self.ink(title.upper(), "strong"))
            self.text(answer, colour=colour)

    def text(
        self, text: str, *, indent: int = 2, mark: str = "", colour: str = "plain", hang: int | None = None
    ) -> None:
        """A paragraph; ``mark`` stands in front of it in ``colour``, further lines hang behind the mark.

        Without a mark the whole paragraph has the colour.
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

    def columns(
        self, cells: Sequence[str], widths: Sequence[int], colours: Sequence[str] = (), indent: int = 2
    ) -> None:
        """One row of a table: cells padded to their widths; the last one is cut to what is left of the line."""
        left = self.width - indent
        parts: list[str] = []
        for number, (cell, width) in enumerate(zip(cells, widths, strict=True)):
            last = number == len(cells) - 1
            room = left if last else min(width, left)
            if room <= 0:
                break
            text = shorten_middle(printable(cell), room)
            colour = colours[number] if number < len(colours) else "plain"
            parts.append(self.ink(text, colour) + ("" if last else " " * (width - len(text)) + "  "))
            left -= width + 2
        self._lines.append((" " * indent + "".join(parts)).rstrip())
