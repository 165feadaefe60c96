"""One module through the whole job: its exchanges in order, its starts, its session at any place.

A power cycle is a reset that was answered positively or a start message of the module (names); a gap alone is
none, and neither is the border between two captures. What the module answers before it can have started anew lies
in front of the start, and a module that is still in the session it was in has not started.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from functools import cached_property
from itertools import islice, takewhile

from analysis.exchanges import Answer, Exchange, Place
from analysis.limits import Limits
from analysis.report_frames import ReportFrame, Reports, packets_sent
from analysis.words import Evidence
from canlog.isotp.addressing import Link
from canlog.names.tables import Names
from canlog.services.dialects import GMW, UDS
from canlog.services.gmw3110 import report_id
from canlog.services.traits import DEFAULT_SESSION, PROGRAMMING_SESSION, Act, restarts
from canlog.survey import Survey

#: The answer that names the active session: 62 F186 (ISO 14229-1:2020, annex C (M)).
_SAYS_SESSION = b"\x62\xf1\x86"
#: subFunctionNotSupported (ISO 14229-1:2020, annex A.1 (M)).
REFUSED_SUB_FUNCTION = 0x12


class Mode(StrEnum):
    """What program of a module speaks."""

    APPLICATION = "application"
    BOOT = "boot"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Start:
    """The module started anew here."""

    place: Place
    time_ns: int
    mode: Mode
    evidence: Evidence


@dataclass(frozen=True, slots=True)
class State:
    """What is known of a module at a place. ``session`` None: unknown (capture began, or a border)."""

    session: int | None = None
    unlocked: int | None = None  # level of the seed request
    boot: bool = False  # it said itself that only its boot loader runs


@dataclass(frozen=True)
class Story:
    """A module's exchanges (its own, and functional ones that nobody answered), starts and name."""

    link: Link
    label: str
    named: bool  # the label comes from the names
    exchanges: tuple[Exchange, ...]
    starts: tuple[Start, ...]
    limits: Limits
    reports: tuple[ReportFrame, ...] = ()  # GMW3110: frames that answer A9 and AA, outside the transport

    @cached_property
    def _states(self) -> dict[int, State]:
        """State before each exchange, by exchange number."""
        states: dict[int, State] = {}
        state = State()
        capture = 0
        starts = iter(self.starts)
        start = next(starts, None)
        for exchange in self.exchanges:
            if exchange.capture != capture:
                capture, state = exchange.capture, State()
            while start is not None and start.place <= exchange.begin:
                if start.place[0] == capture:
                    state = _started(state, start.mode)
                start = next(starts, None)
            states[exchange.number] = state
            state = _after(state, exchange)
            if self.lost_a_session(exchange) and state.session != PROGRAMMING_SESSION:
                state = replace(state, boot=True)
        return states

    def lost_a_session(self, exchange: Exchange) -> bool:
        """It says that it has no such session (code 12), and opened it before: another program speaks by now."""
        if exchange.act is not Act.SESSION or exchange.nrc != REFUSED_SUB_FUNCTION:
            return False
        first = self._first_opened.get(exchange.session)
        return first is not None and first < exchange.begin

    @cached_property
    def _first_opened(self) -> dict[int | None, Place]:
        opened: dict[int | None, Place] = {}
        for item in self.exchanges:
            if item.act is Act.SESSION and item.positive:
                opened.setdefault(item.session, item.end)
        return opened

    @cached_property
    def own(self) -> tuple[Exchange, ...]:
        """Exchanges sent to this module alone or answered by it: unanswered functional requests are not its own."""
        return tuple(exchange for exchange in self.exchanges if exchange.link.key == self.link.key)

    @property
    def dialect(self) -> str:
        """What it speaks."""
        return next((exchange.dialect for exchange in self.own), UDS)

    def may_have_restarted_behind(self, place: Place) -> Exchange | None:
        """A reset that was asked for and neither answered nor refused: the module may have done it.

        Never taken as a restart where one would prove something, only where one would spoil a proof.
        """
        return next((item for item in self.after(place) if _may_be_reset(item)), None)

    def before(self, exchange: Exchange) -> State:
        """The module's state when the exchange begins."""
        return self._states.get(exchange.number, State())

    @cached_property
    def at_the_end(self) -> State:
        """The module's state behind everything that was said, as far as the last capture with it tells."""
        if not self.exchanges:
            return State()
        last = self.exchanges[-1]
        state = _after(self.before(last), last)
        for start in self.starts:
            if start.place > last.end and start.place[0] == last.capture:
                state = _started(state, start.mode)
        return state

    def is_boot_loader(self, exchange: Exchange) -> bool:
        """Its boot loader speaks there, as asked for or not: what that says of itself identifies no part."""
        state = self.before(exchange)
        return state.boot or state.session == PROGRAMMING_SESSION

    def told_before_programming(self, exchange: Exchange) -> set[tuple[bytes, bool]]:
        """Earlier answers to the same request, in front of the first transfer, and whether by the boot loader."""
        told = self._told_before_programming.get(exchange.asked, {})
        return {said for said, place in told.items() if place < exchange.begin}

    @cached_property
    def _told_before_programming(self) -> dict[bytes, dict[tuple[bytes, bool], Place]]:
        """By request: each answer with who gave it, and where it came first; one that is read all day counts once."""
        told: dict[bytes, dict[tuple[bytes, bool], Place]] = {}
        for item in takewhile(lambda one: one.act is not Act.DOWNLOAD, self.exchanges):
            if item.positive:
                answers = told.setdefault(item.asked, {})
                answers.setdefault((item.answered, self.is_boot_loader(item)), item.begin)
        return told

    def answers_behind_capture(self, capture: int) -> bool:
        """The module is heard in a capture behind this one."""
        return any(item.response is not None for item in self.own if item.capture > capture)

    def after(self, place: Place) -> Iterator[Exchange]:
        """Exchanges that begin behind a place."""
        return (exchange for exchange in self.exchanges if exchange.begin > place)

    def between(self, start: Place, end: Place) -> Iterator[Exchange]:
        """Exchanges that begin behind ``start`` and before ``end``."""
        return (exchange for exchange in self.exchanges if start < exchange.begin < end)

    def start_after(self, place: Place) -> Start | None:
        """The first start behind a place."""
        return next((start for start in self.starts if start.place > place), None)

    def normal_after(self, place: Place) -> Place | None:
        """Behind a place: the first start, or in a dialect that ends programming so (GMW3110) the return to normal."""
        start = self.start_after(place)
        places = [start.place] if start is not None else []
        returned = (item.end for item in self.after(place) if item.dialect == GMW and _returns_to_normal(item))
        return min([*places, *islice(returned, 1)], default=None)

    @cached_property
    def packets(self) -> dict[int, tuple[ReportFrame, ...]]:
        """GMW3110: the data packets that answer each request for them, by number of the exchange."""
        if not self.reports:
            return {}
        answers = ((item, packets_sent(item, self.after(item.begin), self.reports)) for item in self.exchanges)
        return {item.number: frames for item, frames in answers if frames}

    def last_start(self) -> Start | None:
        """The latest start."""
        return self.starts[-1] if self.starts else None


