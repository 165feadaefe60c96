"""The command line. Thin: it opens, asks, prints, and turns errors into one line.

Exit codes: 0 the answer was given; 1 with ``--strict``, not everything is confirmed; 2 bad input or usage.
Nothing heavy is imported before a command runs: ``canlog --help`` has to come at once.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any, NoReturn

import click

from canlog.counting import counted
from canlog.errors import CanlogError

NOT_CONFIRMED = 1
BAD_INPUT = 2
INTERRUPTED = 130  # 128 + SIGINT
READER_GONE = 141  # 128 + SIGPIPE: never 0, an answer that nobody read to its end is none
#: Long lines of prose are hard to read however wide the window is.
WIDEST_REPORT = 120


class _Program(click.Group):
    """Turns what a user can put right into one line with a hint."""

    def main(self, *args: Any, **extra: Any) -> NoReturn:
        """Run and leave with the exit code."""
        extra["standalone_mode"] = False
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):
                stream.reconfigure(errors="replace")  # a terminal that cannot show a sign still gets the rest
        try:
            code = super().main(*args, **extra)
        except CanlogError as error:
            code = _complain(str(error), error.hint)
        except click.UsageError as error:
            command = error.ctx.command_path if error.ctx else "canlog"
            code = _complain(_first_line(error), f"`{command} --help` shows how")
        except click.ClickException as error:
            code = _complain(_first_line(error), "`canlog --help` shows how")
        except click.Abort:
            code = INTERRUPTED
        sys.exit(code if isinstance(code, int) else 0)

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; Ctrl-C and a reader that went away end it quietly."""
        try:
            code = super().invoke(ctx)
            sys.stdout.flush()
        except KeyboardInterrupt:
            return INTERRUPTED
        except BrokenPipeError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # or the last flush complains again
            return READER_GONE
        return code


def _complain(what: str, hint: str) -> int:
    from analysis.report.lines import printable

    click.echo(printable(f"canlog: {what} — {hint}"), err=True)
    return BAD_INPUT


def _first_line(error: click.ClickException) -> str:
    text = " ".join(error.format_message().split())
    return (text or "no command given").rstrip(".")


#: The faults of ``canlog walk --plant``; written here because their module is heavy. A test holds them together.
PLANTED = ("lost-frame", "wrong-read-back", "refused-block", "missing-check", "silence")

_CAPTURES = click.argument("captures", metavar="CAPTURE...", nargs=-1, required=True)


def _link_option(text: str) -> Callable[..., Any]:
    return click.option(
        "--link", "links", metavar="KEY", multiple=True,
        help=f"{text}, e.g. 7E0:7E8, or as printed, in quotes: 'can0:7E0>7E8'. May be given several times.",
    )  # fmt: skip


_COLUMNS = click.option(
    "--columns", metavar="NAMES", default="",
    help="Columns of a table without a header, e.g. time,id,data. Other captures need none.",
)  # fmt: skip
_NAMES = click.option(
    "--names", metavar="FILE", multiple=True,
    help="Names file (TOML): what a maker's identifiers mean. May be given several times.",
)  # fmt: skip


@click.group(
    cls=_Program, name="canlog", no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(package_name="canlog", message="canlog %(version)s")
def main() -> None:
    """Did the programming complete? Reads raw captures of a vehicle's diagnostic bus and says so.

    Names the frames it rests on. It only reads captures and never sends a frame. A CAPTURE is a file, or -
    for standard input.
    """


@main.command()
@_CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML): what was meant to happen.")
@_NAMES
@_link_option("Take these two ids as tester and module, whatever the traffic shows")
@_COLUMNS
@click.option("--json", "json_file", metavar="FILE", help="Write the report as JSON; - prints it instead of the text.")
@click.option("--html", "html_file", metavar="FILE", help="Write the report as one HTML file that needs no network.")
@click.option("--strict", is_flag=True, help="Exit code 1 unless everything is confirmed.")
def report(
    captures: Sequence[str], job: str | None, names: Sequence[str], links: Sequence[str], columns: str,
    json_file: str | None, html_file: str | None, strict: bool,
) -> int:  # fmt: skip
    """Say what became of the job, and what the module is now."""
    _check_inputs(captures, [*captures, *names, *([job] if job else [])], json_file, html_file)
    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.report.again import Again
    from analysis.report.text import render_text

    with _progress() as progress:
        found = analyse(captures, job=job, names=names, links=links, columns=columns, progress=progress)
        data = found.to_dict()
    if json_file is not None:
        with whole_file(json_file) as stream:
            stream.write(json.dumps(data, ensure_ascii=False, indent=1).encode("utf-8", "replace") + b"\n")
    again = Again(captures, links, columns, job, names)
    if html_file is not None:
        from analysis.report.html_gathered import html_of

        with whole_file(html_file) as stream:
            stream.write(html_of(found, again).encode("utf-8", "replace"))
    if "-" not in (json_file, html_file):
        width = min(_terminal_width() or 80, WIDEST_REPORT)
        click.echo(render_text(data, width, _wants_colour(), again), nl=False, color=True)
    return NOT_CONFIRMED if strict and data["verdict"]["overall"] != "confirmed" else 0


