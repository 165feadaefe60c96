"""Modules that do not answer at the end, and what that takes away from the words of what was done to them.

A module that was restarted, was asked and said nothing since does not run, whatever proved the job before: every
word that rests on what was seen in front of that restart is not proven. One that fell silent without a restart loses
what is running and not what is stored: its words are medium at most.
Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import NamedTuple

from analysis.breaks.silence import Silent, who_fell_silent
from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.model import Kind, Operation
from analysis.record import Record
from analysis.story import Story, module_id
from analysis.words import Confidence, Evidence, Outcome, Word, least_sure

SINCE_RESTART = "the module was asked after the last restart and does not answer"
SILENT_NOW = "the module does not answer any more"


class Mute(NamedTuple):
    """A module that does not answer at the end."""

    label: str
    restart: Place | None  # the last one, with no answer behind it; None: it fell silent without one

    @property
    def wish(self) -> str:
        """What would give back the word."""
        return f"an answer of {self.label} after the restart"

    def takes_away(self, shown: Iterable[Evidence]) -> bool:
        """All that is shown was seen in front of the restart."""
        return self.restart is not None and all((item.capture, item.lines[0]) < self.restart for item in shown)


def mute_modules(record: Record) -> dict[str, Mute]:
    """By link; a module that another tester still hears is none of them."""
    return {story.link.key: mute for story in record.stories if (mute := _mute(story, record)) is not None}


def _mute(story: Story, record: Record) -> Mute | None:
    heard = max((item.end for item in _exchanges_with(story, record) if _is_heard(item)), default=None)
    in_vain = [item for item in story.own if (heard is None or item.begin > heard) and item.outcome is Answer.SILENT]
    if heard is None or not in_vain:
        return None
    restart = _last_restart(story, heard, in_vain[0])
    if restart is not None and any(item.begin > restart for item in in_vain):
        return Mute(story.label, restart)
    return Mute(story.label, None) if who_fell_silent(story, record) is Silent.MODULE else None


def _last_restart(story: Story, heard: Place, first_in_vain: Exchange) -> Place | None:
    """The first start that nothing was heard behind; or a reset that is the first thing it did not answer."""
    start = next((item for item in story.starts if item.place >= heard), None)
    if start is not None:
        return start.place
    asked = story.may_have_restarted_behind(heard)
    return asked.end if asked is first_in_vain else None


def _exchanges_with(story: Story, record: Record) -> Iterator[Exchange]:
    """All that was said to a module, whichever tester asked."""
    module = module_id(story.link.key)
    for other in record.stories:
        if other.link.channel == story.link.channel and module_id(other.link.key) == module:
            yield from other.own


def _is_heard(exchange: Exchange) -> bool:
    return exchange.response is not None or bool(exchange.pendings)


def weigh_mute(operations: Iterable[Operation], record: Record) -> Iterator[Operation]:
    """The same operations, none surer than a module that does not answer lets it be."""
    mutes = mute_modules(record)
    for operation in operations:
        mute = mutes.get(operation.link.key)
        is_done = operation.part is not None and operation.outcome.word is Word.CONFIRMED
        yield operation if mute is None or not is_done else replace(operation, outcome=_lowered(operation, mute))


def _lowered(operation: Operation, mute: Mute) -> Outcome:
    outcome = operation.outcome
    sure = least_sure([outcome.confidence, Confidence.MEDIUM])
    if not mute.takes_away(outcome.proof):
        return replace(outcome, confidence=sure, because=(*outcome.because, SILENT_NOW))
    first, *rest = outcome.because
    said = (first, *rest, SINCE_RESTART)
    if operation.kind is not Kind.DOWNLOAD:  # a download has its reasons one by one, other acts in one sentence
        said = (f"{first}, but {SINCE_RESTART}", *rest)
    return Outcome(Word.UNPROVEN, sure, (), said, mute.wish)
