"""Whether a silent module fell silent by itself, with others of its branch, or with everybody but the tester.

A module is heard when it answers, so the moment of its silence lies between its last answer and the first request in
vain. Modules fell silent together where one moment fits all of them. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from analysis.breaks.silence import Silent, who_fell_silent
from analysis.exchanges import Answer
from analysis.record import Record
from analysis.story import Story
from canlog.background import IdTraffic

#: So many frames of an id make it one that comes by itself.
STEADY_FRAMES = 3


class Company(NamedTuple):
    """Who fell silent along with a module, itself among them."""

    who: Silent
    stories: tuple[Story, ...]
    stopped: tuple[IdTraffic, ...] = ()  # ids that come by themselves and stopped with it, if all of them did


class _Moment(NamedTuple):
    """When it fell silent: between two times."""

    capture: int
    channel: str
    from_ns: int
    to_ns: int

    def meets(self, other: _Moment) -> bool:
        is_same_line = (self.capture, self.channel) == (other.capture, other.channel)
        return is_same_line and self.from_ns <= other.to_ns and other.from_ns <= self.to_ns

    def narrowed(self, other: _Moment) -> _Moment:
        return self._replace(from_ns=max(self.from_ns, other.from_ns), to_ns=min(self.to_ns, other.to_ns))


class _Ids(NamedTuple):
    """Which ids testers ask on and modules answer on."""

    asking: frozenset[int | None]
    answering: frozenset[int | None]

    @classmethod
    def of(cls, record: Record) -> _Ids:
        asking = {item.link.request_id for item in record.exchanges} | {one.link.request_id for one in record.stories}
        return cls(frozenset(asking), frozenset(one.link.response_id for one in record.stories))


def silent_with(story: Story, record: Record) -> Company:
    """The same as :func:`who_fell_silent`, and for a module in which company."""
    who = who_fell_silent(story, record)
    if who is not Silent.MODULE:
        return Company(who, (story,))
    if not record.companies:
        silent = [(one, moment) for one in record.stories if (moment := _moment_of_silence(one, record)) is not None]
        ids = _Ids.of(record)
        record.companies.update((one.link.key, _company(one, moment, silent, ids, record)) for one, moment in silent)
    return record.companies.get(story.link.key, Company(who, (story,)))


def _moment_of_silence(story: Story, record: Record) -> _Moment | None:
    moment = _moment(story, record)
    return moment if moment is not None and who_fell_silent(story, record) is Silent.MODULE else None


def _company(
    story: Story, moment: _Moment, silent: Iterable[tuple[Story, _Moment]], ids: _Ids, record: Record
) -> Company:
    stories = [story]
    for other, theirs in silent:
        if other is not story and moment.meets(theirs):
            stories.append(other)
            moment = moment.narrowed(theirs)
    traffic = record.capture(moment.capture).survey.background.traffic
    others = [each for each in traffic if each.channel == moment.channel and each.can_id not in ids.asking]
    last = moment.to_ns + record.limits.neighbourhood_ns
    if any(each.last_ns > last for each in others):
        return Company(Silent.BRANCH if len(stories) > 1 else Silent.MODULE, tuple(stories))
    stopped = tuple(each for each in others if _stopped_in(each, moment, ids, record))
    is_alone = stopped and len(stories) > 1  # else the ids that stopped may be the module's own
    return Company(Silent.ALL_BUT_TESTER if is_alone else Silent.MODULE, tuple(stories), stopped)


def _moment(story: Story, record: Record) -> _Moment | None:
    """None where it never answered in its last capture, where nothing was asked behind, or without a clock."""
    if story.link.functional or not story.own:
        return None
    capture = story.own[-1].capture
    if record.capture(capture).survey.summary.last_time_ns is None:
        return None
    own = [item for item in story.own if item.capture == capture and item.link.key == story.link.key]
    heard = [message.end_ns for item in own for message in (*item.pendings, item.response) if message is not None]
    in_vain = [
        item
        for item in own
        if heard and not item.functional and item.outcome in (Answer.SILENT, Answer.INCOMPLETE)
        and item.end_ns > max(heard)
    ]  # fmt: skip
    if not in_vain:
        return None
    return _Moment(capture, story.link.channel, max(heard), in_vain[0].end_ns)


def _stopped_in(each: IdTraffic, moment: _Moment, ids: _Ids, record: Record) -> bool:
    """It comes by itself, and was heard last when the module fell silent."""
    is_near = each.last_ns >= moment.from_ns - record.limits.neighbourhood_ns
    return each.can_id not in ids.answering and each.frames >= STEADY_FRAMES and is_near
