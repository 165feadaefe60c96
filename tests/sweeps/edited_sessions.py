"""Simulated sessions with one thing changed afterwards, as lines of candump text, for the sweep over the checks.

A line is ``(seconds) channel ID#DATA`` (can-utils, ``candump -l``).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from contextlib import suppress
from pathlib import Path
from unittest.mock import patch

from simulator import bench, session
from simulator.bench import Bench, Plan
from simulator.tester import RecordingEnds

FIXTURES = Path(__file__).parents[2] / "fixtures"
Lines = list[str]
SEED = 17


def fixture(name: str) -> Lines:
    return (FIXTURES / name / "capture.log").read_text().splitlines()


def plan(*acts: str, faults: tuple[str, ...] = (), **more: object) -> Lines:
    chosen = {"acts": acts} if acts else {}
    return session(Plan(faults=faults, **chosen, **more), seed=SEED)[0]  # type: ignore[arg-type]


def played(change: Callable[[Bench], None], *acts: str) -> Lines:
    """A bench session after a change of the bench."""
    scene, script = bench.make(Plan(acts=acts) if acts else Plan(), SEED)
    change(scene)
    with suppress(RecordingEnds):
        script()
    return scene.lines()


def with_trims(values: dict[int, bytes]) -> Lines:
    """The whole bench job; the tester writes other values than the keeper's, by number of the unit."""
    scene, script = bench.make(Plan(), SEED)
    right = bench.pump_trim
    with patch.object(bench, "pump_trim", lambda number: values.get(number, right(number))):
        script()
    return scene.lines()


def replaced(lines: Lines, old: str, new: str, *, times: int = 1) -> Lines:
    """``old`` data (hex behind #) becomes ``new`` in the first ``times`` lines that hold it."""
    found = [at for at, line in enumerate(lines) if old in line.partition("#")[2]]
    assert len(found) >= times, f"no line holds {old}"
    changed = list(lines)
    for at in found[:times]:
        head, _, data = changed[at].partition("#")
        changed[at] = f"{head}#{data.replace(old, new)}"
    return changed


def without(lines: Lines, pattern: str, *, nth: int | None = None) -> Lines:
    """All lines that a pattern fits are gone, or only the nth of them (from 0)."""
    found = [at for at, line in enumerate(lines) if re.search(pattern, line)]
    assert found, f"no line fits {pattern}"
    gone = set(found) if nth is None else {found[nth]}
    return [line for at, line in enumerate(lines) if at not in gone]


def without_block(lines: Lines, counter: str, *, keep_answer: bool) -> Lines:
    """Block ``counter`` of the first download is not in the record: its request, and its answer unless kept."""
    start = next(at for at, line in enumerate(lines) if re.search(rf"7E0#1...36{counter}", line))
    end = next(at for at, line in enumerate(lines) if at > start and f"7E8#0276{counter}" in line)
    pair = [
        line
        for line in lines[start : end + 1]
        if "7E0#" not in line and "7E8#30" not in line and (keep_answer or "7E8#" not in line)
    ]
    return [*lines[:start], *pair, *lines[end + 1 :]]


def shifted(lines: Iterable[str], seconds: float, *, channel: str | None = None) -> Lines:
    """The same, later or earlier, perhaps on another channel."""

    def move(line: str) -> str:
        time, old, frame = line.split(" ", 2)
        return f"({float(time[1:-1]) + seconds:.6f}) {channel or old} {frame}"

    return [move(line) for line in lines]


def behind(first: Lines, second: Lines, pause_s: float) -> Lines:
    """The second session, as if the same logger had gone on, ``pause_s`` after the first."""
    return [*first, *shifted(second, _time(first[-1]) - _time(second[0]) + pause_s)]


def merged(one: Lines, other: Lines) -> Lines:
    """Two recordings in one file, by time."""
    return sorted([*one, *other], key=_time)


def _time(line: str) -> float:
    return float(line[1 : line.index(")")])


def with_lines(lines: Lines, at: int, *new: str) -> Lines:
    """More lines, in front of the one at a place; ``{t}`` is its time."""
    stamp = lines[at][1 : lines[at].index(")")]
    return [*lines[:at], *(line.replace("{t}", stamp) for line in new), *lines[at:]]


def other_bytes(lines: Lines, first_frame: str) -> Lines:
    """The first message that begins like this carries another byte in its first consecutive frame."""
    start = next(at for at, line in enumerate(lines) if first_frame in line)
    sender = lines[start].split(" ")[2].partition("#")[0]
    at = next(at for at in range(start + 1, len(lines)) if f" {sender}#21" in lines[at])
    flipped = f"{int(lines[at][-1], 16) ^ 1:X}"
    return [*lines[:at], lines[at][:-1] + flipped, *lines[at + 1 :]]


def other_size(lines: Lines, more: int) -> Lines:
    """The first download asks for more bytes (or fewer): the last four bytes of ``34 00 44 address size``."""
    start = next(at for at, line in enumerate(lines) if "7E0#100B340044" in line)
    at = next(at for at in range(start + 1, len(lines)) if " 7E0#21" in lines[at])
    head, _, data = lines[at].partition("#")
    size = int(data[4:12], 16) + more
    return [*lines[:at], f"{head}#{data[:4]}{size:08X}{data[12:]}", *lines[at + 1 :]]


def with_cyclic(lines: Lines, head: str) -> Lines:
    """A cyclic message every 100 ms through the whole session; ``head`` is its id and data."""
    first, last = (float(line[1 : line.index(")")]) for line in (lines[0], lines[-1]))
    more = [f"({first + at / 10:.6f}) can0 {head}" for at in range(int((last - first) * 10) + 1)]
    return sorted([*lines, *more], key=lambda line: float(line[1 : line.index(")")]))
