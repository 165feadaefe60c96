"""What can be looked up without a capture: formats, findings, tables."""

from __future__ import annotations

import click

from analysis.commands.terminal import WIDEST_REPORT, page_width, terminal_width


@click.command()
def formats() -> None:
    """List the capture formats that can be read, how each is known and what it cannot tell."""
    from canlog.capture.registry import FORMATS

    name_width = max(len(item.NAME) for item in FORMATS)
    for item in FORMATS:
        click.echo(f"{item.NAME:<{name_width}}  {item.ABOUT}")
        click.echo(f"{'':<{name_width}}  known by: {item.EVIDENCE}")
        click.echo(f"{'':<{name_width}}  cannot tell: {item.CANNOT_TELL}")
    click.echo("Each may be packed with gzip, xz, zstd or zip (one member), and come by standard input.")


@click.command()
@click.argument("name", metavar="[ID]", required=False)
@click.option("--all", "whole", is_flag=True, help="Print the manual of all findings.")
def findings(name: str | None, whole: bool) -> None:
    """Explain a finding: what is seen, what it can mean, its look-alikes, what to try. Without ID, list them."""
    from analysis.checks import manual

    width = page_width()
    page = manual.whole(width) if whole else manual.entry(name, width) if name is not None else manual.index(width)
    click.echo(page, nl=False)


@click.command()
@click.argument("name", metavar="[NAME]", required=False)
def tables(name: str | None) -> None:
    """Print a table to look things up in: services, refusals, identifiers. Without NAME, list the tables."""
    from canlog.services.printed import TABLES, table_text

    if name is not None:
        click.echo(table_text(name, terminal_width() or WIDEST_REPORT), nl=False)
        return
    name_width = max(len(one) for one in TABLES)
    for one, table in TABLES.items():
        click.echo(f"{one:<{name_width}}  {table.title}")
