"""What can be looked up without a capture: formats, findings, tables."""

from __future__ import annotations

import sys

import click

from analysis.commands.terminal import WIDEST_REPORT, new_page, terminal_width

#: A pipe gets each entry on a line of its own, however long.
UNBROKEN = 10_000


@click.command()
def formats() -> None:
    """List the capture formats that can be read, how each is known and what it cannot tell."""
    from canlog.capture.registry import FORMATS

    name_width = max(len(item.NAME) for item in FORMATS)
    page = new_page(None if sys.stdout.isatty() else UNBROKEN)
    page.table((), (name_width, 0), indent=0)
    for item in FORMATS:
        page.row(item.NAME, item.ABOUT)
        page.row("", f"known by: {item.EVIDENCE}")
        page.row("", f"cannot tell: {item.CANNOT_TELL}")
    page.text("Each may be packed with gzip, xz, zstd or zip (one member), and come by standard input.", indent=0)
    click.echo(str(page), nl=False, color=True)


@click.command()
@click.argument("name", metavar="[ID]", required=False)
@click.option("--all", "whole", is_flag=True, help="Print the manual of all findings.")
def findings(name: str | None, whole: bool) -> None:
    """Explain a finding: what is seen, what it can mean, its look-alikes, what to try. Without ID, list them."""
    from analysis.checks import manual

    page = new_page()
    if whole:
        manual.tell_whole(page)
    elif name is not None:
        manual.tell_entry(page, name)
    else:
        manual.tell_index(page)
    click.echo(str(page), nl=False, color=True)


@click.command()
@click.argument("name", metavar="[NAME]", required=False)
def tables(name: str | None) -> None:
    """Print a table to look things up in: services, refusals, identifiers. Without NAME, list the tables."""
    from canlog.services.printed import TABLES, source_text, table_named, table_text, title_text

    if name is not None and not sys.stdout.isatty():
        click.echo(table_text(name, terminal_width() or WIDEST_REPORT), nl=False)
        return
    if name is not None:
        asked = table_named(name)
        page = new_page(terminal_width())
        page.text(title_text(name), indent=0, colour="strong")
        page.text("", indent=0)
        page.table(asked.columns, [0] * len(asked.columns), indent=0)
        for row in asked.rows:
            page.row(*row)
        page.text("", indent=0)
        page.text(source_text(asked), indent=0)
    else:
        page = new_page(None if sys.stdout.isatty() else UNBROKEN)
        page.table((), (max(map(len, TABLES)), 0), indent=0)
        for one, table in TABLES.items():
            page.row(one, table.title)
    click.echo(str(page), nl=False, color=True)
