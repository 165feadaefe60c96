"""Lines of rubbish in a good capture: a report or a CanlogError, nothing else."""

from __future__ import annotations

from pathlib import Path
from random import Random

from analysis import analyse
from canlog.errors import CanlogError

from .faults import clean
from .trial import SETTINGS, check_schema, ledger_of

PIECES = (
    b"", b" ", b"\t", b"\x00" * 9, b"\xff\xfe", b"(", b"()", b"(1795554000.000000)", b"(1795554000.000000) can0",
    b"(1795554000.000000) can0 7E8#", b"(1795554000.000000) can0 7E8#R", b"(1795554000.000000) can0 7E8##1",
    b"(1795554000.000000) can0 7E0#30", b"(1795554000.000000) can0 7E8#1000", b"(1795554000.000000) can0 7E0#10FF36",
    b"(1795554000.000000) can0 20000004#0001000000000000", b"(1795554000.000000) can1 7E8#0462F190FF",
    b"(1795554000.000000) can0 7E8#037F3678", b"(1795554000.000000) can0 7E8#FFFFFFFFFFFFFFFF",
    b"(0.000000) can0 7E8#0671010266000000", b"(99999999999999.9) can0 7E0#0211010000000000",
    b"(-1.000000) can0 7E0#0210020000000000", b"DROPCOUNT: dropped 3 CAN frames on 'can0' socket (total drops 3)",
    b"can0  7E8   [8]  02 7E 00 00 00 00 00 00", b"date Tue Nov 24 21:00:00 2026", b"base hex  timestamps absolute",
    b"0.1 1 7E8 Rx d 8 02 7E 00 00 00 00 00 00", b"time,id,data", b"{}", b"<html>", b"#" * 5000, b"7E8#" + b"AA" * 70,
)  # fmt: skip


def spoil(seed: int) -> tuple[int, bytes]:
    """The number of its setting and a good capture with rubbish in it."""
    rnd = Random(f"fuzz {seed}")
    number = rnd.randrange(len(SETTINGS))
    lines = [line.shown.encode() for line in clean(ledger_of(SETTINGS[number]))]
    for _ in range(rnd.choice((1, 3, 10, 60))):
        at = rnd.randrange(len(lines))
        kind = rnd.randrange(5)
        if kind == 0:
            lines.insert(at, rnd.choice(PIECES))
        elif kind == 1:
            lines.insert(at, rnd.randbytes(rnd.randrange(40)))
        elif kind == 2:
            text = bytearray(lines[at] or b" ")
            text[rnd.randrange(len(text))] = rnd.randrange(256)
            lines[at] = bytes(text)
        elif kind == 3:
            lines[at] = lines[at][: rnd.randrange(len(lines[at]) + 1)]
        else:
            head, mark, data = lines[at].partition(b"#")
            lines[at] = head + mark + rnd.randbytes(len(data) // 2).hex().upper().encode()
    return number, rnd.choice((b"\n", b"\n", b"\r\n")).join(lines)


def fuzz(seed: int, place: Path) -> list[str]:
    """What is wrong with the answer; empty when all is well."""
    number, content = spoil(seed)
    place.write_bytes(content)
    try:
        report = analyse(place, **SETTINGS[number].given)  # type: ignore[arg-type]
    except CanlogError as error:
        return [] if str(error) and error.hint and "\n" not in str(error) else [f"an error without a hint: {error}"]
    broken = [one.title for one in report.findings if one.title.endswith("is broken")]
    return broken + [one.word for one in check_schema(report)]
