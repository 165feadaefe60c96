"""``canlog redact``: a copy safe to share."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import progress_line
from canlog.errors import CanlogError


@click.command()
@CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML) of these captures.")
@NAMES
@click.option("--also", metavar="ID", multiple=True, help="Replace the values of this identifier as well, in hex.")
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option(
    "--output", metavar="PLACE", required=True, help="Write the copy here: a file, or a folder, for several captures."
)
@click.option("--job-output", metavar="FILE", help="Write a job sheet that fits the copy here.")
@click.option(
    "--names-output", metavar="PLACE", help="Write names files that fit the copies here: a file, or a folder."
)
@click.option("--list", "list_file", metavar="FILE", help="Write what was replaced, and how often, as CSV.")
def redact(
    captures: Sequence[str], job: str | None, names: Sequence[str], also: Sequence[str], links: Sequence[str],
    columns: str, output: str, job_output: str | None, names_output: str | None, list_file: str | None,
) -> None:  # fmt: skip
    """Copy captures without what identifies vehicle and owner: VIN, serial numbers, keys, firmware.

    The copies have the same form, lines and times, and give the same words. The README says what it cannot know.
    """
    inputs = [*captures, *names, *([job] if job else [])]
    single = [one for one in (output, names_output) if one is not None and not Path(one).is_dir()]
    check_inputs(captures, inputs, *single, job_output, list_file)
    for option, place, given in (("--job-output", job_output, job), ("--names-output", names_output, names)):
        if place is not None and not given:
            what = option.removesuffix("-output")
            raise CanlogError(f"{option} needs what it is to be made of", hint=f"name it with {what}")
    for place, several, what in ((output, captures, "captures"), (names_output, names, "names files")):
        if place is not None and len(several) > 1 and not Path(place).is_dir():
            raise CanlogError(f"{place}: no folder, and there are several {what}", hint="make the folder first")
    from analysis.commands.writing import whole_files
    from analysis.redact.redact import redact as redacted

    with progress_line() as progress:
        copy = redacted(captures, job, names, _identifiers(also), links, columns=columns, progress=progress)
    contents = _placed(output, copy.names, copy.captures)
    if names_output is not None:
        contents += _placed(names_output, copy.names_names, _names_contents(names, copy.names_files))
    if job_output is not None and copy.sheet is not None:
        contents.append((job_output, copy.sheet.encode("utf-8")))
    if list_file is not None:
        contents.append((list_file, copy.list_csv()))
    places = [place for place, _ in contents]
    check_inputs(captures, inputs, *places)
    whole_files(contents)
    from analysis.report.lines import printable

    for kind, module, identifier, count in copy.listed:
        where = " ".join(filter(None, (module, identifier)))
        click.echo(printable(f"{count:>6}  {kind}  {where}"), err="-" in places)


def _placed(place: str, names: Sequence[str], contents: Sequence[bytes]) -> list[tuple[str, bytes]]:
    """Where each copy is written: into a folder under its name, else to the one place."""
    folder = Path(place)
    places = [str(folder / name) for name in names] if folder.is_dir() else [place]
    return list(zip(places, contents, strict=True))


def _names_contents(names: Sequence[str], copies: Sequence[str | None]) -> list[bytes]:
    for name, copy in zip(names, copies, strict=True):
        if copy is None:
            raise CanlogError(
                f"{name}: a description in another form than TOML is not copied",
                hint="it is the same for every vehicle: look for what must not be in it, and leave it out here",
            )
    return [copy.encode("utf-8") for copy in copies if copy is not None]


def _identifiers(texts: Sequence[str]) -> list[int]:
    from canlog.names.sheet import hex_range

    try:
        pairs = [hex_range(piece.strip()) for text in texts for piece in text.split(",")]
    except ValueError:
        raise CanlogError("--also: no identifier of 4 hex digits (2 for one byte)", hint="e.g. --also F18C") from None
    return [one for first, last in pairs for one in range(first, last + 1)]