@main.command("list")
@_CAPTURES
@click.option(
    "--level", type=click.Choice(["exchanges", "messages", "frames"]), default="exchanges", show_default=True,
    help="Requests with their answers, rebuilt messages, or raw frames.",
)  # fmt: skip
@_link_option("Only this link")
@_NAMES
@_COLUMNS
@click.option(
    "--format", "form", type=click.Choice(["text", "jsonl", "csv", "parquet"]), default="text", show_default=True,
    help="How to write the rows.",
)  # fmt: skip
@click.option("--output", metavar="FILE", default="-", help="Write to this file instead of standard output.")
@click.option("--secrets", is_flag=True, help="Show seeds, keys and certificates (services 27, 29) unmasked.")
def list_rows(
    captures: Sequence[str],
    level: str,
    links: Sequence[str],
    names: Sequence[str],
    columns: str,
    form: str,
    output: str,
    secrets: bool,
) -> None:
    """List what a capture holds, one row a line."""
    _check_inputs(captures, [*captures, *names], output)
    if form == "parquet" and output == "-" and sys.stdout.isatty():
        raise CanlogError("Parquet is not for a terminal", hint="name a file with --output")
    from analysis.commands.listing import LEVELS, Request
    from analysis.commands.rows import WRITERS, CountedRows
    from analysis.commands.writing import whole_file

    width = _terminal_width() if output == "-" else None
    with _progress() as progress:
        table = LEVELS[level](Request(captures, links, names, secrets, columns, width, progress))
        with whole_file(output) as stream:
            rows = CountedRows(table.rows)
            WRITERS[form](table._replace(rows=rows), stream)
    if rows.n_rows == 0:
        click.echo(f"no {level} to list; `canlog report` says what the capture holds", err=True)


@main.command()
@_CAPTURES
@_NAMES
@_link_option("Only this module")
@_COLUMNS
@click.option("--against", metavar="FILE", help="Compare with this firmware file: Intel HEX, S-record or bare bytes.")
@click.option("--at", metavar="ADDRESS", default="", help="Where the bare bytes of --against begin, in hex.")
@click.option("--save", metavar="FILE", help="Save what was written: .hex, .s37, or .bin for one range.")
def image(
    captures: Sequence[str], names: Sequence[str], links: Sequence[str], columns: str, against: str | None, at: str,
    save: str | None,
) -> None:  # fmt: skip
    """Rebuild the memory that was written: ranges, holes, checksums; compare it with a file, or save it."""
    _check_inputs(captures, [*captures, *names, *([against] if against else [])], save)
    from analysis import analyse
    from analysis.commands.listing import is_meant
    from analysis.commands.writing import whole_file
    from analysis.image.files import load, saved
    from analysis.image.page import render_images
    from analysis.image.rebuilt import images
    from canlog.isotp.addressing import parse_link

    wishes = [parse_link(key) for key in links]
    file = load(against, _address(at)) if against is not None else None
    with _progress() as progress:
        report = analyse(captures, names=names, links=links, columns=columns, progress=progress)
    found = [
        one for one in images(report) if not wishes or any(is_meant(wish, one.operation.link.key) for wish in wishes)
    ]
    width = min(_terminal_width() or 80, WIDEST_REPORT)
    click.echo(render_images(found, file, against or "", width, color=_wants_colour()), nl=False, color=True)
    if save is not None:
        parts = [one for one in found if not one.operation.details["driver"]]
        content = saved(parts, save)
        with whole_file(save) as stream:
            stream.write(content)
        left_out = sum(behind - first for one in parts for first, behind in one.holes)
        if left_out:
            click.echo(f"{save}: {counted(left_out, 'byte')} that the capture does not show left out", err=True)


def _address(text: str) -> int | None:
    try:
        return int(text, 16) if text else None
    except ValueError:
        raise CanlogError(f"{text!r} is no address", hint="write it in hex, e.g. --at 00020000") from None


