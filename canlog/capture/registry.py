"""The formats that can be read, and the choice among them: by content, never by file name."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Final, Protocol

from canlog.capture import (
    asc,
    blf,
    candump,
    candump_text,
    csv_table,
    id_data,
    learned_text,
    mf4,
    pcap,
    slcan,
    sqlite,
    trc,
)
from canlog.capture.other_files import known_as
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

    @property
    def EVIDENCE(self) -> str:  # noqa: N802
        """What it is recognised by."""

    @property
    def CANNOT_TELL(self) -> str:  # noqa: N802
        """What no capture of this form says."""

    @property
    def SUFFIXES(self) -> tuple[str, ...]:  # noqa: N802
        """Ends of file names that promise this form and no other; they choose nothing."""

    def recognise(self, head: bytes) -> float:
        """0 to 1, from the first bytes only; 0 means it cannot be read."""

    def read(self, blocks: Iterable[bytes]) -> Iterator[FrameTable]:
        """The frames, in tables of bounded size; bad lines kept with number and reason."""


FORMATS: Final[tuple[CaptureFormat, ...]] = (
    candump, candump_text, asc, trc, slcan, id_data, csv_table, learned_text, blf, pcap, mf4, sqlite,
)  # fmt: skip
BINARY: Final[tuple[CaptureFormat, ...]] = (blf, pcap, mf4, sqlite)
#: Forms whose first bytes say all, and of which a part cannot be read.
_WHOLE_ONLY: Final[tuple[CaptureFormat, ...]] = (mf4, sqlite)
#: Ends of file names that promise a packed file.
_PACKED: Final = {".gz": "gzip", ".xz": "xz", ".zst": "zstd", ".zip": "zip"}

_HINT: Final = "`canlog formats` lists what can be read"
#: Share of control bytes above which a head is not text.
_BINARY_SHARE: Final = 0.1
_CONTROL: Final = bytes(set(range(32)) - set(b"\t\n\v\f\r\x1b"))


def choose_format(name: str, heads: Iterable[bytes]) -> CaptureFormat:
    """The format that fits best, tried on longer and longer heads until one gives a frame.

    Raises:
        CaptureError: none does; says why for the nearest, or what else the file is.
    """
    head, objections = b"", dict[str, str]()
    for head in heads:
        objections = {}
        for each, fit in _ranked(head):
            objections[each.NAME] = each.EXPECTED if fit == 0 else _objection(each, head)
            if not objections[each.NAME]:
                return each
    if _is_binary(head):
        reasons = [f"{each.NAME}: {objections[each.NAME]}" for each in BINARY if each.recognise(head)]
        more = f" ({'; '.join(reasons)})" if reasons else ""
        raise CaptureError(f"{name}: binary data in no form that can be read{more}", hint=_HINT)
    if (other := known_as(head)) is not None:
        raise CaptureError(f"{name}: {other[0]}", hint=other[1])
    raise CaptureError(f"{name}: no line looks like a CAN frame{_nearest(head, objections)}", hint=_HINT)


def _nearest(head: bytes, objections: dict[str, str]) -> str:
    """What is wrong for the form that it looks most like; nothing where it looks like none."""
    fits = [(each.recognise(head), -at, each.NAME) for at, each in enumerate(FORMATS) if each not in BINARY]
    fit, _, best = max(fits)
    if fit == 0 and _is_table(head):
        fit, best = 1, csv_table.NAME
    return f" ({best}: {objections[best]})" if fit > 0 else ""


def _is_table(head: bytes) -> bool:
    """The first lines have as many commas or semicolons each, and some."""
    lines = head.splitlines()[:3]
    return any(len({line.count(sign) for line in lines}) == 1 and sign in lines[0] for sign in (b",", b";") if lines)


def _ranked(head: bytes) -> Iterator[tuple[CaptureFormat, float]]:
    """The formats with their fit, the best first. To learn a shape takes long: only where it can win."""
    described = [each for each in FORMATS if each is not learned_text]
    fits = sorted(((each.recognise(head), -at, each) for at, each in enumerate(described)), reverse=True)
    yield from ((each, fit) for fit, _, each in fits if fit >= learned_text.LARGEST_FIT)
    learned: CaptureFormat = learned_text
    weak = [(fit, at, each) for fit, at, each in fits if fit < learned_text.LARGEST_FIT]
    for fit, _, each in sorted([*weak, (learned.recognise(head), -len(FORMATS), learned)], reverse=True):
        yield each, fit


def contradiction(name: str, reader: CaptureFormat, *, was_packed: bool) -> str:
    """A sentence where a file's name promises another form than its content has; mostly empty."""
    *parts, last = name.lower().rsplit(".", 1)
    packing = _PACKED.get(f".{last}") if parts else None
    if packing and not was_packed:
        return f"its name promises {packing}, but it is not packed"
    stem = parts[0] if packing else name.lower()
    promised = [each for each in FORMATS if stem.endswith(each.SUFFIXES)]
    if not promised or reader.NAME in {each.NAME for each in promised}:
        return ""
    return f"its name promises {promised[0].NAME}, its content is {reader.NAME}: it was read by its content"


def _objection(reader: CaptureFormat, head: bytes) -> str:
    """Why a reader that recognises a head gives no frame of it; empty if it does."""
    if reader in _WHOLE_ONLY:
        return ""
    tables = list(reader.read([head]))
    if any(map(len, tables)):
        return ""
    if reader is pcap and pcap.may_hold_diagnostics(head):
        return ""  # other traffic may come first; if nothing else follows, the report says so
    bad = next((bad for table in tables for bad in table.bad_lines), None)
    return f"line {bad.line}: {bad.reason}" if bad else "no frame"


def _is_binary(head: bytes) -> bool:
    return len(head) - len(head.translate(None, _CONTROL)) > _BINARY_SHARE * len(head)
