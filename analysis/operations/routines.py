"""What a routine answered: positive says accepted, the status says passed, and only names say what a status means.

Standard identifiers: FF00 erases memory, FF01 checks that the programmed parts fit together. Status 00 of FF01
for "correct" is a custom, not the standard's. Source: ISO 14229-1:2020, 14 and annex F (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

from analysis.exchanges import Answer, Exchange, Place
from analysis.story import Story
from canlog.names.nrc import NrcGroup, nrcs
from canlog.names.tables import Names, RoutineName, StatusWord
from canlog.services.dialects import UDS
from canlog.services.identifiers import identifier_text
from canlog.services.traits import (
    DEFAULT_SESSION,
    ROUTINE_RESULT,
    ROUTINE_START,
    ROUTINE_STOP,
    Act,
    routine_asked,
    traits_of,
)

START, STOP, RESULT = ROUTINE_START, ROUTINE_STOP, ROUTINE_RESULT
ERASE_MEMORY = 0xFF00
CHECK_DEPENDENCIES = 0xFF01
#: Refusals of a module that has no request for results (ISO 14229-1:2020, annex A.1 (M)).
HAS_NO_RESULTS = frozenset({0x11, 0x12})
#: Kinds of refusal after which memory is as it was: the request, a condition or access was wrong.
BEFORE_IT_BEGAN = frozenset({NrcGroup.REQUEST, NrcGroup.CONDITION, NrcGroup.SECURITY, NrcGroup.VOLTAGE, NrcGroup.WAIT})


class Status(StrEnum):
    """What a routine's answer means."""

    GOOD = "good"
    BAD = "bad"
    RUNNING = "running"
    UNKNOWN = "unknown"  # answered, but nothing says what the status means
    REFUSED = "refused"
    OPEN = "open"  # no final answer


@dataclass(frozen=True, slots=True)
class RoutineCall:
    """One RoutineControl exchange, read."""

    exchange: Exchange
    control: int  # start, stop or result
    identifier: int
    option: bytes
    status_bytes: bytes
    status: Status
    text: str
    name: RoutineName | None

    @property
    def kind(self) -> str:
        """erase, check, dependencies, learn, other, or "" when nothing says."""
        if self.name is not None:
            return str(self.name.kind)
        if self.exchange.dialect != UDS:
            return "erase" if self.exchange.told.startswith(traits_of(self.exchange.dialect).erases) else ""
        return {ERASE_MEMORY: "erase", CHECK_DEPENDENCIES: "dependencies"}.get(self.identifier, "")

    @property
    def said(self) -> str:
        """Its identifier as people write it."""
        return identifier_text(self.identifier)


@dataclass(frozen=True, slots=True)
class RoutineRun:
    """A routine from its start until it is started again."""

    calls: tuple[RoutineCall, ...]

    @property
    def started(self) -> bool:
        """Its start is in the capture and was taken, as far as the module showed."""
        first = self.calls[0]
        return first.control == START and (first.exchange.positive or bool(first.exchange.pendings) or _mute(first))

    @property
    def telling(self) -> RoutineCall:
        """The call that decides, with the option of the start.

        A result is one of this run only if its start is in the capture and was taken: else it may be that of an
        older run, which proves nothing now. Where names say that there is a result to ask for, the answer to the
        start is none. A result that was told stays told when it is asked for once more and refused: the module need
        not keep it (common practice, no source).
        """
        first = self.calls[0]
        told = [call for call in self.calls if call.control != STOP]
        if not told:
            return _no_result(self.calls[-1], "the answer to a stop, which tells no result")
        if not self.started and first.control == START:
            return first
        last = replace(_last_told(told), option=first.option)
        if last.control == START and last.name is not None and last.name.has_result:
            return _no_result(last, "started, and its result was never asked")
        return last if self.started else _no_result(last, f"{last.text}, of a run whose start is not in the capture")