@main.command()
@_CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML): its links and labels are taken as well.")
@_NAMES
@_link_option("Take these two ids as tester and module, whatever the traffic shows")
@_COLUMNS
@click.option("--csv", "csv_file", metavar="FILE", help="Write the values as CSV as well; - prints it instead.")
def trims(
    captures: Sequence[str], job: str | None, names: Sequence[str], links: Sequence[str], columns: str,
    csv_file: str | None,
) -> None:  # fmt: skip
    """Write down every value of a single unit: what was read, copied, written, and whether it arrived."""
    _check_inputs(captures, [*captures, *names, *([job] if job else [])], csv_file)
    import csv
    import io

    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.sheet.jobsheet import load_job_sheet
    from analysis.trims.page import COLUMNS, render_trims, rows
    from analysis.trims.sheet import trim_sheets

    with _progress() as progress:
        found = analyse(captures, job=job, names=names, links=links, columns=columns, progress=progress)
    sheets = trim_sheets(found, load_job_sheet(job) if job is not None else None)
    if csv_file is not None:
        text = io.StringIO()
        csv.writer(text).writerows([COLUMNS, *rows(sheets)])
        with whole_file(csv_file) as stream:
            stream.write(text.getvalue().encode("utf-8", "replace"))
    if csv_file != "-":
        width = min(_terminal_width() or 80, WIDEST_REPORT)
        page = render_trims(sheets, len(found.record.captures), width, color=_wants_colour())
        click.echo(page, nl=False, color=True)


@main.command()
@click.argument("good")
@click.argument("bad")
@_NAMES
@_link_option("Take these two ids as tester and module in both")
@_COLUMNS
def compare(good: str, bad: str, names: Sequence[str], links: Sequence[str], columns: str) -> None:
    """Find the first place where two sessions part. GOOD worked, BAD did not."""
    _check_inputs([good, bad], [good, bad, *names])
    from analysis import analyse
    from analysis.compare.page import render_comparison
    from analysis.compare.sessions import compare as compare_reports

    with _progress() as progress:
        reports = [analyse(path, names=names, links=links, columns=columns, progress=progress) for path in (good, bad)]
    width = min(_terminal_width() or 80, WIDEST_REPORT)
    page = render_comparison(compare_reports(*reports), good, bad, width, color=_wants_colour())
    click.echo(page, nl=False, color=True)


@main.command()
@_CAPTURES
@_NAMES
@_link_option("Take these two ids as tester and module, whatever the traffic shows")
@_COLUMNS
@click.option("--lesson", metavar="FILE", help="Lesson (TOML): where to stop, in which order, and what to ask there.")
@click.option("--trainer", is_flag=True, help="With all answers, notes and the words of the report.")
@click.option("--sheet", is_flag=True, help="The sheet for the class: questions with room to write, no answers.")
@click.option("--html", "html_file", metavar="FILE", help="Write it as one HTML file, for a projector or to print.")
@click.option("--secrets", is_flag=True, help="Show seeds, keys and certificates (services 27, 29) unmasked.")
@click.option("--beside", metavar="BAD", help="Show this session beside the first, where they part.")
@click.option(
    "--plant",
    metavar="KIND",
    type=click.Choice(PLANTED),
    help=f"Make an exercise: a copy with one fault planted: {', '.join(PLANTED)}.",
)
@click.option(
    "--output", metavar="FILE", help="The copy of --plant, as candump text; its truth goes to FILE.truth.toml."
)
def walk(
    captures: Sequence[str], names: Sequence[str], links: Sequence[str], columns: str, lesson: str | None,
    trainer: bool, sheet: bool, html_file: str | None, secrets: bool, beside: str | None, plant: str | None,
    output: str | None,
) -> None:  # fmt: skip
    """Walk a class through a session: step by step, byte by byte, with questions that it answers itself."""
    inputs = [*captures, *names, *(one for one in (lesson, beside) if one)]
    _check_inputs(captures, inputs, html_file, output)
    from analysis.walk.audience import Audience
    from analysis.walk.command import Wishes, walk_or_plant

    if trainer and sheet:
        raise CanlogError("--trainer and --sheet: one of them", hint="make the two pages one after the other")
    audience = Audience.TRAINER if trainer else Audience.SHEET if sheet else Audience.CLASS
    width = min(_terminal_width() or 80, WIDEST_REPORT)
    by_keys = sys.stdout.isatty() and sys.stdin.isatty()
    wishes = Wishes(
        captures, names, links, columns, lesson, audience, html_file, secrets, beside, plant, output, width,
        _wants_colour(), by_keys,
    )  # fmt: skip
    with _progress() as progress:
        show = walk_or_plant(wishes, progress)
    show(lambda text: click.echo(text, nl=False, color=True), click.getchar)


@main.command()
@click.option("--data", metavar="DIR", help="Where captures and reports are kept; a folder of this user otherwise.")
@click.option("--port", type=click.IntRange(0, 65535), default=8077, show_default=True, help="0 takes a free one.")
@click.option("--lan", is_flag=True, help="Let others on the network in, with an access key.")
def serve(data: str | None, port: int, lan: bool) -> None:
    """Serve a page to drop captures on and to read reports; for this machine alone, unless --lan is given."""
    from importlib.util import find_spec
    from pathlib import Path

    if not all(map(find_spec, ("starlette", "uvicorn", "python_multipart", "jinja2", "segno"))):
        raise CanlogError("the upload page needs packages that are not installed", hint="pip install 'canlog[serve]'")
    from analysis.serve.run import default_data
    from analysis.serve.run import serve as serve_page

    serve_page(Path(data) if data else default_data(), port, lan=lan)


