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
@click.option("--list", "list_file", metavar="FILE", help="Write what was replaced, and how often, as CSV.")
def redact(
    captures: Sequence[str], job: str | None, names: Sequence[str], also: Sequence[str], links: Sequence[str],
    columns: str, output: str, job_output: str | None, list_file: str | None,
) -> None:  # fmt: skip
    """Copy captures without what identifies vehicle and owner: VIN, serial numbers, keys, firmware.

    The copies have the same form, lines and times, and give the same words. The README says what it cannot know.
    """
    inputs = [*captures, *names, *([job] if job else [])]
    is_folder = len(captures) > 1 or Path(output).is_dir()
    check_inputs(captures, inputs, None if is_folder else output, job_output, list_file)
    if job is None and job_output is not None:
        raise CanlogError("--job-output needs a job sheet", hint="name it with --job")
    if is_folder and not Path(output).is_dir():
        raise CanlogError(f"{output}: no folder, and there are several captures", hint="make the folder first")
    from analysis.commands.writing import whole_file
    from analysis.redact.redact import redact as redacted

    with progress_line() as progress:
        copy = redacted(captures, job, names, _identifiers(also), links, columns=columns, progress=progress)
    outputs = [str(Path(output, name)) for name in copy.names] if is_folder else [output]
    check_inputs(captures, inputs, *outputs, job_output, list_file)
    for place, content in zip(outputs, copy.captures, strict=True):
        with whole_file(place) as stream:
            stream.write(content)
    if job_output is not None and copy.sheet is not None:
        with whole_file(job_output) as stream:
            stream.write(copy.sheet.encode("utf-8"))
    if list_file is not None:
        with whole_file(list_file) as stream:
            stream.write(copy.list_csv())
    from analysis.report.lines import printable

    for kind, module, identifier, count in copy.listed:
        where = " ".join(filter(None, (module, identifier)))
        click.echo(printable(f"{count:>6}  {kind}  {where}"), err="-" in (output, job_output, list_file))


def _identifiers(texts: Sequence[str]) -> list[int]:
    from canlog.names.sheet import hex_range

    try:
        pairs = [hex_range(piece.strip()) for text in texts for piece in text.split(",")]
    except ValueError:
        raise CanlogError("--also: no identifier of 4 hex digits (2 for one byte)", hint="e.g. --also F18C") from None
    return [one for first, last in pairs for one in range(first, last + 1)]
