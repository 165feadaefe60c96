"""``canlog walk``: a session for a class."""

from __future__ import annotations

import sys
from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import page_height, page_width, progress_line, wants_colour
from canlog.errors import CanlogError

#: The faults of ``canlog walk --plant``; written here because their module is heavy. A test holds them together.
PLANTED = ("lost-frame", "wrong-read-back", "refused-block", "missing-check", "silence")


@click.command()
@CAPTURES
@click.option("--job", metavar="SHEET", help="Job sheet (TOML): asks whether what came out is what was ordered.")
@NAMES
@link_option("Take these two ids as tester and module, whatever the traffic shows")
@COLUMNS
@click.option("--lesson", metavar="FILE", help="Lesson (TOML): where to stop, in which order, and what to ask there.")
@click.option("--trainer", is_flag=True, help="With all answers, notes and the words of the report.")
@click.option("--sheet", is_flag=True, help="The sheet for the class: questions with room to write, no answers.")
@click.option("--html", "html_file", metavar="FILE", help="Write it as one HTML file, for a projector or to print.")
@click.option("--secrets", is_flag=True, help="Show VINs, serial numbers, seeds, keys and memory unmasked.")
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
    captures: Sequence[str], job: str | None, names: Sequence[str], links: Sequence[str], columns: str,
    lesson: str | None, trainer: bool, sheet: bool, html_file: str | None, secrets: bool, beside: str | None,
    plant: str | None, output: str | None,
) -> None:  # fmt: skip
    """Walk a class through a session: step by step, byte by byte, with questions that it answers itself."""
    inputs = [*captures, *names, *(one for one in (job, lesson, beside) if one)]
    check_inputs(captures, inputs, html_file, output)
    from analysis.walk.audience import Audience
    from analysis.walk.command import Wishes, walk_or_plant

    if trainer and sheet:
        raise CanlogError("--trainer and --sheet: one of them", hint="make the two pages one after the other")
    audience = Audience.TRAINER if trainer else Audience.SHEET if sheet else Audience.CLASS
    width = page_width()
    by_keys = sys.stdout.isatty() and sys.stdin.isatty()
    wishes = Wishes(
        captures, job, names, links, columns, lesson, audience, html_file, secrets, beside, plant, output, width,
        page_height(), wants_colour(), by_keys,
    )  # fmt: skip
    with progress_line() as progress:
        show = walk_or_plant(wishes, progress)
    show(lambda text: click.echo(text, nl=False, color=True), click.getchar)
