"""The formats that can be read, and the choice among them: by content, never by file name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final, Protocol

from canlog.capture import asc, candump, candump_text, csv_table
from canlog.errors import CaptureError
from canlog.frames import FrameTable


class CaptureFormat(Protocol):
    """What a reader's module offers."""

    @property
    def NAME(self) -> str:  # noqa: N802  (a constant of the module)
        """Its short name, as in reports."""

    @property
    def ABOUT(self) -> str:  # noqa: N802
        """One line for `canlog formats`."""

    @property
    def EXPECTED(self) -> str:  # noqa: N802
        """What was missing when it does not fit."""

    def recognise(self, head: bytes) -> float:
        """0 to 1, from the first bytes only; 0 means it cannot be read."""

    def read(self, blocks: Iterable[bytes]) -> Iterator[FrameTable]:
        """The frames, in tables of bounded size; bad lines kept with number and reason."""


FORMATS: Final[tuple[CaptureFormat, ...]] = (candump, candump_text, asc, csv_table)

_HINT: Final = "`canlog formats` lists what can be read"
#: Share of control bytes above which a head is not text.
_BINARY_SHARE: Final = 0.1
_CONTROL: Final = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1b"))


def choose_format(name: str, heads: Iterable[bytes]) -> CaptureFormat:
    """The format that fits best, tried on longer and longer heads until one gives a frame.

    Raises:
        CaptureError: none does; says why for each.
    """
    head, reasons = b"", ""
    for head in heads:
        fits = sorted(((each.recognise(head), -at, each) for at, each in enumerate(FORMATS)), reverse=True)
        objections = {each.NAME: each.EXPECTED if fit == 0 else _objection(each, head) for fit, _, each in fits}
        for _, _, each in fits:
            if not objections[each.NAME]:
                return each
        reasons = "; ".join(f"{each.NAME}: {objections[each.NAME]}" for each in FORMATS)
    if _is_binary(head):
        raise CaptureError(f"{name}: binary data in no form that can be read", hint=_HINT)
    raise CaptureError(f"{name}: no line looks like a CAN frame ({reasons})", hint=_HINT)


def _objection(reader: CaptureFormat, head: bytes) -> str:
    """Why a reader that recognises a head gives no frame of it; empty if it does."""
    tables = list(reader.read([head]))
    if any(map(len, tables)):
        return ""
    bad = next((bad for table in tables for bad in table.bad_lines), None)
    return f"line {bad.line}: {bad.reason}" if bad else "no frame"


def _is_binary(head: bytes) -> bool:
    return len(head) - len(head.translate(None, _CONTROL)) > _BINARY_SHARE * len(head)
