"""``canlog compare``: where two sessions part."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import new_page, progress_line


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
    from analysis.compare.page import tell_comparison
    from analysis.compare.sessions import compare as compare_reports

    with progress_line() as progress:
        reports = [analyse(path, names=names, links=links, columns=columns, progress=progress) for path in (good, bad)]
    page = new_page()
    tell_comparison(page, compare_reports(*reports), good, bad)
    click.echo(str(page), nl=False, color=True)
