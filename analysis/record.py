"""Everything read from the captures of one job, before anything is judged."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

from analysis.exchanges import Exchange, Place
from analysis.limits import Limits
from analysis.motion import Course, courses
from analysis.readings import Reading, read_values, serial_numbers
from analysis.report_frames import ReportFrame
from analysis.story import Story
from analysis.timing import AnswerTimes, answer_times
from analysis.trust.doubts import Troubles
from analysis.trust.fitness import Trust
from analysis.trust.missing_steps import Missing
from analysis.trust.one_way import one_way
from analysis.trust.shared_time import Borders, shared_time
from canlog.background import Gap
from canlog.capture.capture import Capture
from canlog.frames import TimeKind
from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import MessageTable
from canlog.names.tables import Names
from canlog.other.find import find_other_traffic
from canlog.other.traffic import OtherTraffic
from canlog.services.dialects import DialectGuess
from canlog.survey import Survey

if TYPE_CHECKING:
    from analysis.breaks.company import Company
    from analysis.breaks.silence import Silent
    from analysis.operations.attempts import Attempt
    from analysis.operations.block_form import BlockForm


@dataclass(frozen=True)
class CaptureRecord:
    """One capture: what it is, what else was on its buses, what was said on its links."""

    number: int
    name: str
    capture: Capture
    survey: Survey
    messages: MessageTable
    exchanges: tuple[Exchange, ...]
    missing: tuple[Missing, ...]
    troubles: Troubles
    trust: Trust
    silences: tuple[Gap, ...]  # in which no id at all was heard
    gaps: tuple[Gap, ...]  # those of them that cannot have been on the bus
    copied: Mapping[str, str] = field(default_factory=dict)  # channels that only repeat the requests of another

    @cached_property
    def other_traffic(self) -> tuple[OtherTraffic, ...]:
        """Protocols on its buses that are named and not read."""
        return tuple(find_other_traffic(self.survey.background))


@dataclass(frozen=True)
class Record:
    """All captures of a job in the order of the job."""

    captures: tuple[CaptureRecord, ...]
    exchanges: tuple[Exchange, ...]
    stories: tuple[Story, ...]
    names: Names
    limits: Limits
    dialects: Mapping[str, DialectGuess] = field(default_factory=dict)  # by link key
    wanted: tuple[Link, ...] = ()  # links that the user named
    #: By link; see ``attempts_of``.
    attempts: dict[str, list[Attempt]] = field(default_factory=dict, init=False, repr=False, compare=False)
    #: By the number of the exchange; see ``block_form_of``.
    block_forms: dict[int, BlockForm] = field(default_factory=dict, init=False, repr=False, compare=False)
    #: By link; see ``who_fell_silent``.
    fell_silent: dict[str, Silent] = field(default_factory=dict, init=False, repr=False, compare=False)
    #: By link; see ``silent_with``.
    companies: dict[str, Company] = field(default_factory=dict, init=False, repr=False, compare=False)

    def capture(self, number: int) -> CaptureRecord:
        """A capture by its number (from 1)."""
        return self.captures[number - 1]

    def until(self, capture: int) -> Record:
        """What was known at the end of a capture, by its number."""
        stories = (
            replace(story, exchanges=tuple(item for item in story.exchanges if item.capture <= capture))
            for story in self.stories
        )
        return replace(
            self,
            captures=self.captures[:capture],
            exchanges=tuple(item for item in self.exchanges if item.capture <= capture),
            stories=tuple(story for story in stories if story.exchanges),
        )

    @cached_property
    def talking(self) -> frozenset[int | None]:
        """Ids of all links, and those that all modules are asked on."""
        links = {can_id for story in self.stories for can_id in (story.link.request_id, story.link.response_id)}
        to_all = {item.link.request_id for item in self.exchanges if item.functional or item.link.functional}
        return frozenset(links | to_all)

    @cached_property
    def courses(self) -> tuple[Course, ...]:
        """What cyclic messages said of speed and engine, as far as names know them."""
        return tuple(courses(self.captures, self.names.signals, self.limits))

    @cached_property
    def troubles(self) -> Mapping[int, Troubles]:
        """Troubles by capture number."""
        return {item.number: item.troubles for item in self.captures}

    @cached_property
    def shared_time(self) -> Borders:
        """Which captures ran at the same time, and from which line on the later one is behind the earlier."""
        return shared_time(self.captures)

    def clock_steps_of(self, channel: str) -> tuple[tuple[Place, int], ...]:
        """Backward steps of a channel's clock: (place, size in ns)."""
        return self._steps_by_channel.get(channel, ())

    @cached_property
    def one_way(self) -> Mapping[tuple[int, str], Direction]:
        """Of which links a capture holds one direction only: (capture, link key) -> the one that is there."""
        return {(item.number, key): way for item in self.captures for key, way in one_way(item.exchanges).items()}

    @cached_property
    def missing_steps(self) -> tuple[Missing, ...]:
        """Steps that must have been on the bus and are in no capture, in order."""
        return tuple(step for item in self.captures for step in item.missing)

    @cached_property
    def clock_steps(self) -> tuple[tuple[Place, int], ...]:
        """Backward steps of the clock: (place, size in ns)."""
        return tuple(
            ((item.number, int(step.line)), int(step.size_ns))
            for item in self.captures
            for step in item.survey.summary.clock_steps
        )

    @cached_property
    def _steps_by_channel(self) -> dict[str, tuple[tuple[Place, int], ...]]:
        found: dict[str, list[tuple[Place, int]]] = {}
        for item in self.captures:
            for step in item.survey.summary.clock_steps:
                found.setdefault(step.channel, []).append(((item.number, int(step.line)), int(step.size_ns)))
        return {channel: tuple(steps) for channel, steps in found.items()}

    @cached_property
    def _answer_times(self) -> dict[tuple[int, str], AnswerTimes]:
        by_link: dict[tuple[int, str], list[Exchange]] = {}
        for exchange in self.exchanges:
            by_link.setdefault((exchange.capture, exchange.link.key), []).append(exchange)
        steps: dict[int, list[int]] = {}
        for (capture, line), _ in self.clock_steps:
            steps.setdefault(capture, []).append(line)
        return {place: answer_times(found, sorted(steps.get(place[0], ()))) for place, found in by_link.items()}

    def answer_times(self, capture: int, key: str) -> AnswerTimes:
        """How soon one link's module answered in one capture; nothing where the capture has no clock."""
        is_timed = self.capture(capture).survey.summary.time_kind is not TimeKind.NONE
        return self._answer_times.get((capture, key), AnswerTimes()) if is_timed else AnswerTimes()

    @cached_property
    def _readings(self) -> dict[str, tuple[Reading, ...]]:
        return {story.link.key: tuple(read_values(story, self.names)) for story in self.stories}

    def readings(self, story: Story) -> tuple[Reading, ...]:
        """All values read from a module, in order."""
        return self._readings[story.link.key]

    @cached_property
    def _serial_numbers(self) -> dict[str, tuple[Reading, ...]]:
        return {story.link.key: tuple(serial_numbers(story, self.readings(story))) for story in self.stories}

    def serial_numbers(self, story: Story) -> tuple[Reading, ...]:
        """Where an application told a serial number: the first of each run of equal ones in a capture."""
        return self._serial_numbers[story.link.key]

    @cached_property
    def _by_first_line(self) -> dict[Place, Exchange]:
        return {exchange.begin: exchange for exchange in reversed(self.exchanges)}

    def exchange_at(self, place: Place) -> Exchange | None:
        """The exchange that begins at a place."""
        return self._by_first_line.get(place)

    @cached_property
    def packets(self) -> Mapping[int, tuple[ReportFrame, ...]]:
        """GMW3110: the data packets that answer each request for them, by number of the exchange."""
        found: dict[int, tuple[ReportFrame, ...]] = {}
        for story in self.stories:
            for number, frames in story.packets.items():
                found[number] = tuple(sorted((*found.get(number, ()), *frames)))
        return found

    def story(self, key: str) -> Story | None:
        """The module of a link key."""
        return next((story for story in self.stories if story.link.key == key), None)