def _after(state: State, exchange: Exchange) -> State:
    """The state that an exchange leaves. Sessions relock (ISO 14229-1:2020, 10.4 (M))."""
    if exchange.act is Act.SESSION:
        taken = exchange.asked and exchange.outcome in (Answer.POSITIVE, Answer.SUPPRESSED)
        session = exchange.session if taken else None
        return state if session is None else State(session=session, boot=state.boot)
    if exchange.act is Act.UNLOCK and exchange.positive and _is_key_answer(exchange):
        return replace(state, unlocked=exchange.answered[1] - 1)
    if is_restart(exchange):
        return State(session=DEFAULT_SESSION)
    if exchange.positive and exchange.dialect == UDS and exchange.answered[:3] == _SAYS_SESSION:
        return _says_session(state, exchange.answered[3]) if len(exchange.answered) > 3 else state
    return state


def _is_key_answer(exchange: Exchange) -> bool:
    """67 with an even number, and where the dialect has one (KWP2000) a byte that says access is granted."""
    return len(exchange.answered) in (2, 3) and not exchange.answered[1] & 1


def _started(state: State, mode: Mode) -> State:
    """A start: in the default session, or in the boot loader, there as asked or not."""
    if mode is not Mode.BOOT:
        return State(session=DEFAULT_SESSION)
    return State(session=PROGRAMMING_SESSION if state.session == PROGRAMMING_SESSION else None, boot=True)


