"""The words of a write, whether by identifier or by address, and what a value read after it proves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, NamedTuple

from analysis.exchanges import Exchange
from analysis.modes import REFUSED_IDENTIFIER
from analysis.operations.model import evidence, in_order
from analysis.operations.refused_readings import said_in_vain
from analysis.operations.routines import erase_behind, told_erase
from analysis.record import Record
from analysis.story import Story
from analysis.trust.shared_time import is_inside
from analysis.words import Confidence, Outcome, Word

#: How a wish begins where nothing is to be done.
NOTHING: Final = "nothing needed"
#: Said of what another capture holds that ran at the same time.
BESIDE: Final = "was recorded in another capture at the same time: whether it came behind is not known"
RESET_ASKED: Final = "then a reset was asked for that may have been done"


class ReadBack(NamedTuple):
    """A later reading of what was written."""

    exchange: Exchange
    is_equal: bool


class Written(NamedTuple):
    """A write that was accepted: what it is called, and what would prove it."""

    title: str
    exchange: Exchange
    was_there_before: bool  # the value read last in front of it was the same
    stored_at_power_down: bool
    wish: str
    in_vain: Exchange | None = None  # the last request for it behind the write that gave no value


def refused(title: str, exchange: Exchange) -> Outcome:
    """The word of a write that was refused for good."""
    text = f"{title}: the write was refused, {exchange.refusal}"
    change = f"put the cause of the refusal right, write {title} again and read it back"
    return Outcome(Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), change)


def unanswered(title: str, exchange: Exchange, wish: str) -> Outcome:
    """The word of a write without a final answer."""
    text = f"{title}: the write has no final answer in the capture"
    return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), wish)


def not_whole(title: str, wish: str) -> Outcome:
    """The word of an accepted write whose bytes are not all in the capture."""
    text = f"{title}: accepted, but what was written is not whole in the capture"
    return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (text,), wish)


def judge_read_back(written: Written, reads: Sequence[ReadBack], story: Story, record: Record) -> Outcome:
    """The word of an accepted write by what was read since; readings that may stand before it do not count."""
    title, exchange, wish = written.title, written.exchange, written.wish
    behind = are_behind(exchange, reads, record)
    in_vain = said_in_vain(written.in_vain) if written.in_vain is not None else ""
    if not behind:
        return _unproven(f"{title}: accepted, but {in_vain or 'not read since'}", wish)
    last = behind[-1]
    if not last.is_equal:
        text = f"{title}: the value read back differs from the one written"
        return Outcome(
            Word.FAILED, Confidence.HIGH, (evidence(last.exchange, text),), (text,),
            f"write {title} again and read it after an ignition cycle",
        )  # fmt: skip
    if written.was_there_before:
        text = f"{title}: the value was the same before, so nothing shows that the write did it"
        return _unproven(text, f"{NOTHING}: the value is right already")
    start = story.start_after(exchange.end)
    after = [item for item in behind if start is not None and item.exchange.begin > start.place]
    lost = _may_be_lost_behind(last.exchange, after, story, record)
    if lost:
        return _unproven(f"{title}: read back equal, but {lost}", wish)
    if start is not None and not after and is_inside(start.place, exchange.capture, record.shared_time):
        return _unproven(f"{title}: read back equal, but a restart {BESIDE}", wish)
    if start is not None and not after:
        is_since = written.in_vain is not None and written.in_vain.begin > start.place
        since = f"; since then {in_vain}" if is_since else ""
        return _unproven(f"{title}: read back equal, but only before the restart that followed{since}", wish)
    if written.in_vain is not None and _is_unknown_by_now(written.in_vain, last.exchange, story):
        return _unproven(f"{title}: read back equal, but since a later restart {in_vain}", wish)
    if start is None and written.stored_at_power_down:
        return _unproven(f"{title}: read back equal, but it is stored only when the module powers down", wish)
    if after:
        text = f"{title}: read back equal after the restart"
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (evidence(after[-1].exchange, text),), (text,))
    text = f"{title}: read back equal, not yet after a power cycle"
    return Outcome(Word.CONFIRMED, Confidence.MEDIUM, (evidence(last.exchange, text),), (text,), wish)


def are_behind(written: Exchange, reads: Sequence[ReadBack], record: Record) -> list[ReadBack]:
    """Those that stand behind the write for sure, in order."""
    steps = record.clock_steps_of(written.link.channel)
    return [item for item in reads if in_order(written, item.exchange, steps, record.limits.clock_step_ns)]


def _is_unknown_by_now(in_vain: Exchange, last: Exchange, story: Story) -> bool:
    """The module knows the identifier no more, in the session in which it told it, behind a later restart."""
    start = story.start_after(last.end)
    session = story.before(last).session
    return (
        in_vain.nrc == REFUSED_IDENTIFIER
        and start is not None
        and start.place < in_vain.begin
        and session is not None
        and story.before(in_vain).session == session
    )


def _unproven(text: str, wish: str) -> Outcome:
    return Outcome(Word.UNPROVEN, Confidence.HIGH, (), (text,), wish)


def _may_be_lost_behind(last: Exchange, after: Sequence[ReadBack], story: Story, record: Record) -> str:
    """What happened behind the last read that the value may not have survived; empty when nothing did."""

    def is_beside(act: Exchange) -> bool:
        return is_inside(act.begin, last.capture, record.shared_time)

    reset = None if after else story.may_have_restarted_behind(last.end)
    if reset is not None:
        return f"a reset that may have been done {BESIDE}" if is_beside(reset) else RESET_ASKED
    erase = erase_behind(last.end, story, record.names)
    if erase is not None:
        told = f"then {told_erase(erase)}, which trims survive in some modules and not in others"
        return f"an erase of memory {BESIDE}" if is_beside(erase) else told
    return ""
