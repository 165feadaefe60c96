"""How the report was asked for, so that it can say how to ask for more."""

from __future__ import annotations

import shlex
from collections.abc import Iterable, Sequence
from typing import NamedTuple


class Again(NamedTuple):
    """What stood on the command line, as it was typed."""

    captures: Sequence[str]
    links: Sequence[str] = ()
    columns: str = ""
    job: str | None = None
    names: Sequence[str] = ()

    def list_command(self, level: str) -> str:
        """The command that lists one level of the same captures."""
        return _command("list", self.captures, [*self._reading(), ("--level", level)])

    def report_command(self, json_file: str) -> str:
        """The same report, written as JSON as well."""
        meant = [("--job", self.job)] if self.job is not None else []
        meant += [("--names", name) for name in self.names]
        return _command("report", self.captures, [*meant, *self._reading(), ("--json", json_file)])

    def _reading(self) -> list[tuple[str, str]]:
        columns = [("--columns", self.columns)] if self.columns else []
        return [("--link", link) for link in self.links] + columns


def _command(name: str, captures: Sequence[str], options: Iterable[tuple[str, str]]) -> str:
    words = [word for option, value in options for word in (option, value)]
    return shlex.join(["canlog", name, *captures, *words])
