"""Arguments that several commands share, and what is asked of every name of a file."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from typing import Any

import click

from canlog.errors import CanlogError

CAPTURES = click.argument("captures", metavar="CAPTURE...", nargs=-1, required=True)


def link_option(text: str) -> Callable[..., Any]:
    """``--link``, with what it means to this command."""
    return click.option(
        "--link", "links", metavar="KEY", multiple=True,
        help=f"{text}, e.g. 7E0:7E8, or as printed, in quotes: 'can0:7E0>7E8'. May be given several times.",
    )  # fmt: skip


COLUMNS = click.option(
    "--columns", metavar="NAMES", default="",
    help="Columns of a table without a header, e.g. time,id,data. Other captures need none.",
)  # fmt: skip
NAMES = click.option(
    "--names", metavar="FILE", multiple=True,
    help="Names file (TOML): what a maker's identifiers mean. May be given several times.",
)  # fmt: skip


def check_inputs(captures: Sequence[str], inputs: Sequence[str], *outputs: str | None) -> None:
    """Standard input is read once; no output is one of the inputs, and no two are the same."""
    from analysis.commands.writing import refuse_to_overwrite

    if list(captures).count("-") > 1:
        raise CanlogError("-: standard input can be read only once", hint="name each further capture as a file")
    named = [one for one in outputs if one is not None]
    for one in named:
        refuse_to_overwrite(one, inputs)
    if len({os.path.realpath(one) for one in named}) < len(named):
        raise CanlogError("two outputs have the same name", hint="give each a name of its own")
