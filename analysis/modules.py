"""What each module is now, and whether the job may be tried again.

Read from the last signs of it; a guess is never made from silence alone where the capture simply ends.
Source: common practice, no source; the vehicle maker's service information decides.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from analysis.exchanges import Answer, Exchange
from analysis.modes import mode_now
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, evidence
from analysis.operations.routines import last_erase_begun
from analysis.record import Record
from analysis.silence import Silent, who_fell_silent
from analysis.story import Mode, Story
from analysis.words import Evidence, Word
from canlog.services.traits import PROGRAMMING_SESSION

LOCKED_OUT = frozenset({0x36, 0x37})

KEEP_POWER = "Do not switch off, unplug or reset the module while its memory is not whole."
NO_BLIND_RETRY = "Do not try again before the cause is known: each try erases, and wrong keys are counted."
MAKER_DECIDES = "The vehicle maker's service information decides."


class Now(StrEnum):
    """What runs in a module."""

    APPLICATION = "application"
    BOOT = "boot"
    SILENT = "silent"
    UNKNOWN = "unknown"


class Retry(StrEnum):
    """May it be tried again."""

    YES = "yes"
    WITH_CARE = "with-care"
    NO = "no"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class ModuleState:
    """A module as the end of the job leaves it."""

    story: Story
    now: Now
    may_retry: Retry
    advice: str
    cautions: tuple[str, ...]
    evidence: tuple[Evidence, ...]


def judge_modules(record: Record, operations: Sequence[Operation]) -> list[ModuleState]:
    """The state of every module that was spoken to, in order of first appearance."""
    return [
        _judge(story, [item for item in operations if item.link.key == story.link.key], record)
        for story in record.stories
        if any(exchange.link.key == story.link.key for exchange in story.exchanges)
    ]


def _judge(story: Story, operations: Sequence[Operation], record: Record) -> ModuleState:
    own = [exchange for exchange in story.exchanges if exchange.link.key == story.link.key]
    downloads = [item for item in standing(operations) if item.kind is Kind.DOWNLOAD and not item.details["driver"]]
    unfinished = [item for item in downloads if item.outcome.word in (Word.FAILED, Word.INTERRUPTED)]
    now, shown = _now(story, own, record)
    attempted = any(item.part is not None for item in operations)
    retry, advice = _advice(now, own, downloads, unfinished, attempted=attempted)
    cautions = _cautions(now, unfinished) if attempted or _was_heard(own) else ()
    return ModuleState(story, now, retry, advice, cautions, tuple(shown))


def _now(story: Story, own: Sequence[Exchange], record: Record) -> tuple[Now, list[Evidence]]:
    last = own[-1]
    if who_fell_silent(story, record) is Silent.MODULE:
        unanswered = [item for item in own if item.outcome is Answer.SILENT]
        return Now.SILENT, [evidence(item, "asked, and no answer came") for item in unanswered[-3:]]
    mode, signs = mode_now(story)
    behind = [sign.evidence for sign in signs]
    state = story.before(last)
    if state.session == PROGRAMMING_SESSION and not state.boot and _left_in_programming(story, own):
        return Now.UNKNOWN, [evidence(last, "last seen in its programming session")]
    if mode is Mode.APPLICATION:
        return Now.APPLICATION, behind
    if mode is Mode.BOOT:
        erased = last_erase_begun(story, record.names)
        return Now.BOOT, [sign.evidence for sign in signs if erased and sign.place > erased.end] or behind
    return Now.UNKNOWN, [evidence(last, "last heard here, without a sign of what program speaks")]


def _left_in_programming(story: Story, own: Sequence[Exchange]) -> bool:
    """The last of it is inside a programming session: what runs now is not shown."""
    last = own[-1]
    ends = last.service in (0x10, 0x11) and last.positive
    after = [start for start in story.starts if start.place > last.begin]
    if ends or after:
        return False
    entered = [item for item in own if item.service == 0x10 and item.positive]
    mode, _ = mode_now(story, entered[-1].begin) if entered else (Mode.UNKNOWN, [])
    return mode is not Mode.BOOT or not _refusals_after(entered[-1], own)


def _refusals_after(entered: Exchange, own: Sequence[Exchange]) -> bool:
    """Inside the session the module was asked who it is after something had gone wrong."""
    return any(item.outcome is Answer.NEGATIVE for item in own if item.begin > entered.begin)


def _advice(
    now: Now,
    own: Sequence[Exchange],
    downloads: Sequence[Operation],
    unfinished: Sequence[Operation],
    *,
    attempted: bool,
) -> tuple[Retry, str]:
    last = own[-1]
    if last.nrc in LOCKED_OUT and last.service == 0x27:
        return (
            Retry.NO,
            "Access is locked for a time: wait as the service information says, then unlock with the right key.",
        )
    if now is Now.SILENT and not _was_heard(own):
        return Retry.UNKNOWN, "Nothing answers at this address: the module may be absent, asleep, or have another id."
    if now is Now.SILENT:
        return Retry.NO, (
            "The module does not answer: check its supply, ground, fuse and line first, then listen for it after an "
            "ignition cycle."
        )
    if now is Now.BOOT:
        return Retry.WITH_CARE, (
            "Its boot loader answers, so it can usually be programmed again from the start of the sequence, with the "
            "supply supported."
        )
    if unfinished:
        return Retry.WITH_CARE, (
            "Programming is not complete: first see whether the module answers, then start the whole sequence again "
            "with the supply supported."
        )
    if now is Now.APPLICATION:
        said = "The application answers." if attempted else "The module answers; nothing was changed in it."
        return Retry.YES, said
    if downloads:
        return Retry.WITH_CARE, "Read its identification after an ignition cycle before anything is tried again."
    return (
        Retry.UNKNOWN,
        "The capture does not show what runs in the module: ask for its identification and capture that.",
    )


def _was_heard(own: Sequence[Exchange]) -> bool:
    """The module said something at some time."""
    return any(item.response is not None or item.pendings for item in own)


def _cautions(now: Now, unfinished: Sequence[Operation]) -> tuple[str, ...]:
    """What not to do; what to do first, such as a support unit, stands in the next steps."""
    if now in (Now.BOOT, Now.SILENT) or unfinished:
        return (KEEP_POWER, NO_BLIND_RETRY, MAKER_DECIDES)
    return ()
