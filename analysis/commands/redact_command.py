"""``canlog redact``: a copy safe to share."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import progress_line
from canlog.errors import CanlogError


@click.command()
@click.argument("capture")
@click.option("--job", metavar="SHEET", help="Job sheet (TOML) of this capture.")
@NAMES
@click.option("--also", metavar="ID", multiple=True, help="Replace the values of this identifier as well, in hex.")
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option("--output", metavar="FILE", required=True, help="Write the copy of the capture here.")
@click.option("--job-output", metavar="FILE", help="Write a job sheet that fits the copy here.")
@click.option("--list", "list_file", metavar="FILE", help="Write what was replaced, and how often, as CSV.")
def redact(
    capture: str, job: str | None, names: Sequence[str], also: Sequence[str], links: Sequence[str], columns: str,
    output: str, job_output: str | None, list_file: str | None,
) -> None:  # fmt: skip
    """Copy a capture without what identifies vehicle and owner: VIN, serial numbers, keys, firmware.

    The copy has the same form, lines and times, and gives the same words. The README says what it cannot know.
    """
    check_inputs([], [capture, *names, *([job] if job else [])], output, job_output, list_file)
    if job is None and job_output is not None:
        raise CanlogError("--job-output needs a job sheet", hint="name it with --job")
    from analysis.commands.writing import whole_file
    from analysis.redact.redact import redact as redacted

    with progress_line() as progress:
        copy = redacted(capture, job, names, _identifiers(also), links, columns=columns, progress=progress)
    with whole_file(output) as stream:
        stream.write(copy.capture)
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
