"""``canlog compare``: where two sessions part."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import page_width, progress_line, wants_colour


@click.command()
@click.argument("good")
@click.argument("bad")
@NAMES
@link_option("Take these two ids as tester and module in both")
@COLUMNS
def compare(good: str, bad: str, names: Sequence[str], links: Sequence[str], columns: str) -> None:
    """Find the first place where two sessions part. GOOD worked, BAD did not."""
    check_inputs([good, bad], [good, bad, *names])
    from analysis import analyse
    from analysis.compare.page import render_comparison
    from analysis.compare.sessions import compare as compare_reports

    with progress_line() as progress:
        reports = [analyse(path, names=names, links=links, columns=columns, progress=progress) for path in (good, bad)]
    width = page_width()
    page = render_comparison(compare_reports(*reports), good, bad, width, color=wants_colour())
    click.echo(page, nl=False, color=True)