def _says_session(state: State, session: int) -> State:
    """The module names its session: the programming session, unasked, means that only its boot loader runs."""
    unasked = session == PROGRAMMING_SESSION and state.session != PROGRAMMING_SESSION
    boot = session == PROGRAMMING_SESSION and (state.boot or unasked)
    return State(session, state.unlocked if session == state.session else None, boot)


def _returns_to_normal(exchange: Exchange) -> bool:
    return exchange.positive and exchange.session == DEFAULT_SESSION


def is_restart(exchange: Exchange) -> bool:
    """A reset that was answered positively and starts the module anew."""
    return exchange.act is Act.RESET and exchange.positive and restarts(exchange.told, exchange.dialect)


def _may_be_reset(exchange: Exchange) -> bool:
    return exchange.act is Act.RESET and exchange.response is None and restarts(exchange.asked, exchange.dialect)


def tell_stories(
    links: Iterable[Link],
    exchanges: Iterable[Exchange],
    surveys: dict[int, Survey],
    names: Names,
    limits: Limits,
    reports: Reports,
) -> list[Story]:
    """The story of every physical link, in order of first appearance; ``reports`` as ``read_reports`` gives them."""
    everything = list(exchanges)
    spoken = {exchange.link.key: exchange.dialect for exchange in everything}
    stories = []
    modules = _modules(links)
    labels = _labels(modules, names)
    is_alone = len({channel for survey in surveys.values() for channel in survey.summary.channels}) == 1
    for link in modules:
        label = labels.get((link.channel, module_id(link.key)))
        own = tuple(
            exchange
            for exchange in everything
            if exchange.link.key == link.key
            or (exchange.link.channel == link.channel and _concerns(exchange, spoken.get(link.key)))
        )
        starts = sorted(
            [*_resets(own, limits), *_start_messages(label, link, surveys, names)], key=lambda start: start.place
        )
        reported = reports.get((link.channel, report_id(link.response_id or 0) or 0), ())
        reported = reported if spoken.get(link.key) == GMW else ()
        shown = label or (link.key.partition(":")[2] if is_alone else link.key)  # one channel needs no name
        stories.append(Story(link, shown, label is not None, own, tuple(starts), limits, reported))
    return stories


def with_refusals_named(exchanges: Iterable[Exchange], links: Iterable[Link], names: Names) -> Iterator[Exchange]:
    """The exchanges; those that were refused with what the names call the code for that request."""
    labels = _labels(_modules(links), names) if names.refusals else {}
    for exchange in exchanges:
        if names.refusals and exchange.nrc is not None:
            link = exchange.link
            label = None if link.functional else labels.get((link.channel, module_id(link.key)))
            yield replace(exchange, named=names.refusal(label, exchange.told, exchange.nrc))
        else:
            yield exchange


def is_same_module(one: Link, other: Link) -> bool:
    """Two links lead to one module: two testers ask it, each by ids of its own."""
    return one.channel == other.channel and module_id(one.key) == module_id(other.key)


