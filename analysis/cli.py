"""The command line. Thin: it opens, asks, prints, and turns errors into one line.

Exit codes: 0 the answer was given; 1 with ``--strict``, not everything is confirmed; 2 bad input or usage.
Nothing heavy is imported before a command runs: ``canlog --help`` has to come at once.
"""

from __future__ import annotations

import os
import sys
from typing import Any, NoReturn

import click

from analysis.commands.compare_command import compare
from analysis.commands.image_command import image
from analysis.commands.list_command import list_rows
from analysis.commands.lookups import findings, formats, tables
from analysis.commands.redact_command import redact
from analysis.commands.report_command import report
from analysis.commands.serve_command import serve
from analysis.commands.sheet_command import fill_sheet
from analysis.commands.trims_command import trims
from analysis.commands.walk_command import walk
from canlog import __version__
from canlog.errors import CanlogError

BAD_INPUT = 2
INTERRUPTED = 130  # 128 + SIGINT
READER_GONE = 141  # 128 + SIGPIPE: never 0, an answer that nobody read to its end is none


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


@click.group(
    cls=_Program, name="canlog", no_args_is_help=False, context_settings={"help_option_names": ["-h", "--help"]}
)
@click.version_option(__version__, message="canlog %(version)s")
def main() -> None:
    """Did the programming complete? Reads raw captures of a vehicle's diagnostic bus and says so.

    Names the frames it rests on. It only reads captures and never sends a frame. A CAPTURE is a file, or -
    for standard input.
    """


for _command in (
    report, list_rows, trims, image, compare, fill_sheet, walk, redact, serve, formats, findings, tables,
):  # fmt: skip
    main.add_command(_command)


if __name__ == "__main__":
    main()