def _last_told(told: Sequence[RoutineCall]) -> RoutineCall:
    """The last call; the last result that was told where only the request for it was refused behind that.

    A request that the module does not have is no part of a run, unless names say that there is a result to ask for.
    """
    known = [call for call in told if call.control == START or not _has_no_results(call)]
    last = (known or told)[-1]
    if last.status is Status.REFUSED and last.control == RESULT and _is_about_the_request(last.exchange):
        results = [call for call in told if call.control == RESULT and call.status in (Status.GOOD, Status.BAD)]
        return results[-1] if results else last
    return last


def _has_no_results(call: RoutineCall) -> bool:
    return call.exchange.nrc in HAS_NO_RESULTS and not (call.name is not None and call.name.has_result)


def _is_about_the_request(refused: Exchange) -> bool:
    """No code of the memory or of the act itself, as 72 is."""
    return nrcs(refused.dialect)[refused.nrc or 0].group in BEFORE_IT_BEGAN


def _no_result(call: RoutineCall, why: str) -> RoutineCall:
    """A call whose status proves nothing, by names or by custom; one that is bad stays bad."""
    if call.status not in (Status.GOOD, Status.UNKNOWN):
        return call
    return replace(call, status=Status.UNKNOWN, text=why, status_bytes=b"")


def _mute(call: RoutineCall) -> bool:
    """Asked not to answer, and it did not refuse."""
    return call.exchange.outcome is Answer.SUPPRESSED


def runs_of(calls: Iterable[RoutineCall], story: Story) -> list[RoutineRun]:
    """The calls of each run together, runs in order of their first call.

    A run ends with the next start of its routine, and where the module lets go of everything that it was told. One
    that was started with an option (a block, a cylinder) goes on beside those with others: what asks for its result
    with that option is about it, whichever was started last. A start that is refused ends none that still runs.
    """
    runs: list[list[RoutineCall]] = []
    latest: dict[int, list[RoutineCall]] = {}
    by_option: dict[tuple[int, bytes], list[RoutineCall]] = {}
    for call in calls:
        asked = by_option.get((call.identifier, call.option)) if call.option else None
        run = asked or latest.get(call.identifier)
        if run is None or not _goes_on(run, call) or _has_let_go(story, run[-1].exchange, call.exchange):
            run = latest[call.identifier] = by_option[call.identifier, call.option] = []
            runs.append(run)
        run.append(call)
    return [RoutineRun(tuple(run)) for run in runs]


def _goes_on(run: Sequence[RoutineCall], call: RoutineCall) -> bool:
    """The call may be about the run: it starts none of its own, and asks for no other option of the same length."""
    option, other = run[0].option, call.option
    if call.control == START:
        return option == other and call.status is Status.REFUSED and _still_runs(run[-1])
    return option == other or len(option) != len(other)


def _still_runs(call: RoutineCall) -> bool:
    """As far as its answer shows: it said so, or only that the routine was started."""
    return call.status is Status.RUNNING or (call.status is Status.UNKNOWN and not call.status_bytes)


def _has_let_go(story: Story, before: Exchange, now: Exchange) -> bool:
    """It started anew, or went back to its default session (ISO 14229-1:2020, 10.2 (M))."""
    if now.capture != before.capture:
        return False  # what happened between two captures is not shown
    start = story.start_after(before.end)
    if start is not None and start.place < now.begin:
        return True
    was_open = story.before(before).session not in (None, DEFAULT_SESSION)
    between = (item for item in story.between(before.end, now.begin) if item.positive) if was_open else ()
    return any(item.session == DEFAULT_SESSION for item in between)


#: Said of an erase, and of a download, whose answer is missing or was not wanted.
ASKED_TO_BE_ERASED = "memory was asked to be erased (whether it was is not shown)"
DOWNLOAD_ASKED = "a download was asked for (whether it was taken is not shown)"


