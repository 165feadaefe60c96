"""A hole between two downloads into memory that was erased at once.

What is seen: one erase named a range, two downloads into it were carried to their end, and addresses between them got
nothing.
What it can mean: Usually nothing: a file leaves out what stays empty. One of its parts may not have been sent.
How to tell it from look-alikes: parts that are erased one by one: what lies between them was not touched; empty memory
in front of the first or behind the last download
What to try: rebuild the memory with canlog image and compare it with the firmware file: it says what belongs there
Caution: none
Evidence: the erase and both requests. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.checks.looking.transfers import attempts_at, routine_calls
from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Exchange
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.operations.routines import START
from analysis.words import Confidence, Severity
from canlog.counting import counted


@check("ranges-hole", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for story in ctx.stories:
        calls = [call for call in routine_calls(ctx, story) if call.kind == "erase" and call.control == START]
        erases = [
            (call.exchange, memory) for call in calls if call.exchange.positive and (memory := _range(call.option))
        ]
        for at, (erase, memory) in enumerate(erases):
            again = next((item for item, other in erases[at + 1 :] if _share(memory, other)), None)
            found = attempts_at(ctx, story)
            for one, other in _holes(_inside(found, memory, erase, again)):
                hole = range(one.memory.stop, other.memory.start)
                if any(item.address is not None and _share(item.memory, hole) for item in found):
                    continue  # it was tried: that has findings of its own
                requests = [item for item in (one.request, other.request) if item is not None]
                parts = [evidence(item, "asks for a part of it") for item in requests]
                shown = (evidence(erase, f"erases {_said(memory)}"), *parts)
                text = f"{story.label}: {_said(hole)} ({counted(len(hole), 'byte')}) was erased and got nothing."
                yield Seen(Confidence.MEDIUM, shown, text)


def _range(option: bytes) -> range | None:
    """Address and size, behind a byte that gives their lengths, as in 34 (common practice, no source)."""
    n_size, n_address = (option[0] >> 4, option[0] & 0xF) if option else (0, 0)
    if not n_size or not n_address or len(option) != 1 + n_address + n_size:
        return None
    start = int.from_bytes(option[1 : 1 + n_address], "big")
    return range(start, start + int.from_bytes(option[1 + n_address :], "big")) or None


def _inside(found: Sequence[Attempt], memory: range, erase: Exchange, again: Exchange | None) -> list[Attempt]:
    """Downloads into a range that went to their end before it was erased again, by address."""
    behind = [
        item
        for item in found
        if item.kind is Kind.DOWNLOAD and item.ended and item.address is not None and item.size
        and item.request is not None and item.request.begin > erase.end
        and (again is None or item.end < again.begin)
    ]  # fmt: skip
    return sorted((item for item in behind if _share(item.memory, memory)), key=lambda item: item.memory.start)


def _holes(loads: Sequence[Attempt]) -> Iterator[tuple[Attempt, Attempt]]:
    """Neighbours with something between them that none in front of them reaches."""
    furthest = loads[0] if loads else None
    for load in loads:
        if furthest is not None and furthest.memory.stop < load.memory.start:
            yield furthest, load
        furthest = load if furthest is None or load.memory.stop > furthest.memory.stop else furthest


def _share(one: range, other: range) -> bool:
    return one.start < other.stop and other.start < one.stop


def _said(memory: range) -> str:
    return f"{memory.start:08X}-{memory.stop - 1:08X}"
