"""What in a capture lowers a word, and by how much.

| doubt | touching the proof | inside the act | elsewhere on the channel |
|---|---|---|---|
| loss (drop marker, sequence gap, damaged line, a step or time that is missing) | not proven | medium | medium |
| stall (a pause that no receiver waits for, in a message taken all the same) | as a loss | as a loss | as a loss |
| cut (a message that ended early on the bus) | not proven | the operation judges it | none |
| unasked (an answer whose request is not in the capture) | not proven | medium | none |
| second answer (another answer to the same request) | not proven | medium | none |
| order (clock steps, frames out of order) | medium; in the proof's own message: not proven | medium | none |
| repeat (a frame recorded twice), flow control missing or unasked | medium | medium | none |
| two testers on one module | medium | medium | medium |
| the link itself rests on custom | low | low | low |
| the act's own request (its first one) is not in the capture | not proven | not proven | none |
| only answers of its link were recorded | not proven, low | low | low |
| only requests of its link were recorded | not shown, low: nothing says what became of it | | |

Where a loss opens the account of a download, the download itself says so (``operations/download.py``).
Source: common practice, no source; the classes of fault follow ISO 15765-2:2016, 9.8 (M).
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple

import numpy as np

from analysis.exchanges import Exchange, Place
from analysis.operations.model import Operation
from analysis.trust.missing_steps import Missing
from analysis.trust.one_way import BOTH_WAYS
from analysis.trust.record_gaps import said_of_gap
from analysis.trust.second_answers import second_answers
from analysis.trust.stalls import find_stalls
from analysis.words import Confidence, Evidence, Outcome, Word, least_sure
from canlog.background import Gap
from canlog.doip.headers import BYTES_LOST, NO_HEADER
from canlog.doip.reassembly import NOT_DELIVERED
from canlog.frames import Ints
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import NOT_REACHED, Message, MessageTable
from canlog.survey import Survey


class Doubt(StrEnum):
    """Kinds of doubt."""

    LOSS = "loss"
    CUT = "cut"  # a message that was not finished on the bus itself
    UNASKED = "no request"  # what was asked is only inferred
    SECOND = "second answer"
    ORDER = "order"
    REPEAT = "repeat"
    FLOW = "flow control"  # missing or unasked: the data is whole, the pace unsure
    WITNESS = "two testers"


class Trouble(NamedTuple):
    """One place where the capture is not as the bus was."""

    line: int
    doubt: Doubt
    channel: str  # empty: any channel
    in_message: bool  # a fault of a rebuilt message, not only of its surroundings
    text: str


#: Anomalies of the transport by what they mean for a judge; a rule that is not here is of no weight.
RULES: dict[str, Doubt] = {
    "consecutive-without-first": Doubt.LOSS,
    "contradicting-consecutive-frame": Doubt.LOSS,
    "consecutive-frame-too-long": Doubt.LOSS,
    "consecutive-after-overflow": Doubt.LOSS,
    "not-a-valid-frame": Doubt.LOSS,
    "consecutive-before-flow-control": Doubt.ORDER,
    "consecutive-while-told-to-wait": Doubt.ORDER,
    "consecutive-frame-out-of-order": Doubt.ORDER,
    "time-runs-backwards": Doubt.ORDER,
    "flow-control-not-seen": Doubt.FLOW,
    "flow-control-unasked": Doubt.FLOW,
    "repeated-consecutive-frame": Doubt.REPEAT,
    "logger-copy": Doubt.REPEAT,
    BYTES_LOST: Doubt.LOSS,
    NO_HEADER: Doubt.LOSS,
}

#: Notes on a capture that one word is given.
MOST_NOTES = 6

#: What takes a proof away, wherever it touches it.
SPOILING = (Doubt.LOSS, Doubt.CUT, Doubt.UNASKED, Doubt.SECOND)

#: Said where a proof does not count.
SPOILT = "the frames of the proof are damaged, lost or out of order"

#: Reasons of an unfinished message that mean frames are missing from the record, not from the bus.
LOSS_REASONS = frozenset(
    {
        "wrong-sequence-number",
        "first-frame-missing",
        "starts-inside",
        "consecutive-frame-too-short",
        "cut-off-by-single",
        "cut-off-by-first",
        BYTES_LOST,
    }
)


def lacks_frames(message: Message) -> bool:
    """Frames of it were on the bus and are not in the record; False where its sender stopped."""
    return message.has_hole or message.reason in LOSS_REASONS


@dataclass(frozen=True)
class Troubles:
    """All places of one capture where it is not as the bus was, in order of lines."""

    capture: int
    items: tuple[Trouble, ...]

    @cached_property
    def _lines(self) -> list[int]:
        return [item.line for item in self.items]

    def inside(self, first: int, last: int, channel: str) -> Sequence[Trouble]:
        """Those of a channel whose line is within ``first``..``last``."""
        part = self.items[bisect_left(self._lines, first) : bisect_right(self._lines, last)]
        return [item for item in part if item.channel in ("", channel)]

    def of_channel(self, channel: str) -> Sequence[Trouble]:
        """Those of a channel."""
        return [item for item in self.items if item.channel in ("", channel)]


def find_troubles(
    capture: int,
    survey: Survey,
    messages: MessageTable,
    exchanges: Sequence[Exchange],
    missing: Sequence[Missing],
    gaps: Sequence[Gap],
) -> Troubles:
    """Collect what the survey, the transport and the pairing of requests and answers noticed."""
    summary = survey.summary
    items = [
        Trouble(int(line), Doubt.LOSS, "", False, f"line {line} cannot be read")
        for line in _first_of_runs(summary.damaged_line_numbers)
    ]
    items += [Trouble(drop.line, Doubt.LOSS, "", False, f"line {drop.line}: {drop.text}") for drop in summary.drops]
    items += [
        Trouble(int(step.line), Doubt.ORDER, step.channel, False, f"the clock steps back at line {step.line}")
        for step in summary.clock_steps
    ]
    items += [
        Trouble(int(line), Doubt.REPEAT, "", False, f"line {line} repeats the frame before it")
        for line in summary.repeated_lines
    ]
    for message in messages:
        for anomaly in message.anomalies:
            if (doubt := RULES.get(anomaly.rule)) is not None:
                items.append(Trouble(anomaly.line, doubt, message.link.channel, True, anomaly.text))
        if not message.complete:
            text = f"the message at line {message.first_line} {_what_is_wrong(message)}"
            doubt = Doubt.LOSS if lacks_frames(message) else Doubt.CUT
            items.append(Trouble(message.last_line, doubt, message.link.channel, True, text))
    items += [
        Trouble(stray.line, RULES[stray.rule], "", True, stray.text) for stray in messages.strays if stray.rule in RULES
    ]
    for exchange in exchanges:
        if exchange.request is None:
            line = exchange.begin[1]
            text = f"the request of the answer at line {line} is not in the capture"
            items.append(Trouble(line, Doubt.UNASKED, exchange.link.channel, True, text))
    for first, second in second_answers(exchanges):
        text = f"the request at line {first.begin[1]} was answered once more, otherwise, at line {second.begin[1]}"
        items.append(Trouble(first.end[1], Doubt.SECOND, first.link.channel, True, text))
    items += [Trouble(step.line, Doubt.LOSS, step.exchange.link.channel, False, step.said) for step in missing]
    items += [Trouble(gap.from_line, Doubt.LOSS, "", False, said_of_gap(gap)) for gap in gaps]
    items += [
        Trouble(stall.line, Doubt.LOSS, stall.message.link.channel, True, stall.said)
        for stall in find_stalls(exchanges, gaps)
    ]
    return Troubles(capture, tuple(sorted(items, key=lambda item: item.line)))


def _what_is_wrong(message: Message) -> str:
    if message.reason in (NOT_DELIVERED, NOT_REACHED):
        return "was refused by the gateway and did not reach the module"
    return f"is not whole: {message.reason}"


def _first_of_runs(lines: Ints) -> list[int]:
    """Of unreadable lines in a row the first few.

    No act begins or ends inside such a run, so these stand for all of it, and millions need no memory.
    """
    index = np.arange(len(lines))
    is_first = np.diff(lines, prepend=-1) != 1
    kept: list[int] = lines[index - np.maximum.accumulate(np.where(is_first, index, 0)) < MOST_NOTES].tolist()
    return kept


def weigh(
    operation: Operation,
    troubles: dict[int, Troubles],
    several_testers: Iterable[str],
    halves: Mapping[tuple[int, str], Direction],  # (capture, link key) -> the direction that is there
) -> Operation:
    """The operation with its word and confidence lowered by what the capture suffered."""
    outcome = operation.outcome
    channel = operation.link.channel
    notes: list[str] = []
    levels = [outcome.confidence]
    word = outcome.word
    sound = [item for item in outcome.proof if not spoils(item, troubles, channel)]
    if word is Word.CONFIRMED and not sound:
        word = Word.UNPROVEN
        notes.append(SPOILT)
    if word is Word.CONFIRMED and _begins_unasked(operation, troubles[operation.begin[0]]):
        word = Word.UNPROVEN
        notes.append("its request is not in the capture")
    for capture in range(operation.begin[0], operation.end[0] + 1):
        for item in inside(operation.begin, operation.end, troubles[capture], channel):
            if item.doubt is not Doubt.CUT:
                levels.append(Confidence.MEDIUM)
                notes.append(item.text)
        half = halves.get((capture, operation.link.key))
        if half is not None:
            return _of_half(operation, half)
        if any(item.doubt is Doubt.LOSS for item in troubles[capture].of_channel(channel)):
            levels.append(Confidence.MEDIUM)
            notes.append("frames are missing or unreadable in this capture")
    if operation.link.key in several_testers:
        levels.append(Confidence.MEDIUM)
        notes.append("a second tester talks to this module: session and access are unsure")
    if operation.link.guessed:
        levels.append(Confidence.LOW)
        notes.append(f"the link is presumed, not shown by traffic ({operation.link.how})")
    because = tuple(dict.fromkeys((*outcome.because, *notes[:MOST_NOTES])))
    lowered = Outcome(
        word,
        least_sure(levels),
        tuple(sound) if word is Word.CONFIRMED else outcome.proof,
        because,
        outcome.would_change or _whole_proof(word, notes),
    )
    return replace(operation, outcome=lowered)


def _begins_unasked(operation: Operation, troubles: Troubles) -> bool:
    """The capture holds the answer to its first request and not the request: its beginning is cut off."""
    at = troubles.inside(operation.begin[1], operation.begin[1], operation.link.channel)
    return any(item.doubt is Doubt.UNASKED for item in at)


def _of_half(operation: Operation, half: Direction) -> Operation:
    """An act of which one side alone was recorded: without the answers nothing says what became of it."""
    outcome, told = operation.outcome, "requests" if half is Direction.REQUEST else "answers"
    note = f"only {told} were recorded"
    if half is Direction.REQUEST:
        because: tuple[str, ...] = (f"{note}: nothing says what became of it",)
        lowered = Outcome(Word.NOT_SHOWN, Confidence.LOW, (), because, BOTH_WAYS)
    else:
        word = Word.UNPROVEN if outcome.word is Word.CONFIRMED else outcome.word
        lowered = Outcome(word, Confidence.LOW, outcome.proof, (*outcome.because, note), BOTH_WAYS)
    return replace(operation, outcome=lowered)


def _whole_proof(word: Word, notes: Sequence[str]) -> str:
    if word is Word.UNPROVEN and notes:
        return "capture the proof again, whole"
    return ""


def inside(begin: Place, end: Place, troubles: Troubles, channel: str) -> Sequence[Trouble]:
    """What one capture suffered between two places, which may lie in other captures."""
    first = begin[1] if begin[0] == troubles.capture else 0
    last = end[1] if end[0] == troubles.capture else 1 << 62
    return troubles.inside(first, last, channel)


def spoils(proof: Evidence, troubles: Mapping[int, Troubles], channel: str) -> bool:
    """The capture suffered a loss anywhere in the proof, or frames of it are out of order."""
    touching = troubles[proof.capture].inside(min(proof.lines), max(proof.lines), channel)
    return any(
        item.doubt in (Doubt.LOSS, Doubt.CUT, Doubt.UNASKED, Doubt.SECOND)
        or (item.doubt is Doubt.ORDER and item.in_message)
        for item in touching
    )
