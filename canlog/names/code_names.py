"""The user's names of codes: what a fault code, or a refusal of one request, means in a module."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from canlog.names.dtc import parse_dtc
from canlog.names.sheet import Table, hex_bytes, hex_number

#: Texts of descriptions are cut here: a line of a report is no manual.
LONGEST_TEXT: Final = 200


@dataclass(frozen=True, slots=True)
class FaultName:
    """A fault code as people write it, ``P0143-16``; without failure type, ``P0143``, it names all of them."""

    code: str
    name: str
    modules: tuple[str, ...] = ()
    described: bool = False  # by a maker's description: what a person wrote wins over it

    def covers(self, code: str) -> bool:
        """True for this code."""
        return self.code in (code, code.partition("-")[0])


@dataclass(frozen=True, slots=True)
class RefusalName:
    """What a negative response code means for requests that begin with some bytes (none: for all)."""

    code: int
    text: str
    request: bytes = b""
    modules: tuple[str, ...] = ()
    described: bool = False


def read_fault(table: Table) -> FaultName:
    """A ``[[fault]]`` table."""
    fault = FaultName(
        code=table.read("code", _fault_code, "a fault code like P0143-16, or P0143"),
        name=table.text("name"),
        modules=table.texts("modules"),
    )
    table.finish()
    return fault


def read_refusal(table: Table) -> RefusalName:
    """A ``[[refusal]]`` table."""
    refusal = RefusalName(
        code=table.read("code", _one_byte, "one byte in hex"),
        text=table.text("text"),
        request=table.maybe("request", hex_bytes, "the bytes in hex that the request begins with") or b"",
        modules=table.texts("modules"),
    )
    table.finish()
    return refusal


def _fault_code(text: str) -> str:
    parse_dtc(text)
    return text.upper()


def _one_byte(text: str) -> int:
    if len(text) != 2:
        raise ValueError(text)
    return hex_number(text)