def module_id(key: str) -> int:
    """The module behind a link: in normal fixed addressing the target byte, else the response id.

    In mixed addressing (the same address byte both ways) modules share their ids, and the byte tells them apart.
    """
    asked, _, response = key.rpartition(":")[2].partition(">")
    response, _, address = response.partition(".")
    can_id = int(response, 16)
    if len(response) == 8 and can_id & 0x03FF0000 == 0x00DA0000:
        return can_id & 0xFF
    return can_id if not address or asked.partition(".")[2] != address else can_id << 8 | int(address, 16)


def _labels(modules: Iterable[Link], names: Names) -> dict[tuple[str, int], str]:
    """What modules are called, whichever tester asks: names know one link of each."""
    found = {}
    for link in modules:
        label = names.label_of(link.key.partition(":")[2])
        if label:
            found[link.channel, module_id(link.key)] = label
    return found


def _modules(links: Iterable[Link]) -> list[Link]:
    seen: dict[str, Link] = {}
    for link in links:
        if not link.functional:
            seen.setdefault(link.key, link)
    return list(seen.values())


def _concerns(exchange: Exchange, dialect: str | None) -> bool:
    """A functional request that no module answered still reached every module that listens to its id.

    The one of GMW3110 (101 with FE) has no meaning in another dialect.
    """
    is_unanswered = exchange.link.functional and exchange.outcome in (Answer.SUPPRESSED, Answer.SILENT)
    return is_unanswered and (exchange.dialect != GMW or dialect in (GMW, None))


def _resets(exchanges: Sequence[Exchange], limits: Limits) -> Iterator[Start]:
    for at, exchange in enumerate(exchanges):
        if not is_restart(exchange):
            continue
        *_, last = (exchange, *takewhile(_AnsweredTooSoon(exchange, limits), _from(exchanges, at + 1)))
        if not _is_still_in_session(exchange, _from(exchanges, at + 1)):
            text = f"reset answered positively ({exchange.told[1:2].hex().upper()})"
            shown = Evidence(exchange.capture, exchange.answer_lines, text)
            yield Start(last.end, last.end_ns, Mode.UNKNOWN, shown)


def _from(exchanges: Sequence[Exchange], first: int) -> Iterator[Exchange]:
    return (exchanges[at] for at in range(first, len(exchanges)))  # no copy: a module may be reset again and again


@dataclass(frozen=True, slots=True)
class _AnsweredTooSoon:
    """No module has started anew by then: what answers is the program that took the request."""

    reset: Exchange
    limits: Limits

    def __call__(self, exchange: Exchange) -> bool:
        reset = self.reset
        if exchange.capture != reset.capture or exchange.response is None or reset.begin_ns == reset.end_ns:
            return False  # a clock that stands still tells nothing
        return exchange.begin_ns - reset.end_ns < self.limits.restart_least_ns


def _is_still_in_session(reset: Exchange, later: Iterable[Exchange]) -> bool:
    """It says that it is in a session that a start would have ended, and nobody asked for that session since."""
    for item in takewhile(lambda one: one.act not in (Act.SESSION, Act.RESET), later):
        if item.capture == reset.capture and item.positive and item.answered[:3] == _SAYS_SESSION:
            return item.answered[3:4] not in (b"", bytes([DEFAULT_SESSION]), bytes([PROGRAMMING_SESSION]))
    return False


def _start_messages(label: str | None, link: Link, surveys: dict[int, Survey], names: Names) -> Iterator[Start]:
    module = names.module(label) if label else None
    if module is None or module.start_message is None:
        return
    message = module.start_message
    for number, survey in surveys.items():
        for frame in survey.background.frames_of(message.can_id.number):
            if frame.channel != link.channel or len(frame.data) <= message.byte:
                continue
            value = frame.data[message.byte]
            mode = {message.boot: Mode.BOOT, message.application: Mode.APPLICATION}.get(value, Mode.UNKNOWN)
            text = f"start message {frame.can_id:X}: {mode.value}"
            yield Start((number, frame.line), frame.time_ns, mode, Evidence(number, (frame.line,), text))
