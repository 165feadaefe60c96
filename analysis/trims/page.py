"""The trim sheet as a page to print and as rows to keep."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.report.lines import Cell, Lines
from analysis.report.wording import WORD, at_lines, word_cell
from analysis.trims.found import WIPED
from analysis.trims.sheet import ModuleSheet, Place, Source, UnitLine
from canlog.counting import said_places
from canlog.names.blank import is_blank, is_wiped

CAUTION = (
    "Compare with the label on the part before the engine is started or the vehicle moves: a value of another part, or "
    "in another place, can damage what it controls. The vehicle maker's service information decides."
)
#: Hex digits on one line of their own.
DIGITS = 48
#: Widths of the columns in signs; the last one has the rest of the page. Two lines hold a value of 24 bytes.
ITEM, VALUE, SOURCE = 16, 24, 11
COLUMNS = (
    "module", "link", "identifier", "name", "index", "old", "earlier", "source", "source_place", "written",
    "written_line", "read_back", "read_line", "after_restart", "equal", "word", "meaning",
)  # fmt: skip


def tell_trims(page: Lines, sheets: Sequence[ModuleSheet], captures: int) -> None:
    """A table for each module with a row for each value; ``captures``: how many there are."""
    if not any(sheet.lines for sheet in sheets):
        page.heading("Trims and configuration")
        page.text("No value of a single unit was read or written in this recording.")
    for sheet in sheets:
        page.heading(sheet.label, sheet.total or ("only read" if sheet.lines else ""))
        for doubt in sheet.doubts:
            page.text(f"{doubt}.", mark="Not proven: ", colour="doubtful", hang=2)
        if sheet.lines and not sheet.is_named:
            page.text("No names file says what these are: what was written, and every other value read.")
        if sheet.lines:
            _table(page, sheet.lines, captures)
        if sheet.not_read:
            page.text(f"Before removal, not read yet: {', '.join(sheet.not_read)}.", colour="doubtful", hang=2)
    if any(sheet.lines for sheet in sheets):
        page.text(CAUTION, mark="Caution: ", colour="caution", hang=2)


def _table(page: Lines, lines: Sequence[UnitLine], captures: int) -> None:
    """Item, value, where it came from, what became of it; where nothing was written only item, value, meaning."""
    is_read_only = not any(_is_written(line) for line in lines)
    widths = (ITEM, VALUE, page.width) if is_read_only else (ITEM, VALUE, SOURCE, page.width)
    head = ("item", "value", "means") if is_read_only else ("item", "value", "from", "read back")
    page.table(head, widths, wraps=True)
    for line in lines:
        said, value = _called(line), _value_cell(line, captures)
        if is_read_only:
            page.row(said, value, line.meaning)
        else:
            page.row(said, value, _source(line, captures), _ending_cell(line, captures))
        if not is_read_only and line.meaning:
            page.note(_shortened(line.meaning, page.width - 6), indent=6)
        _rest(page, line, captures)


def _is_written(line: UnitLine) -> bool:
    return line.written is not None or bool(line.refused)


def _called(line: UnitLine) -> str:
    return f"{line.identifier} {line.name}{f' {line.index}' if line.index else ''}".rstrip()


def _shortened(text: str, width: int) -> str:
    """On one line; all of it stands in the rows of ``--csv``."""
    return text if len(text) <= width else f"{text[: width - 4].rpartition(' ')[0]} ..."


def _value_cell(line: UnitLine, captures: int) -> Cell:
    """The whole value that was written, or else read, and its lines."""
    written = line.written is not None
    value, place = (line.written, line.written_at) if written else (line.old, line.old_at)
    if value is None or place is None:
        return Cell("-")
    return Cell(value.hex().upper() or "no byte", below=(_where(place, captures),))


def _source(line: UnitLine, captures: int) -> str:
    if not line.sources:
        return "-"
    first = line.sources[0]
    more = f" and {len(line.sources) - 1} more" if len(line.sources) > 1 else ""
    form = ", form changed" if first.how else ""
    return f"{first.label} {first.identifier}{form}, {_where(first.place, captures)}{more}"


def _ending_cell(line: UnitLine, captures: int) -> Cell:
    said = _ending(line, captures)
    return word_cell(line.word.value, said) if _is_written(line) else Cell(said)


def _ending(line: UnitLine, captures: int) -> str:
    """The word, and what it rests on."""
    if not _is_written(line):
        return "only read"
    word = WORD[line.word]
    if line.refused:
        return f"{word}: refused"
    if line.read_back is None or line.read_at is None:
        return f"{word}: not read since"
    when = "after a restart" if line.after_restart else "before any restart"
    return f"{word}: {'equal' if line.is_equal else 'other'} {when}, {_where(line.read_at, captures)}"


def _rest(page: Lines, line: UnitLine, captures: int) -> None:
    """Below the row what is not as it should be, and the values that stood there before."""
    if line.refused:
        page.note(f"refused, {line.refused}: it still holds the value before", indent=6)
    for source in line.sources:
        if source.how:
            page.note(f"looks like a copy, form changed: {source.how}", indent=6)
    if line.is_equal is False and line.read_back is not None and line.read_at is not None and not line.refused:
        _value(page, "reads", line.read_back, _where(line.read_at, captures))
        if line.written is not None:
            _marks(page, line.written, line.read_back)
    if line.old is not None and line.written is not None and not line.refused and is_wiped(line.old, line.written):
        page.note(WIPED, indent=6, colour="bad")
    if _is_written(line) and line.old is not None and line.old_at is not None and not is_blank(line.old):
        same = line.old == line.written
        if same:
            page.note(f"before   the same ({_where(line.old_at, captures)})", indent=6, hang=9)
        else:
            _value(page, "before", line.old, _where(line.old_at, captures))
    for value, place in line.earlier:
        if value not in (line.written, line.old):
            _value(page, "earlier", value, _where(place, captures))


def _value(page: Lines, label: str, value: bytes, where: str) -> None:
    digits = value.hex().upper()
    pieces = [digits[at : at + DIGITS] for at in range(0, len(digits), DIGITS)] or [""]
    for number, piece in enumerate(pieces):
        tail = f" ({where})" if number == len(pieces) - 1 else ""
        page.note(f"{piece}{tail}", indent=6, mark=f"{label if number == 0 else '':<9}", hang=9)


def _marks(page: Lines, written: bytes, read_back: bytes) -> None:
    """Which bytes differ, counted from 1."""
    page.note(f"differs in byte {said_places(written, read_back)}", indent=6, mark="         ", colour="bad", hang=9)


def _where(place: Place, captures: int) -> str:
    return at_lines(sorted({place.first_line, place.last_line}), place.capture, captures)


def rows(sheets: Sequence[ModuleSheet]) -> Iterator[tuple[str, ...]]:
    """One row a value, in the order of :data:`COLUMNS`."""
    for sheet in sheets:
        for line in sheet.lines:
            yield (
                line.label, line.link, line.identifier, line.name, str(line.index or ""), _hex(line.old),
                "; ".join(_hex(value) for value, _ in line.earlier),
                "; ".join(map(_said, line.sources)),
                "; ".join(_where(one.place, 2) for one in line.sources), _hex(line.written),
                str(line.written_at.first_line) if line.written_at else "", _hex(line.read_back),
                str(line.read_at.first_line) if line.read_at else "",
                "yes" if line.after_restart else "no" if line.read_back is not None else "",
                "" if line.is_equal is None else "yes" if line.is_equal else "no",
                line.word.value, line.meaning,
            )  # fmt: skip


def _said(source: Source) -> str:
    return f"{source.label} {source.identifier}{' (form changed)' if source.how else ''}"


def _hex(data: bytes | None) -> str:
    return "" if data is None else data.hex().upper()
