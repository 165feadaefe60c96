"""The trim sheet as a page to print and as rows to keep."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.report.lines import Lines
from analysis.report.wording import WORD, WORD_COLOUR, at_lines
from analysis.trims.sheet import ModuleSheet, Place, Source, UnitLine

CAUTION = (
    "Compare with the label on the part before the engine is started or the vehicle moves: a value of another part, or "
    "in another place, can damage engine or gearbox. The vehicle maker's service information decides."
)
#: Hex digits on one line.
DIGITS = 48
COLUMNS = (
    "module", "link", "identifier", "name", "index", "old", "earlier", "source", "source_place", "written",
    "written_line", "read_back", "read_line", "after_restart", "equal", "word", "meaning",
)  # fmt: skip


def render_trims(sheets: Sequence[ModuleSheet], captures: int, width: int, *, color: bool) -> str:
    """The page; ``captures``: how many there are."""
    page = Lines(width, color=color)
    if not any(sheet.lines for sheet in sheets):
        page.heading("Trims and configuration")
        page.text("No value of a single unit was read or written in this recording.")
    for sheet in sheets:
        page.heading(sheet.label, sheet.total)
        if sheet.lines and not sheet.is_named:
            page.text("No names file says what these are: what was written, and every other value read.")
        for line in sheet.lines:
            _unit(page, line, captures)
        if sheet.not_read:
            page.text(f"Before removal, not read yet: {', '.join(sheet.not_read)}.", colour="doubtful", hang=2)
    if any(sheet.lines for sheet in sheets):
        page.text(CAUTION, mark="Caution: ", colour="caution", hang=2)
    return str(page)


def _unit(page: Lines, line: UnitLine, captures: int) -> None:
    name = f" {line.name}{f' {line.index}' if line.index else ''}" if line.name else ""
    word = WORD[line.word] if line.written is not None or line.refused else "only read"
    colour = WORD_COLOUR[line.word.value] if line.written is not None or line.refused else "plain"
    page.text(f"{line.identifier}{name}: {word}", colour=colour)
    if line.old is not None and line.old_at is not None:
        label = "read" if line.written is None and not line.refused else "before"
        _value(page, label, line.old, _where(line.old_at, captures))
    for value, place in line.earlier:
        _value(page, "earlier", value, _where(place, captures))
    for source in line.sources:
        changed = f"looks like a copy, form changed: {source.how}; " if source.how else ""
        where = _where(source.place, captures)
        page.text(f"{changed}{source.label} {source.identifier}, {where}", indent=4, mark="from     ", hang=9)
    if line.written is not None and line.written_at is not None:
        _value(page, "written", line.written, _where(line.written_at, captures))
    if line.refused:
        page.text(f"refused, {line.refused}: it still holds the value before", indent=4, mark="         ", hang=9)
    if line.read_back is not None and line.read_at is not None:
        when = ", after a restart" if line.after_restart else ", before any restart"
        where = f"{_where(line.read_at, captures)}{when}"
        if line.is_equal:
            page.text(f"equal ({where})", indent=4, mark="reads    ", colour="plain", hang=9)
        else:
            _value(page, "reads", line.read_back, where)
            if line.written is not None and not line.refused:
                _marks(page, line.written, line.read_back)
    elif line.written is not None:
        page.text("nobody read it since", indent=4, mark="reads    ", hang=9)
    if line.meaning:
        page.text(line.meaning, indent=4, mark="means    ", hang=9)


def _value(page: Lines, label: str, value: bytes, where: str) -> None:
    digits = value.hex().upper()
    pieces = [digits[at : at + DIGITS] for at in range(0, len(digits), DIGITS)] or [""]
    for number, piece in enumerate(pieces):
        tail = f" ({where})" if number == len(pieces) - 1 else ""
        page.text(f"{piece}{tail}", indent=4, mark=f"{label if number == 0 else '':<9}", hang=9)


def _marks(page: Lines, written: bytes, read_back: bytes) -> None:
    """Which bytes differ, counted from 1."""
    places = [at for at in range(max(len(written), len(read_back))) if written[at : at + 1] != read_back[at : at + 1]]
    said = ", ".join(str(at + 1) for at in places[:8]) + (f" and {len(places) - 8} more" if len(places) > 8 else "")
    page.text(f"differs in byte {said}", indent=4, mark="         ", colour="bad", hang=9)


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