def read_call(exchange: Exchange, label: str, names: Names) -> RoutineCall | None:
    """The routine call in an exchange; None when it is not one or holds no identifier."""
    if exchange.act is not Act.ROUTINE:
        return None
    asked = routine_asked(exchange.told, exchange.dialect)
    if asked is None:
        return None
    name = names.routine(label, asked.identifier)
    status_bytes = exchange.answered[asked.head :] if exchange.positive else b""
    status, text = _status(exchange, asked.control, status_bytes, name)
    option = exchange.asked[asked.head :]
    return RoutineCall(exchange, asked.control, asked.identifier, option, status_bytes, status, text, name)


def _status(exchange: Exchange, control: int, status: bytes, name: RoutineName | None) -> tuple[Status, str]:
    if exchange.outcome is Answer.NEGATIVE:
        if control == RESULT and not nrcs(exchange.dialect)[exchange.nrc or 0].is_final:
            return Status.RUNNING, exchange.refusal  # the tester is to ask again: the result is not there yet
        return Status.REFUSED, f"refused with {exchange.nrc or 0:02X}"
    if exchange.outcome is Answer.SUPPRESSED:
        return Status.UNKNOWN, "asked for without an answer, and not refused"
    if not exchange.positive:
        return Status.OPEN, "no final answer"
    if name is not None and (meaning := name.judge(status)) is not None:
        if meaning.word is StatusWord.SAYS:
            return (
                Status.UNKNOWN,
                f'status {status.hex().upper()}, called "{meaning.text}"; whether that is good is not said',
            )
        return Status(meaning.word.value), meaning.text or meaning.word.value
    if status:
        return Status.UNKNOWN, f"status {status.hex().upper()}, of which nothing says what it means"
    return Status.UNKNOWN, "accepted, without a status"


def erase_behind(place: Place, story: Story, names: Names) -> Exchange | None:
    """The erase behind a place that was not refused and went furthest: what was read there may be gone.

    Trims and configuration survive the erase of an application in some modules and not in others (common practice,
    no source): they must be read again. A download that was taken counts like one, because in front of it memory was
    erased, by a routine of the maker's or by the download itself.
    """
    return furthest([item for item in story.after(place) if _may_erase(item, story, names)])


def furthest(erases: Sequence[Exchange]) -> Exchange | None:
    """The first that was accepted, else the first that was begun, else the first."""
    return min(erases, key=lambda one: (not one.positive, not one.pendings), default=None)


def told_erase(erase: Exchange) -> str:
    """What an erase that was not refused did, as far as it is shown; or a download, where another step erases."""
    if erase.act is Act.DOWNLOAD and traits_of(erase.dialect).erases:
        if has_begun(erase):
            return f"a download was {'accepted' if erase.positive else 'begun'}"
        return DOWNLOAD_ASKED
    if erase.positive:
        return "memory was erased"
    return "an erase of memory was begun" if erase.pendings else ASKED_TO_BE_ERASED


def _may_erase(exchange: Exchange, story: Story, names: Names) -> bool:
    if exchange.act is Act.DOWNLOAD:
        return has_begun(exchange)
    call = read_call(exchange, story.label, names)
    return call is not None and call.kind == "erase" and call.status is not Status.REFUSED


def has_begun(erase: Exchange) -> bool:
    """The module took the erase up: it asked for time, or said that it is done."""
    return erase.positive or bool(erase.pendings)


def is_untouched(erase: Exchange) -> bool:
    """The erase was refused at once, for a reason that lies before it: no code of the memory itself, as 72 is."""
    if erase.outcome is not Answer.NEGATIVE or erase.pendings or erase.nrc is None:
        return False
    return nrcs(erase.dialect)[erase.nrc].group in BEFORE_IT_BEGAN


def last_erase(story: Story, names: Names) -> Exchange | None:
    """The last erase or download that a module may have begun, whatever it said in the end."""
    asked = (item for item in reversed(story.own) if has_begun(item) or item.nrc is None)
    return next((item for item in asked if _erases(item, story, names)), None)


def _erases(exchange: Exchange, story: Story, names: Names) -> bool:
    if exchange.act is Act.DOWNLOAD:
        return True
    call = read_call(exchange, story.label, names)
    return call is not None and call.kind == "erase" and call.control == START
