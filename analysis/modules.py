"""What each module is now, and whether the job may be tried again.

Read from the last signs of it; a guess is never made from silence alone where the capture simply ends.
Source: common practice, no source; the vehicle maker's service information decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum
from itertools import takewhile

from analysis.breaks.silence import Silent, who_fell_silent
from analysis.exchanges import Answer, Exchange
from analysis.modes import Sign, mode_now
from analysis.operations.clock_order import reversals
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, evidence
from analysis.operations.routines import last_erase, told_erase
from analysis.record import Record
from analysis.requests_said import requests_of
from analysis.story import Mode, Story, module_id
from analysis.trust.one_way import BOTH_WAYS
from analysis.trust.record_gaps import SURELY_NS
from analysis.words import BROKEN, Evidence, Word
from canlog.isotp.addressing import Direction
from canlog.services.traits import PROGRAMMING_SESSION, Act

LOCKED_OUT = frozenset({0x36, 0x37})
TAKEN = (Answer.POSITIVE, Answer.SUPPRESSED)

KEEP_POWER = "Do not switch off, unplug or reset the module while its memory is not whole."
#: The same where nothing shows that the memory is not whole.
KEEP_AS_IS = "Do not switch off, unplug or reset the module before the cause is known."
#: The same where the recording ends before the programming does: its next step may be still to come.
KEEP_IN_SESSION = "Do not switch off, unplug or reset the module in the middle of its programming."
NO_BLIND_RETRY = "Do not try again before the cause is known: each try erases, and wrong keys are counted."
MAKER_DECIDES = "The vehicle maker's service information decides."

#: So many requests without an answer are shown one by one.
FEW = 3
#: What to do where the other direction was not recorded: nothing that writes.
HALF_ADVICE = {
    way: f"Of this module only {told} were recorded, so nothing can be said of it: {BOTH_WAYS}."
    for way, told in ((Direction.REQUEST, "requests"), (Direction.RESPONSE, "answers"))
}
HALF_CAUTIONS = (NO_BLIND_RETRY, MAKER_DECIDES)


class Now(StrEnum):
    """What runs in a module."""

    APPLICATION = "application"
    BOOT = "boot"
    SILENT = "silent"
    UNKNOWN = "unknown"


class Retry(StrEnum):
    """May it be tried again."""

    NOT_NEEDED = "not-needed"
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
    """The state of every module that was spoken to, in order of first appearance; one for all its testers."""
    by_module: dict[tuple[str, int], list[Story]] = {}
    for story in record.stories:
        if story.own:
            by_module.setdefault((story.link.channel, module_id(story.link.key)), []).append(story)
    found = []
    for stories in by_module.values():
        links = {story.link.key for story in stories}
        main = max(stories, key=lambda story: len(story.own))
        found.append(_judge(main, [item for item in operations if item.link.key in links], record))
    return found


def _judge(story: Story, operations: Sequence[Operation], record: Record) -> ModuleState:
    own = story.own
    half = record.one_way.get((own[-1].capture, story.link.key))
    valid = standing(operations)
    downloads = [item for item in valid if item.kind is Kind.DOWNLOAD and not item.details["driver"]]
    unfinished = [item for item in downloads if item.outcome.word in BROKEN]
    done = [item for item in valid if item.part is not None]
    if half is not None:
        now, shown = _now_of_half(story, record, half)
        return ModuleState(story, now, Retry.UNKNOWN, HALF_ADVICE[half], HALF_CAUTIONS if done else (), tuple(shown))
    now, shown = _now(story, unfinished, record)
    for step in reversals(record, operations):
        if step.leaves_open(own[-1]):
            now, shown = Now.UNKNOWN, [Evidence(step.place[0], (step.place[1],), step.text)]
    if now is Now.SILENT and not (done or story.named or _was_heard(own)):
        shown = []  # an address that a scan went by: the finding about all of them has the lines
    is_open = now is Now.UNKNOWN and bool(downloads) and story.at_the_end.session == PROGRAMMING_SESSION
    retry, advice = _advice(now, own, downloads, unfinished, done, is_open=is_open)
    cautions = _cautions(now, unfinished, is_open=is_open) if done or now is Now.BOOT else ()
    return ModuleState(story, now, retry, advice, cautions, tuple(shown))


def _now(story: Story, unfinished: Sequence[Operation], record: Record) -> tuple[Now, list[Evidence]]:
    own, last = story.own, story.own[-1]
    silent = who_fell_silent(story, record)
    if silent is Silent.EVERYTHING and (unfinished or last.outcome in (Answer.SILENT, Answer.INCOMPLETE)):
        return Now.UNKNOWN, [evidence(last, "everything fell silent here, and it was not asked since")]
    if silent is Silent.MODULE:
        return Now.SILENT, list(_in_vain(own, record))
    mode, signs = mode_now(story)
    if mode is Mode.BOOT and _lies_before_a_hole(signs[-1], last, record):
        text = "it answers behind a hole in the recording, in which it may have been restarted"
        return Now.UNKNOWN, [evidence(last, text)]
    behind = [sign.evidence for sign in signs]
    state = story.before(last)
    if state.session == PROGRAMMING_SESSION and not state.boot and _left_in_programming(story, own):
        if any(item.details["erased"] and item.end[0] == last.capture for item in unfinished):
            return Now.BOOT, [_half_programmed(own)]
        return Now.UNKNOWN, [evidence(last, "last seen in its programming session")]
    erased = last_erase(story, record.names)
    if mode is Mode.APPLICATION and erased is not None and erased.end > signs[-1].place:
        return _erased_since(erased, own, unfinished)
    if mode is Mode.APPLICATION:
        return Now.APPLICATION, behind
    if mode is Mode.BOOT and not unfinished and _is_as_asked(story, own, signs):
        text = "in its programming session when the recording ends: what runs afterwards is not shown"
        return Now.UNKNOWN, [evidence(last, text)]
    if mode is Mode.BOOT:
        return Now.BOOT, [sign.evidence for sign in signs if erased and sign.place > erased.end] or behind
    return Now.UNKNOWN, [evidence(last, "last heard here, without a sign of what program speaks")]


def _lies_before_a_hole(sign: Sign, last: Exchange, record: Record) -> bool:
    """Nothing was recorded for a while behind the sign, and the module answered again behind that."""
    capture = record.capture(last.capture)
    holes = [gap for gap in capture.silences if gap.length_ns >= SURELY_NS]
    return last.response is not None and any(
        sign.place < (last.capture, gap.to_line) and last.begin >= (last.capture, gap.to_line) for gap in holes
    )


def _is_as_asked(story: Story, own: Sequence[Exchange], signs: Sequence[Sign]) -> bool:
    """Its boot loader runs because the tester asked for the programming session, and nothing else is known since."""
    if story.before(own[-1]).session != PROGRAMMING_SESSION:
        return False
    entered = [item for item in own if item.session == PROGRAMMING_SESSION and item.outcome in TAKEN]
    start = story.start_after(entered[-1].begin) if entered else None
    return start is not None and all(sign.place <= start.place for sign in signs)


def _in_vain(own: Sequence[Exchange], record: Record) -> Iterator[Evidence]:
    """The requests behind its last answer; many of them in one line."""
    answered = [at for at, item in enumerate(own) if item.response is not None]
    since = own[answered[-1] + 1 :] if answered else own
    unanswered = [item for item in since if item.outcome is Answer.SILENT] or [
        item for item in own if item.outcome is Answer.SILENT
    ]
    start = record.capture(own[-1].capture).survey.summary.first_time_ns
    if len(unanswered) <= FEW or start is None or unanswered[0].capture != own[-1].capture:
        yield from (evidence(item, "asked, and no answer came") for item in unanswered[-FEW:])
        return
    first, last = (seconds_text(item.begin_ns - start) for item in (unanswered[0], unanswered[-1]))
    text = f"asked {len(unanswered)} times from {first} to {last} s, and no answer came"
    yield Evidence(own[-1].capture, tuple(item.lines[0] for item in unanswered), text)


def seconds_text(span_ns: int) -> str:
    """``7.4``: seconds with one digit, by integer arithmetic."""
    tenths = span_ns // 100_000_000
    return f"{tenths // 10}.{tenths % 10}"


def _erased_since(
    erase: Exchange, own: Sequence[Exchange], unfinished: Sequence[Operation]
) -> tuple[Now, list[Evidence]]:
    """What was heard of the application in front of an erase says nothing of what is there behind it."""
    if any(item.details["erased"] for item in unfinished):
        return Now.BOOT, [_half_programmed(own)]
    return Now.UNKNOWN, [evidence(own[-1], f"nothing is heard of the application since {told_erase(erase)}")]


def _half_programmed(own: Sequence[Exchange]) -> Evidence:
    """What runs is what programs: the memory for anything else was erased and not filled."""
    heard = [item for item in own if item.response is not None or item.pendings][-1]
    line = heard.end[1]
    text = f"in programming, the application erased and not whole again; the module answered until line {line}"
    return evidence(heard, text)


def _now_of_half(story: Story, record: Record, half: Direction) -> tuple[Now, list[Evidence]]:
    """What the module says of itself without being asked: start messages, then its cyclic messages."""
    told = "requests" if half is Direction.REQUEST else "answers"
    mode, signs = mode_now(story)
    cyclic = _cyclic_at_the_end(story, record)
    if mode is not Mode.UNKNOWN:
        return Now(mode.value), [*(sign.evidence for sign in signs), *cyclic]
    if cyclic:
        return Now.APPLICATION, cyclic
    return Now.UNKNOWN, [evidence(story.own[-1], f"only {told} were recorded")]


def _cyclic_at_the_end(story: Story, record: Record) -> list[Evidence]:
    """Cyclic messages that names give to the module and that go on to the end of the last capture.

    They come from the application; boot loaders send none, as a rule (common practice, no source).
    """
    named = record.names.module(story.label)
    capture = record.captures[-1]
    end = capture.survey.summary.last_time_ns
    if named is None or end is None:
        return []
    found = []
    for can_id, _ in named.cyclic:
        seen = capture.survey.background.of(story.link.channel, can_id)
        if seen is not None and end - seen.last_ns <= record.limits.module_silent_ns:
            text = f"its cyclic message {can_id:X} goes on to the end"
            found.append(Evidence(capture.number, (int(seen.last_line),), text))
    return found


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
    done: Sequence[Operation],
    *,
    is_open: bool,
) -> tuple[Retry, str]:
    keys = [item for item in own if item.act is Act.UNLOCK]
    if keys and keys[-1].nrc in LOCKED_OUT:
        return (
            Retry.NO,
            "Access is locked for a time: wait as the service information says, then unlock with the right key.",
        )
    if now is Now.SILENT and not _was_heard(own):
        return Retry.UNKNOWN, "Nothing answers at this address: the module may be absent, asleep, or have another id."
    if now is Now.SILENT:
        wake = requests_of(own[-1].dialect)["wake"]
        return _of_silent(own), (
            f"The module does not answer: leave it powered and listen for it, then ask it with {wake}; then "
            "measure its supply, ground and bus without unplugging it. Restart it only as the service information says."
        )
    if now is Now.BOOT:
        return Retry.WITH_CARE, (
            "Its boot loader answers, so it can usually be programmed again from the start of the sequence, with the "
            "supply supported, once the cause is known."
        )
    if _answers_later(now, own, unfinished):
        return Retry.WITH_CARE, (
            "Its programming broke off in one recording, and its application answers in a later one: compare its "
            "identification with what was meant before anything is programmed again."
        )
    is_whole = bool(unfinished) and all(item.details["untouched"] for item in unfinished)
    if is_whole and now is Now.APPLICATION and len(downloads) > len(unfinished):
        return Retry.WITH_CARE, (
            "The try that was refused touched nothing, and the programming before it stands: find out what else was "
            "meant before anything is programmed again."
        )
    if unfinished:
        return Retry.WITH_CARE, (
            "Programming is not complete: first see whether the module answers and find the cause, then start the "
            "whole sequence again with the supply supported."
        )
    if now is Now.APPLICATION:
        return _of_application(done)
    if downloads and all(item.outcome.word is Word.CONFIRMED for item in done):
        return Retry.NOT_NEEDED, "What was done to it is confirmed: no new programming is needed."
    if downloads and is_open:
        return Retry.WITH_CARE, (
            "Its programming session is open when the recording ends. Look for the rest of the recording; if there is "
            "none, end the programming as the service information says, and read its identification only then."
        )
    if downloads:
        return Retry.WITH_CARE, "Read its identification after an ignition cycle before anything is tried again."
    return (
        Retry.UNKNOWN,
        "The capture does not show what runs in the module: ask for its identification and capture that.",
    )


def is_answered_later(state: ModuleState, unfinished: Sequence[Operation]) -> bool:
    """Its downloads broke off in one recording, and the application answers in a later one: it may be whole."""
    return _answers_later(state.now, state.story.own, unfinished)


def is_heard_since(own: Sequence[Exchange], done: Operation) -> bool:
    """Another recording of the job shows what became of it."""
    return own[-1].capture > done.end[0]


def _answers_later(now: Now, own: Sequence[Exchange], unfinished: Sequence[Operation]) -> bool:
    is_open = all(item.outcome.word is Word.INTERRUPTED and is_heard_since(own, item) for item in unfinished)
    return now is Now.APPLICATION and bool(unfinished) and is_open


def _of_silent(own: Sequence[Exchange]) -> Retry:
    """One request without an answer is little: nobody asked again, so whether it still answers is not shown."""
    since = takewhile(lambda item: item.response is None, reversed(own))
    in_vain = sum(1 + item.repeats for item in since if item.outcome is Answer.SILENT)
    return Retry.NO if in_vain > 1 else Retry.UNKNOWN


def _of_application(done: Sequence[Operation]) -> tuple[Retry, str]:
    """It runs: whether anything is left to do depends on what was done."""
    words = {item.outcome.word for item in done}
    if not words:
        return Retry.YES, "The module answers; nothing was changed in it."
    if words & set(BROKEN):
        return Retry.YES, "The application answers."
    if Word.UNPROVEN in words:
        return Retry.NOT_NEEDED, "The application answers, no new programming is needed: first read what is not proven."
    return Retry.NOT_NEEDED, "The application answers, and what was done to it is confirmed."


def _was_heard(own: Sequence[Exchange]) -> bool:
    """The module said something at some time."""
    return any(item.response is not None or item.pendings for item in own)


def _cautions(now: Now, unfinished: Sequence[Operation], *, is_open: bool) -> tuple[str, ...]:
    """What not to do; what to do first, such as a support unit, stands in the next steps."""
    if now is Now.SILENT and not unfinished:
        return (KEEP_AS_IS, MAKER_DECIDES)
    if now is not Now.BOOT and unfinished and all(item.details["untouched"] for item in unfinished):
        return (KEEP_AS_IS, NO_BLIND_RETRY, MAKER_DECIDES)
    if now is Now.BOOT or unfinished:
        return (KEEP_POWER, NO_BLIND_RETRY, MAKER_DECIDES)
    return (KEEP_IN_SESSION, MAKER_DECIDES) if is_open else ()
