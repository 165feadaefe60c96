"""A session as numbered steps: one exchange each, or several that people would tell in one breath.

Accepted blocks of a transfer in a row are one step, and so are the answers of several modules to one request to all,
and a request that is repeated and answered alike.
Tester present that went well is left out and counted.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

from analysis.exchange_words import tell
from analysis.exchanges import Answer, Exchange
from analysis.operations.attempts import block_form_of
from analysis.operations.block_form import form_of
from analysis.report.model import Report
from analysis.report.wording import seconds
from analysis.story import Story
from analysis.walk.masks import NO_MASKS, Masks, masks_of
from canlog.counting import counted
from canlog.frames import TimeKind
from canlog.services.traits import Act


@dataclass(frozen=True)
class Step:
    """What was done, with everything that came back. ``exchanges`` is never empty."""

    number: int
    who: str
    told: str
    at: str  # seconds from the begin of the capture; empty without a clock
    exchanges: tuple[Exchange, ...]

    @property
    def act(self) -> Act:
        """What it does."""
        return self.exchanges[0].act

    @property
    def first(self) -> Exchange:
        """The exchange that it is shown by."""
        return self.exchanges[0]

    @property
    def is_run(self) -> bool:
        """Several blocks of one transfer."""
        return self.act is Act.BLOCK and len(self.exchanges) > 1 and self.first.positive

    @property
    def to_all(self) -> bool:
        """One request to all modules, with the answer of each."""
        return self.first.functional

    @property
    def lines(self) -> tuple[int, int]:
        """First and last source line."""
        return min(one.lines[0] for one in self.exchanges), max(one.lines[1] for one in self.exchanges)

    @property
    def where(self) -> str:
        """Its lines, for people."""
        first, last = self.lines
        text = f"line {first}" if first == last else f"lines {first}-{last}"
        return text if self.first.capture == 1 else f"{text}, capture {self.first.capture}"

    def holds(self, capture: int, line: int) -> bool:
        """A line of a capture belongs to this step."""
        return self.first.capture == capture and self.lines[0] <= line <= self.lines[1]


@dataclass(frozen=True)
class Walk:
    """The steps of a report, and how many keep-alives were left out."""

    report: Report
    steps: tuple[Step, ...]
    kept_alive: int
    masks: Masks = NO_MASKS

    @cached_property
    def labels(self) -> Mapping[str, str]:
        """What the modules are called, by link; empty where nobody named them."""
        return {story.link.key: story.label for story in self.report.record.stories if story.named}

    @cached_property
    def stories(self) -> Mapping[str, Story]:
        """The modules by link."""
        return {story.link.key: story for story in self.report.record.stories}

    def has_clock(self, exchange: Exchange) -> bool:
        """The capture has times."""
        return self.report.record.capture(exchange.capture).survey.summary.time_kind is not TimeKind.NONE

    def tell(self, exchange: Exchange) -> str:
        """One exchange in words, secrets masked."""
        return self.masks.text(tell(exchange, self.labels.get(exchange.link.key, ""), self.report.record))

    def before(self, step: Step, exchange: Exchange) -> Iterator[Exchange]:
        """Exchanges of the same module in earlier steps, the latest first."""
        for earlier in reversed(self.steps[: step.number - 1]):
            yield from (one for one in reversed(earlier.exchanges) if one.link.key == exchange.link.key)

    def behind(self, step: Step, exchange: Exchange) -> Iterator[tuple[Step, Exchange]]:
        """Exchanges of the same module in later steps."""
        for later in self.steps[step.number :]:
            yield from ((later, one) for one in later.exchanges if one.link.key == exchange.link.key)


def walk_through(report: Report, *, secrets: bool = False) -> Walk:
    """The steps of a report, numbered from 1; with ``secrets`` nothing is masked."""
    told = [one for one in report.record.exchanges if not _only_keeps_alive(one)]
    masks = NO_MASKS if secrets else masks_of(report)
    walk = Walk(report, (), len(report.record.exchanges) - len(told), masks)
    steps = tuple(_step(walk, number, group) for number, group in enumerate(_groups(told), start=1))
    return replace(walk, steps=steps)


def _only_keeps_alive(exchange: Exchange) -> bool:
    return exchange.act is Act.TESTER_PRESENT and exchange.outcome in (Answer.POSITIVE, Answer.SUPPRESSED)


def _groups(exchanges: list[Exchange]) -> Iterator[tuple[Exchange, ...]]:
    group: list[Exchange] = []
    for one in exchanges:
        if group and not any(goes_on(group[-1], one) for goes_on in (_same_request, _next_block, _same_again)):
            yield tuple(group)
            group = []
        group.append(one)
    if group:
        yield tuple(group)


def _same_request(one: Exchange, other: Exchange) -> bool:
    return one.functional and other.request is not None and one.request is other.request


def _next_block(one: Exchange, other: Exchange) -> bool:
    both = one.act is other.act is Act.BLOCK and one.positive and other.positive
    return both and one.link.key == other.link.key and one.capture == other.capture


def _same_again(one: Exchange, other: Exchange) -> bool:
    """Asked again at once, and answered alike: a poll, or a retry into silence."""
    alike = (one.asked, one.answered, one.outcome) == (other.asked, other.answered, other.outcome)
    return alike and bool(one.asked) and one.link.key == other.link.key and one.capture == other.capture


def _step(walk: Walk, number: int, group: tuple[Exchange, ...]) -> Step:
    first = group[0]
    start = walk.report.record.capture(first.capture).survey.summary.first_time_ns
    at = seconds(first.begin_ns, start) if walk.has_clock(first) and start is not None else ""
    return Step(number, _who(walk, group), _told(walk, group), at, group)


def _who(walk: Walk, group: tuple[Exchange, ...]) -> str:
    first = group[0]
    if first.functional:
        return "all modules"
    return walk.labels.get(first.link.key) or first.link.key.partition(":")[2]


def _told(walk: Walk, group: tuple[Exchange, ...]) -> str:
    first = group[0]
    if len(group) == 1:
        return walk.tell(first)
    if first.functional:
        asked = walk.tell(first).partition(": ")[0]
        accepted = sum(one.outcome is Answer.POSITIVE for one in group)
        return f"{asked}: {counted(len(group), 'module')} answered, {accepted} of them yes"
    if not (first.act is Act.BLOCK and first.positive):
        return f"{walk.tell(first)}, {counted(len(group), 'time')}"
    form = block_form_of(first, walk.report.record) or form_of(None, group, None)
    sent = sum(form.size(one.request.length) for one in group if one.request is not None)
    last = walk.tell(group[-1]).partition(",")[0]
    return f"{walk.tell(first).partition(',')[0]} to {last}: {len(group):,} blocks, {sent:,} bytes of memory"