@main.command("sheet")
@_CAPTURES
@_NAMES
@_link_option("Take these two ids as tester and module, whatever the traffic shows")
@_COLUMNS
@click.option("--output", metavar="FILE", default="-", help="Write to this file instead of standard output.")
def fill_sheet(
    captures: Sequence[str], names: Sequence[str], links: Sequence[str], columns: str, output: str
) -> None:  # fmt: skip
    """Fill a job sheet from a capture known to be good, to begin your own with."""
    _check_inputs(captures, [*captures, *names], output)
    from analysis import analyse
    from analysis.commands.writing import whole_file
    from analysis.sheet.starter import starter_sheet

    with _progress() as progress:
        found = analyse(captures, names=names, links=links, columns=columns, progress=progress)
    with whole_file(output) as stream:
        stream.write(starter_sheet(found).encode())


@main.command()
@click.argument("capture")
@click.option("--job", metavar="SHEET", help="Job sheet (TOML) of this capture.")
@_NAMES
@click.option("--also", metavar="ID", multiple=True, help="Replace the values of this identifier as well, in hex.")
@_link_option("Take these two ids as tester and module, whatever the traffic shows")
@_COLUMNS
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
    _check_inputs([], [capture, *names, *([job] if job else [])], output, job_output, list_file)
    if job is None and job_output is not None:
        raise CanlogError("--job-output needs a job sheet", hint="name it with --job")
    from analysis.commands.writing import whole_file
    from analysis.redact.redact import redact as redacted

    with _progress() as progress:
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


@main.command()
def formats() -> None:
    """List the capture formats that can be read, how each is known and what it cannot tell."""
    from canlog.capture.registry import FORMATS

    name_width = max(len(item.NAME) for item in FORMATS)
    for item in FORMATS:
        click.echo(f"{item.NAME:<{name_width}}  {item.ABOUT}")
        click.echo(f"{'':<{name_width}}  known by: {item.EVIDENCE}")
        click.echo(f"{'':<{name_width}}  cannot tell: {item.CANNOT_TELL}")
    click.echo("Each may be packed with gzip, xz, zstd or zip (one member), and come by standard input.")


@main.command()
@click.argument("name", metavar="[ID]", required=False)
@click.option("--all", "whole", is_flag=True, help="Print the manual of all findings.")
def findings(name: str | None, whole: bool) -> None:
    """Explain a finding: what is seen, what it can mean, its look-alikes, what to try. Without ID, list them."""
    from analysis.checks import manual

    width = min(_terminal_width() or 80, WIDEST_REPORT)
    page = manual.whole(width) if whole else manual.entry(name, width) if name is not None else manual.index(width)
    click.echo(page, nl=False)


@main.command()
@click.argument("name", metavar="[NAME]", required=False)
def tables(name: str | None) -> None:
    """Print a table to look things up in: services, refusals, identifiers. Without NAME, list the tables."""
    from canlog.services.printed import TABLES, table_text

    if name is not None:
        click.echo(table_text(name, _terminal_width() or WIDEST_REPORT), nl=False)
        return
    name_width = max(len(one) for one in TABLES)
    for one, table in TABLES.items():
        click.echo(f"{one:<{name_width}}  {table.title}")


def _check_inputs(captures: Sequence[str], inputs: Sequence[str], *outputs: str | None) -> None:
    """Standard input is read once; no output is one of the inputs, and no two are the same."""
    from analysis.commands.writing import refuse_to_overwrite

    if list(captures).count("-") > 1:
        raise CanlogError("-: standard input can be read only once", hint="name each further capture as a file")
    named = [one for one in outputs if one is not None]
    for one in named:
        refuse_to_overwrite(one, inputs)
    if len({os.path.realpath(one) for one in named}) < len(named):
        raise CanlogError("two outputs have the same name", hint="give each a name of its own")


@contextmanager
def _progress() -> Iterator[Callable[[int, int], None]]:
    from analysis.commands.progress import ProgressLine

    line = ProgressLine(sys.stderr)
    try:
        yield line
    finally:
        line.close()


def _terminal_width() -> int | None:
    """Columns of the terminal; None when the output goes elsewhere and nobody set COLUMNS."""
    if sys.stdout.isatty() or os.environ.get("COLUMNS", "").isdecimal():
        return shutil.get_terminal_size((80, 24)).columns
    return None


def _wants_colour() -> bool:
    """Only on a terminal that has colours, and not where the user said no (no-color.org)."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


if __name__ == "__main__":
    main()
