"""What an operation is: something that was done to a module, with its word."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from analysis.exchanges import Exchange, Place
from analysis.words import Evidence, Outcome
from canlog.isotp.addressing import Link


class Kind(StrEnum):
    """What was done."""

    DOWNLOAD = "download"
    UPLOAD = "upload"
    FILE = "file"
    WRITE = "write"
    WRITE_MEMORY = "write-memory"
    ROUTINE = "routine"
    UNLOCK = "unlock"
    SESSION = "session"
    RESET = "reset"
    IDENTITY = "identity"
    COMMUNICATION = "communication"
    CLEAR = "clear"
    READ_FAULTS = "read-faults"


class Part(StrEnum):
    """The parts of the job that get a word of their own."""

    PROGRAMMING = "programming"
    TRIMS = "trims"
    VIN = "vin"
    FAULT_MEMORY = "fault_memory"
    LEARN = "learn"


@dataclass(frozen=True)
class Operation:
    """One act on one module.

    ``part`` None: a supporting act, which never lowers the overall word. ``subject`` names the thing acted on, so
    that a later attempt at the same thing can supersede this one.
    """

    kind: Kind
    link: Link
    label: str
    begin: Place
    end: Place
    begin_ns: int
    end_ns: int
    outcome: Outcome
    subject: str
    part: Part | None = None
    details: dict[str, object] = field(default_factory=dict)
    exchanges: tuple[int, ...] = ()  # numbers
    number: int = 0
    superseded_by: int | None = None


def span(exchanges: Iterable[Exchange]) -> dict[str, object]:
    """Begin, end, times and exchange numbers of an operation made of these exchanges."""
    members = sorted(exchanges, key=lambda exchange: exchange.begin)
    last = max(members, key=lambda exchange: exchange.end)
    return {
        "begin": members[0].begin,
        "end": last.end,
        "begin_ns": members[0].begin_ns,
        "end_ns": last.end_ns,
        "exchanges": tuple(exchange.number for exchange in members),
    }


def evidence(exchange: Exchange, text: str) -> Evidence:
    """A whole exchange as evidence: first and last line."""
    first, last = exchange.lines
    return Evidence(exchange.capture, (first,) if first == last else (first, last), text)


def of_answer(exchange: Exchange, text: str) -> Evidence:
    """The answer alone as evidence, where it is the answer that says it; the whole exchange without one."""
    if exchange.response is None:
        return evidence(exchange, text)
    first, last = exchange.response.lines
    return Evidence(exchange.capture, (first,) if first == last else (first, last), text)


def in_order(act: Exchange, proof: Exchange, steps: Iterable[tuple[Place, int]], clock_step_ns: int) -> bool:
    """True when ``proof`` stands behind ``act`` by line and, inside one capture, by clock as well.

    Where the clock says otherwise, the line order is believed only if the clock was set in between (one of the
    backward ``steps``, (place, size in ns), is at least ``clock_step_ns``): else frames were moved, and which of
    the two came first cannot be known.
    """
    if proof.begin < act.end:
        return False
    if proof.capture != act.capture or proof.begin_ns >= act.end_ns:
        return True
    return any(act.begin < place <= proof.end and size >= clock_step_ns for place, size in steps)
