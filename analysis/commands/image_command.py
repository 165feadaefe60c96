"""``canlog image``: the memory that was written."""

from __future__ import annotations

from collections.abc import Sequence

import click

from analysis.commands.options import CAPTURES, COLUMNS, NAMES, check_inputs, link_option
from analysis.commands.terminal import new_page, progress_line
from canlog.counting import counted
from canlog.errors import CanlogError


@click.command()
@CAPTURES
@NAMES
@link_option("Only this module")
@COLUMNS
@click.option("--against", metavar="FILE", help="Compare with this firmware file: Intel HEX, S-record or bare bytes.")
@click.option("--at", metavar="ADDRESS", default="", help="Where the bare bytes of --against begin, in hex.")
@click.option("--save", metavar="FILE", help="Save what was written: .hex, .s37, or .bin for one range.")
def image(
    captures: Sequence[str], names: Sequence[str], links: Sequence[str], columns: str, against: str | None, at: str,
    save: str | None,
) -> None:  # fmt: skip
    """Rebuild the memory that was written: ranges, holes, checksums; compare it with a file, or save it."""
    check_inputs(captures, [*captures, *names, *([against] if against else [])], save)
    from analysis import analyse
    from analysis.commands.listing import is_meant
    from analysis.commands.writing import whole_file
    from analysis.image.files import load, saved
    from analysis.image.page import tell_images
    from analysis.image.rebuilt import images
    from canlog.isotp.addressing import parse_link

    wishes = [parse_link(key) for key in links]
    file = load(against, _address(at)) if against is not None else None
    with progress_line() as progress:
        report = analyse(captures, names=names, links=links, columns=columns, progress=progress)
    found = [
        one for one in images(report) if not wishes or any(is_meant(wish, one.operation.link.key) for wish in wishes)
    ]
    page = new_page()
    tell_images(page, found, file, against or "")
    click.echo(str(page), nl=False, color=True)
    if save is not None:
        parts = [one for one in found if not one.operation.details["driver"]]
        content = saved(parts, save)
        with whole_file(save) as stream:
            stream.write(content)
        left_out = sum(hole.behind - hole.first for one in parts for hole in one.holes)
        if left_out:
            click.echo(
                f"{save}: {counted(left_out, 'byte')} that the capture does not show, or not where, left out", err=True
            )


def _address(text: str) -> int | None:
    try:
        return int(text, 16) if text else None
    except ValueError:
        raise CanlogError(f"{text!r} is no address", hint="write it in hex, e.g. --at 00020000") from None
