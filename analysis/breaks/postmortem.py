"""What can be said about a break: how far the job had come, who fell silent first, what share was carried.

Only for a job in which a download did not end well, or whose module is mute or in its boot loader. Of several tries
at the same memory the first that broke tells where it broke: what came later may be its consequence.
Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import takewhile
from typing import Literal, NamedTuple

from analysis.breaks.company import silent_with
from analysis.breaks.facts import break_facts
from analysis.breaks.silence import Silent
from analysis.exchange_words import first_bytes, tell
from analysis.exchanges import Answer, Exchange
from analysis.modes import signs
from analysis.modules import ModuleState, Now
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, evidence
from analysis.operations.routines import Status, read_call
from analysis.record import Record
from analysis.story import Mode, Story
from analysis.supply import SupplyReading, supply_readings
from analysis.words import BROKEN, Evidence, Word
from canlog.services.gmw3110 import FULLY_PROGRAMMED, PROGRAMMED_STATES
from canlog.services.traits import Act, programmed_state

Stage = Literal[
    "before-session", "before-erase", "in-erase", "in-transfer", "before-check", "in-check", "before-reset",
    "after-reset", "unknown",
]  # fmt: skip
#: "General programming failure": the memory itself gave trouble, so that the erase may have begun.
PROGRAMMING_FAILURE = 0x72


@dataclass(frozen=True, slots=True)
class Explanation:
    """A cause that signs speak for, what speaks against it, and the one thing that would settle it."""

    cause: str
    signs_for: tuple[Evidence, ...]
    signs_against: tuple[Evidence, ...]
    settled_by: str


@dataclass(frozen=True, slots=True)
class PostMortem:
    """The facts of a break; its causes, the likeliest first, are added by ``analysis.breaks.explanations``."""

    stage: Stage
    last_good: Evidence | None
    first_bad: Evidence | None
    silent_first: Silent
    share_carried: float | None
    supply: tuple[SupplyReading, ...]
    facts: tuple[Evidence, ...] = ()
    explanations: tuple[Explanation, ...] = ()


class _Step(NamedTuple):
    """A step of the job, and what is bad about it."""

    exchange: Exchange
    text: str


def post_mortem(
    record: Record, operations: Sequence[Operation], modules: Sequence[ModuleState]
) -> PostMortem | None:  # fmt: skip
    """The facts of the worst break; None when nothing broke."""
    broken = [_first_try(item, operations) for item in standing(operations) if _is_break(item)]
    if broken:
        first = min(broken, key=lambda item: item.begin)
        story = record.story(first.link.key)
        return _of_download(first, operations, story, record) if story is not None else None
    lost = next((item for item in modules if item.now in (Now.BOOT, Now.SILENT) and _concerns_us(item)), None)
    return _of_module(lost, operations, record) if lost is not None else None


def _is_break(item: Operation) -> bool:
    return item.kind is Kind.DOWNLOAD and not item.details["driver"] and item.outcome.word in BROKEN


def _first_try(last: Operation, operations: Sequence[Operation]) -> Operation:
    """The first of the broken tries at the same thing since it was last done well."""
    same = [
        item
        for item in operations
        if (item.kind, item.link.key, item.subject) == (last.kind, last.link.key, last.subject)
        and item.number <= last.number
    ]
    return list(takewhile(_is_break, reversed(same)))[-1]


def _concerns_us(module: ModuleState) -> bool:
    """It spoke once, or somebody gave it a name: not merely an address that a scan tried."""
    return module.story.named or any(item.response is not None for item in module.story.exchanges)


def _of_download(operation: Operation, operations: Sequence[Operation], story: Story, record: Record) -> PostMortem:
    numbers = frozenset(operation.exchanges)
    members = [item for item in story.exchanges if item.number in numbers]  # a request to all modules as well
    bad = _first_bad(operation, members, story, record)
    return _facts(story, operations, record, _stage(operation, bad, members, record), bad, _share([operation]))


def _share(loads: Sequence[Operation]) -> float | None:
    """Of the bytes announced those that were answered; None where nothing was announced."""
    pairs = [(item.details["size_asked"], item.details["size_carried"]) for item in loads]
    known = [(size, carried) for size, carried in pairs if isinstance(size, int) and isinstance(carried, int)]
    asked = sum(size for size, _ in known)
    return sum(carried for _, carried in known) / asked if asked and len(known) == len(pairs) else None


def _of_module(module: ModuleState, operations: Sequence[Operation], record: Record) -> PostMortem:
    story = module.story
    bad = _in_vain(story, record) if module.now is Now.SILENT else _boot_since(story, record)
    good = _last_good(story, bad)
    stage: Stage = "after-reset" if good is not None and good.service == 0x11 else "unknown"
    loads = [item for item in standing(operations) if item.kind is Kind.DOWNLOAD and item.link.key == story.link.key]
    share = _share([item for item in loads if not item.details["driver"]])
    return _facts(story, operations, record, stage, bad, share)


def _facts(
    story: Story,
    operations: Sequence[Operation],
    record: Record,
    stage: Stage,
    bad: _Step | None,
    share: float | None,
) -> PostMortem:
    good = _last_good(story, bad)
    silent = _silent_first(story, record, bad)
    return PostMortem(
        stage=stage,
        last_good=evidence(good, _said(good, story, record)) if good is not None else None,
        first_bad=evidence(bad.exchange, bad.text) if bad is not None else None,
        silent_first=silent,
        share_carried=share,
        supply=tuple(supply_readings(record)),
        facts=break_facts(bad.exchange, operations, story, record, silent) if bad is not None else (),
    )


def _silent_first(story: Story, record: Record, bad: _Step | None) -> Silent:
    """Who fell silent at the break: that the module answers in a later capture says nothing of it."""
    if bad is None or not story.answers_behind_capture(bad.exchange.capture):
        return silent_with(story, record).who
    then = record.until(bad.exchange.capture)
    own = then.story(story.link.key)
    return silent_with(own, then).who if own is not None else Silent.UNKNOWN


def _last_good(story: Story, bad: _Step | None) -> Exchange | None:
    """The last positive answer in front of the first bad thing."""
    good = [item for item in story.own if item.positive and (bad is None or item.end < bad.exchange.begin)]
    return good[-1] if good else None


def _first_bad(
    operation: Operation, members: Sequence[Exchange], story: Story, record: Record
) -> _Step | None:  # fmt: skip
    """The step of the try that went wrong; where its last step went well, what was asked next and did not."""
    wrong = (item for item in members if not _went_well(item, story, record))
    bad = next((item for item in wrong if not _was_repeated_well(item, members)), None)
    if bad is None and operation.outcome.word is Word.FAILED:  # judged by what came behind it
        return _bad_state(members, story) or _boot_since(story, record)
    if bad is None:
        behind = next((item for item in story.own if item.begin > members[-1].end), None)
        bad = behind if behind is not None and behind.outcome in (Answer.SILENT, Answer.INCOMPLETE) else None
    return _Step(bad, _said(bad, story, record)) if bad is not None else None


def _bad_state(members: Sequence[Exchange], story: Story) -> _Step | None:
    """The first answer behind the try in which the module says what it lacks (GMW3110, A2)."""
    told = (item for item in story.after(members[-1].end) if item.positive and item.act is Act.PROGRAMMED_STATE)
    for exchange in told:
        state = programmed_state(exchange.answered, exchange.dialect)
        if state not in (None, FULLY_PROGRAMMED):
            return _Step(
                exchange, f"{first_bytes(exchange)}, {exchange.ask.name}: {state:02X} {PROGRAMMED_STATES.name(state)}"
            )
    return None


def _went_well(item: Exchange, story: Story, record: Record) -> bool:
    call = read_call(item, story.label, record.names)
    is_bad = call is not None and call.status is Status.BAD
    return item.outcome in (Answer.POSITIVE, Answer.SUPPRESSED) and not is_bad


def _was_repeated_well(item: Exchange, members: Sequence[Exchange]) -> bool:
    return any(later.positive and later.begin > item.begin and later.asked == item.asked for later in members)


def _in_vain(story: Story, record: Record) -> _Step | None:
    """The first request behind the last answer of a module that is silent since."""
    waiting = list(takewhile(lambda item: item.response is None, reversed(story.own)))
    bad = next((item for item in reversed(waiting) if item.outcome in (Answer.SILENT, Answer.INCOMPLETE)), None)
    return _Step(bad, _said(bad, story, record)) if bad is not None else None


def _boot_since(story: Story, record: Record) -> _Step | None:
    """The first answer of the boot loader since the application was last heard."""
    since = list(takewhile(lambda sign: sign.mode is Mode.BOOT, reversed(signs(story))))
    for sign in reversed(since):
        exchange = record.exchange_at((sign.evidence.capture, sign.evidence.lines[0]))
        if exchange is not None:
            said = _said(exchange, story, record)
            shown = said if exchange.nrc is not None else f"{said}; {sign.evidence.text}"
            return _Step(exchange, f"{shown}, as a boot loader does")
    return None


def _stage(operation: Operation, bad: _Step | None, members: Sequence[Exchange], record: Record) -> Stage:
    if bad is not None and bad.exchange in members:
        return _stage_of(bad.exchange, operation, record)
    if operation.details["ended"]:
        return "after-reset" if operation.outcome.word is Word.FAILED else "before-check"
    return "in-transfer" if {item.service for item in members} & {0x34, 0x36} else "in-erase"


def _stage_of(bad: Exchange, operation: Operation, record: Record) -> Stage:
    call = read_call(bad, operation.label, record.names)
    if call is None:
        return "in-transfer"
    if call.kind != "erase":
        return "in-check" if call.kind or operation.details["ended"] else "in-transfer"
    began = bool(bad.pendings) or bad.nrc in (None, PROGRAMMING_FAILURE)
    return "in-erase" if began else "before-erase"


def _said(exchange: Exchange, story: Story, record: Record) -> str:
    """The exchange in a few plain words, behind the bytes that began it."""
    return f"{first_bytes(exchange) or 'not asked'}, {tell(exchange, story.label, record)}"
