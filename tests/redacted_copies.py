"""Copies of all fixtures, outside CI: ``python -m tests.redacted_copies``.

Every capture under fixtures/ is copied with and without its job sheet and names, and one good session of each world
once more in every form that python-can 4.6.1 writes. Each copy must say what its original says (words, confidences,
findings), and none of the secrets may be found in it. Prints every copy that fails, at once; the exit code is 1 then.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parent))

import can
from redaction.said import said
from redaction.search import FIXTURES, left_in

from analysis import analyse
from analysis.redact.redact import redact
from canlog.errors import CanlogError

SUFFIXES = (".log", ".asc", ".blf", ".csv", ".db", ".mf4", ".trc")
#: Forms that are known by content alone, and other files that stand beside captures.
NO_CAPTURES = {".md", ".toml", ".json", ".png"}


class Cell(NamedTuple):
    """One copy to make: of which capture, written in which form first, with what beside it."""

    capture: Path
    suffix: str  # empty: as it is
    sheet: bool
    names: bool

    @property
    def group(self) -> str:
        """For the table at the end."""
        place = self.capture.relative_to(FIXTURES).parts[0]
        return f"{place.split('-')[0]}{self.suffix and ' written as ' + self.suffix[1:]}"

    def __str__(self) -> str:
        beside = [one for one, there in (("sheet", self.sheet), ("names", self.names)) if there]
        return f"{self.capture.relative_to(FIXTURES)} {self.suffix} {' and '.join(beside) or 'alone'}"


def cells() -> Iterator[Cell]:
    """All of them."""
    for capture in sorted(FIXTURES.glob("*/capture.*")):
        for sheet in (False, True):
            for names in (False, True):
                yield Cell(capture, "", sheet, names)
    for folder in ("formats/clean", "formats/damaged", "real"):
        for capture in sorted(one for one in (FIXTURES / folder).iterdir() if one.is_file()):
            if capture.suffix not in NO_CAPTURES and "LICENSE" not in capture.name:
                yield Cell(capture, "", sheet=False, names=False)
    for capture in sorted(FIXTURES.glob("*/capture.log")):
        if capture.parent.name.endswith(("-all-good", "-scan", "-clear", "-dialects")):
            yield from (Cell(capture, suffix, sheet=True, names=True) for suffix in SUFFIXES)


def failures(cell: Cell) -> list[str]:
    """What is wrong with the copy; nothing is fine."""
    world = cell.capture.parent.name.split("-")[0]
    sheet = FIXTURES / f"{world}.toml" if cell.sheet else None
    names = [FIXTURES / f"{world}_names.toml"] if cell.names else []
    with tempfile.TemporaryDirectory(prefix="canlog-copies-") as folder:
        original = rewritten(cell, Path(folder))
        try:
            then = said(analyse(original, sheet, names).to_dict())
        except CanlogError:  # a file that cannot be read has no copy
            return []
        try:
            made = redact(original, sheet, names)
        except CanlogError as error:
            return [f"refused: {error}"]
        copy, copied_sheet = Path(folder, "copy" + original.suffix), Path(folder, "sheet.toml")
        copy.write_bytes(made.capture)
        copied_sheet.write_text(made.sheet or "", encoding="utf-8")
        copied_names = [Path(folder, f"names-{at}.toml") for at in range(len(names))]
        for place, text in zip(copied_names, made.names_files, strict=True):
            place.write_text(text or "", encoding="utf-8")
        now = said(analyse(copy, copied_sheet if sheet else None, copied_names).to_dict())
        beside = "\n".join([made.sheet or "", made.list_csv().decode(), *(one or "" for one in made.names_files)])
        found = [f"left: {one}" for one in left_in(original, copy, beside)]
        return found + ([f"says {now}, not {then}"] if now != then else [])


def rewritten(cell: Cell, folder: Path) -> Path:
    """The capture in another form, by python-can."""
    if not cell.suffix:
        return cell.capture
    place = folder / f"session{cell.suffix}"
    with can.LogReader(cell.capture) as reader, can.Logger(place) as writer:
        for message in reader:
            writer(message)
    return place


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()


def main() -> int:
    """Make every copy."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--only", default="", help="cells with this in their name")
    options = parser.parse_args()
    chosen = [one for one in cells() if options.only in str(one)]
    made: Counter[str] = Counter()
    wrong = 0
    with ProcessPoolExecutor(options.processes) as pool:
        for cell, found in zip(chosen, pool.map(failures, chosen), strict=True):
            made[cell.group] += 1
            wrong += bool(found)
            for one in found:
                _say(f"{cell}: {one}")
    for group, count in sorted(made.items()):
        _say(f"{count:>5}  {group}")
    _say(f"{sum(made.values())} copies of {len({one.capture for one in chosen})} captures, {wrong} wrong")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
