"""What to do next: at most three things, the most urgent first, each once; then what the sheet still misses.

Order: what has to be settled before anything is believed, what keeps a module alive, why it broke off, doing it
again, values that are wrong, proofs that are missing, better recordings. Nothing is asked for that another capture
of the job holds: every step is made from the state at the end of all captures.
Source: common practice, no source; the vehicle maker's service information decides.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from typing import Final, NamedTuple

from analysis.answer.advice import (
    CAUSES,
    CAUSES_BY_CODE,
    TABLE,
    Rank,
    Step,
    case_of,
    code_of,
    module_of,
    sentence,
    starts_with_a_verb,
)
from analysis.breaks.silence import said_out_of_reach
from analysis.checks.finding import Finding
from analysis.exchanges import Exchange
from analysis.modules import ModuleState, Now, Retry, is_answered_later, is_heard_since
from analysis.operations.clock_order import reversals
from analysis.operations.fault_memory import ALL_BITS
from analysis.operations.find import standing
from analysis.operations.identification import read_behind, telling_identifiers
from analysis.operations.model import Kind, Operation, Part
from analysis.operations.read_back import NOTHING
from analysis.operations.routine import ASK_RESULT
from analysis.readings import Reading, said_identifiers
from analysis.record import Record
from analysis.requests_said import dialects_of, requests_of
from analysis.sheet.expectations import Expectation
from analysis.supply import supply_readings
from analysis.words import BROKEN, Confidence, Severity, Word
from canlog.names.nrc import NrcGroup, nrcs
from canlog.names.value_layout import FILL
from canlog.services.traits import PROGRAMMING_SESSION

MOST_STEPS: Final = 3
ONE_READING: Final = re.compile(r"Read the (?P<what>.+) of (?P<module>\S+) after an ignition cycle and capture it\.")
TRANSFERS: Final = (Kind.DOWNLOAD, Kind.FILE)
WRITES_LOST: Final = frozenset({"trims-read-back-differs", "write-not-taken", "trims-lost-after-reset"})
LOCKED: Final = frozenset({"attempts-exceeded", "unlock-delay-running"})
#: When programming may be tried again: never blindly (the caution beside it says so), and not while access is locked.
BEHIND_ITS_CAUSE: Final = ("once the cause is known", "once access is granted again")
#: The same where the recording ended first and may have missed the rest.
ONLY_IF_OPEN: Final = "only if that shows that the programming did not end"
FIND_OUT: Final = "Find out why programming {m} failed"
MEASURE_SUPPLY: Final = "Measure the supply at {m} under load, and bring it into the limits of the service information"
LOW_SUPPLY: Final = frozenset({"voltage-too-low", "voltage-falls"})
#: Parts of the job that leave values in a module, which a reading tells.
HELD: Final = (Part.PROGRAMMING, Part.TRIMS, Part.VIN)
#: Findings in the order of the table: of two about the same values the first one speaks.
ORDER: Final = {one: number for number, one in enumerate(TABLE)}
NO_TALK: Final = "Record again at the diagnostic connector, from before the tester's first request to after its last."
ADD_RECORDING: Final = (
    "Read this recording together with the one in which the job was done (the module may hold it already), and do only "
    "what neither shows"
)
WRITE_DOWN: Final = "Write down the values read here before the module leaves."
BOTH_WAYS: Final = (
    "Read identification, trims and fault memory now, recorded where requests and answers both pass; do not repeat the "
    "job for the sake of a recording."
)


class Job(NamedTuple):
    """What is known at the end of all captures."""

    record: Record
    operations: Sequence[Operation]
    modules: Sequence[ModuleState]
    expectations: Sequence[Expectation]
    findings: Sequence[Finding]
    overall: Word

    @property
    def attempted(self) -> bool:
        """A part of the job was begun."""
        return any(item.part is not None for item in self.operations)


def next_steps(job: Job, wishes: Sequence[str], missing: Sequence[str]) -> tuple[str, ...]:
    """At most :data:`MOST_STEPS` sentences, and one more for what the sheet asks and no capture shows.

    Args:
        job: everything found.
        wishes: what would change the words of the parts that were attempted; said where nothing else is.
        missing: parts that the sheet asks for and no capture shows, as people call them.
    """
    if not job.record.exchanges:
        return (NO_TALK,)
    if is_one_sided(job):
        return (BOTH_WAYS,)
    found = [*_open_order(job), *_halves(job), *_plan(_without_halves(job))]
    planned = sorted(found, key=lambda step: step.rank) or _wished(wishes)
    steps = tuple(_readings_together(dict.fromkeys(step.text for step in planned)))[:MOST_STEPS]
    if not missing or any(step.rank is Rank.FIRST for step in planned):
        return steps
    if any(item.may_be_done and _is_behind(item, steps) for item in job.expectations):
        return (*steps, f"{ADD_RECORDING}: {', '.join(missing)}.")
    if WRITE_DOWN in steps:
        return (*steps, f"Do the job itself on the module that stays, or on the new one: {', '.join(missing)}.")
    return (*steps, f"Do what the job sheet asks and no capture shows yet: {', '.join(missing)}.")


def _is_behind(item: Expectation, steps: Sequence[str]) -> bool:
    """The recording was made behind the job: a VIN alone reads as asked in the old module as well."""
    return item.part is Part.PROGRAMMING or WRITE_DOWN not in steps


def _readings_together(texts: Iterable[str]) -> list[str]:
    """Readings of one module after an ignition cycle are one step, where the first of them stands."""
    found: list[str] = []
    places: dict[str, int] = {}
    for text in texts:
        match = ONE_READING.fullmatch(text)
        if match is None:
            found.append(text)
        elif match["module"] not in places:
            places[match["module"]] = len(found)
            found.append(text)
        else:
            at = places[match["module"]]
            earlier = ONE_READING.fullmatch(found[at])
            what = f"{earlier['what']}, {match['what']}" if earlier else match["what"]
            found[at] = f"Read the {what} of {match['module']} after an ignition cycle and capture it."
    return found


def _wished(wishes: Iterable[str]) -> list[Step]:
    """What would change the words, or that nothing would have to."""
    return [Step(Rank.PROOF, sentence(text)) for text in wishes if starts_with_a_verb(text) or text.startswith(NOTHING)]


def is_one_sided(job: Job) -> bool:
    """Of every module only one direction was recorded."""
    alone = {(item.capture, item.link.key) for item in job.record.exchanges if not _is_to_all(item)}
    return bool(alone) and alone <= set(job.record.one_way)


def _is_to_all(item: Exchange) -> bool:
    return item.functional or item.link.functional


def _without_halves(job: Job) -> Job:
    """The job without modules of which only one direction was recorded: nothing is advised from half a talk."""
    half = {key for _, key in job.record.one_way}
    return job._replace(
        operations=[item for item in job.operations if item.link.key not in half],
        modules=[state for state in job.modules if state.story.link.key not in half],
        expectations=[item for item in job.expectations if item.link not in half],
        findings=[item for item in job.findings if item.id != "one-direction-only"],  # said by the step about halves
    )


def half_heard(job: Job) -> list[str]:
    """Modules of which only one direction was recorded."""
    half = {key for _, key in job.record.one_way}
    return list(dict.fromkeys(state.story.label for state in job.modules if state.story.link.key in half))


def _open_order(job: Job) -> Iterator[Step]:
    """The clock leaves open which attempt came last: the module itself knows."""
    for label in open_orders(job):
        yield Step(Rank.FIRST, f"Read the identification of {label} now: it settles which of the attempts came last.")


def open_orders(job: Job) -> dict[str, str]:
    """The modules of which the clock leaves open what came last, with what is said of that."""
    found = {}
    for state in job.modules:
        acts = [item for item in job.operations if item.link.key == state.story.link.key]
        for step in reversals(job.record, acts)[:1]:
            found[state.story.label] = step.text
    return found


def without_open_values(job: Job) -> Job:
    """The job without what was found of values where nobody knows which reading is the last."""
    open_at = open_orders(job)
    if not open_at:
        return job
    values = {one for one, advice in TABLE.items() if advice.rank is Rank.VALUE and advice.part in HELD}
    kept = [item for item in job.findings if item.id not in values or module_of(item, job.record) not in open_at]
    return job._replace(findings=kept)


def _halves(job: Job) -> Iterator[Step]:
    labels = half_heard(job)
    if labels:
        text = f"Record {', '.join(labels)} again where requests and answers both pass: one direction says nothing."
        yield Step(Rank.FIRST, text)


def _plan(job: Job) -> Iterator[Step]:
    for state in job.modules:
        yield from _module(job, state)
    yield from _advised(job)
    yield from _acts_that_failed(job)
    yield from _items_that_failed(job)
    yield from _proofs(job)
    yield from _explanations(job)
    broken = any(state.now is Now.BOOT for state in job.modules) or refused_sessions(job)
    if not job.attempted and _anything_read(job) and not _locked(job) and not broken:
        yield Step(Rank.REST, WRITE_DOWN)


# a module that is not whole


def _module(job: Job, state: ModuleState) -> Iterator[Step]:
    label, asked = state.story.label, requests_of(state.story.dialect)
    if state.now is Now.SILENT and not was_heard(state):
        if state.story.named:
            yield Step(
                Rank.SAFETY, f"Ask {label} with {asked['alive']} and look for its cyclic messages: it was never heard."
            )
            yield Step(Rank.CAUSE, f"Check supply, fuse and line of {label} before it is called dead.")
        return
    broken = unfinished(job, state)
    if state.now is Now.SILENT:
        if not is_ours(job, state):
            return
        yield from _silent(label, asked["wake"], said_out_of_reach(state.story), unfinished=bool(broken))
        return
    if is_answered_later(state, broken):
        yield from _compare_first(job, state, broken)
        return
    if broken and state.now is Now.APPLICATION and all(words_before(job, item) for item in broken):
        yield from _cause(job, state, broken)
        what = f"Program {label} again only if more was meant than the programming before it"
        yield Step(Rank.REDO, f"{what}: the try that was refused touched nothing.")
        return
    if state.now is Now.BOOT or broken:
        is_high = any(_is_cause(item, label, job.record) and item.id == "voltage-too-high" for item in job.findings)
        when = " only once the supply is down in its limits" if is_high else _low(job)
        support = f"Connect a support unit fit for programming{when}, and leave it on to the end."
        if not is_high:
            yield Step(Rank.SAFETY, support)
        yield from _cause(job, state, broken)
        if is_high:
            yield Step(Rank.CAUSE, support)
        when = f"{BEHIND_ITS_CAUSE[state.may_retry is Retry.NO]}, from the programming session, and capture all of it"
        when = ONLY_IF_OPEN if is_cut_short(job, state, broken) else when
        again = f"{label} again" if broken else label
        yield Step(Rank.REDO, f"Program {again} {when}.")


def _compare_first(job: Job, state: ModuleState, broken: Sequence[Operation]) -> Iterator[Step]:
    """Nobody programs a module again that may be whole: what lies between two recordings is not shown."""
    label, behind = state.story.label, broken[-1].end[0]
    readings = (item for item in job.record.readings(state.story) if item.exchange.capture > behind)
    told = {item.number: item for item in readings if item.tells_software and item.raw.strip(FILL)}
    values = ", ".join(f"{number} {item.text or item.raw.hex().upper()}" for number, item in told.items())
    what = (
        f"Compare what {label} says now, {values},"
        if told
        else f"Read the software identification of {label} and compare it"
    )
    yield Step(
        Rank.CAUSE, f"{what} with the file that was to be programmed: its application answers in a later recording."
    )
    yield Step(Rank.REDO, f"Program {label} again only if it is not what was meant, from the programming session.")


def _silent(label: str, wake: str, gone: str, *, unfinished: bool) -> Iterator[Step]:
    """In one order: listen, ask, measure, and only then restart."""
    yield Step(Rank.SAFETY, f"Leave {label} powered and listen, then ask it with {wake} at its own address.")
    why = gone or "restart it only as the service information says, if it stays silent"
    mark = ":" if gone else ";"
    yield Step(Rank.CAUSE, f"Measure supply, ground and bus at {label} without unplugging it{mark} {why}.")
    if unfinished:
        yield Step(
            Rank.REDO,
            f"Program {label} again once it answers and the cause is known, with a support unit connected, from the "
            f"programming session, and capture all of it.",
        )


def is_ours(job: Job, state: ModuleState) -> bool:
    """Somebody named it or did something to it: not merely an address that a scan went by."""
    return state.story.named or any(item.part is not None for item in _own(job, state))


def unfinished(job: Job, state: ModuleState) -> list[Operation]:
    """Downloads of a module that did not end well and were not tried again."""
    return [item for item in _own(job, state) if _is_transfer(item) and item.outcome.word in BROKEN]


def words_before(job: Job, refused: Operation) -> set[Word]:
    """The words of the programming in front of an attempt that touched nothing; empty where that left none whole."""
    same = [item for item in standing(job.operations) if item.link.key == refused.link.key]
    done = [item for item in same if item.part is Part.PROGRAMMING and item.number < refused.number]
    words = {item.outcome.word for item in done if not item.details.get("untouched")}
    return set() if not refused.details.get("untouched") or words & {*BROKEN} else words


def is_cut_short(job: Job, state: ModuleState, broken: Sequence[Operation]) -> bool:
    """The last recording of a module ends in the middle of the last of these: nobody is known to have failed."""
    if not broken or broken[-1].outcome.word is not Word.INTERRUPTED or is_heard_since(state.story.own, broken[-1]):
        return False
    ends = (shown for item in job.findings if item.id == "capture-ends-inside" for shown in item.evidence)
    left_open = (job.record.exchange_at((shown.capture, shown.lines[0])) for shown in ends)
    return any(item is not None and item.number in broken[-1].exchanges for item in left_open)


def is_left_in_programming(job: Job, state: ModuleState) -> bool:
    """Something was programmed, and the recording ends with neither a restart nor another session behind it."""
    is_done = any(_is_transfer(item) for item in _own(job, state))
    return is_done and state.story.at_the_end.session == PROGRAMMING_SESSION


def _own(job: Job, state: ModuleState) -> list[Operation]:
    return [item for item in standing(job.operations) if item.link.key == state.story.link.key]


def _is_transfer(item: Operation) -> bool:
    return item.kind in TRANSFERS and item.part is Part.PROGRAMMING


def _low(job: Job) -> str:
    """The last voltage read, where it was too low."""
    readings = supply_readings(job.record)
    if not readings or not any(item.id in LOW_SUPPLY for item in job.findings):
        return ""
    return f" ({readings[-1].volts:.1f} V was read at {readings[-1].label})"


def _cause(job: Job, state: ModuleState, broken: Sequence[Operation]) -> Iterator[Step]:
    """The most telling reason why it broke off."""
    label = state.story.label
    if is_cut_short(job, state, broken):
        yield Step(
            Rank.CAUSE,
            f"Look for the rest of the recording, or read the identification of {label} with the ignition left on and "
            f"capture that.",
        )
        return
    seen = {item.id: item for item in job.findings if _is_cause(item, label, job.record)}
    first = next((one for one in CAUSES if one in seen), "")
    text = CAUSES_BY_CODE.get((first, code_of(seen[first])), CAUSES[first]) if first else ""
    if text:
        yield Step(Rank.CAUSE, sentence(text.format(m=label)))
    elif not broken:
        yield Step(
            Rank.CAUSE,
            f"Look for the recording of the last programming of {label} and read both together, or find out whether "
            f"{label} is new: why its application does not run is not shown here.",
        )
    elif broken and broken[-1].outcome.word is Word.FAILED:
        look = MEASURE_SUPPLY if _is_of_supply(job, broken[-1]) else FIND_OUT
        yield Step(Rank.CAUSE, sentence(f"{look.format(m=label)}: {broken[-1].outcome.because[0]}"))


def _is_of_supply(job: Job, failed: Operation) -> bool:
    """Its last refusal speaks of the supply, by whatever code the dialect has for it."""
    refused = [job.record.exchanges[number - 1] for number in failed.exchanges]
    last = next((item for item in reversed(refused) if item.nrc is not None), None)
    return last is not None and nrcs(last.dialect)[last.nrc or 0].group is NrcGroup.VOLTAGE


def _is_cause(item: Finding, label: str, record: Record) -> bool:
    """A finding that may say why the programming of a module broke off."""
    return item.id in CAUSES and item.severity is not Severity.NOTE and module_of(item, record) in (label, "the module")


# what findings advise


def _advised(job: Job) -> Iterator[Step]:
    """One step for each finding of several modules, and one for each module and part."""
    told: set[tuple[str, Part]] = set()
    speaking = [item for item in job.findings if _speaks(job, item)]
    for finding_id in sorted({item.id: None for item in speaking}, key=lambda one: ORDER.get(one, 0)):
        same = [item for item in speaking if item.id == finding_id]
        advice = TABLE.get(finding_id)
        if advice is None:
            yield from (step for item in same for step in _own_words(item))
            continue
        modules = [module_of(item, job.record) for item in same]
        part = advice.part
        new = [at for at, module in enumerate(modules) if part is None or (module, part) not in told]
        if new:
            named = ", ".join(dict.fromkeys(modules[at] for at in new))
            more = f" (and {len(new) - 1} more)" if len(new) > 1 else ""
            case = case_of(same[new[0]], modules[new[0]])
            asked = requests_of(*dialects_of((one for at in new for one in same[at].evidence), job.record))
            step = same[new[0]].try_next[0].rstrip(".")
            yield Step(advice.rank, sentence(f"{advice.text.format(m=named, case=case, step=step, **asked)}{more}"))
        told |= {(module, part) for module in modules if part is not None}


def _speaks(job: Job, item: Finding) -> bool:
    always = item.id in TABLE and TABLE[item.id].always
    warns = item.severity is Severity.WARNING and job.overall is not Word.CONFIRMED
    return always or item.severity is Severity.SERIOUS or (warns and item.id in TABLE)


def _has_step_by_state(item: Finding) -> bool:
    """What :func:`_module` says from the state of the module."""
    return item.id in ("boot-mode-only", "silence-module-first", "silence-in-erase", "reset-no-return")


def _own_words(item: Finding) -> Iterator[Step]:
    if item.id in CAUSES or _has_step_by_state(item):
        return
    said = next((text for text in item.try_next if starts_with_a_verb(text)), None)
    if said is not None:
        yield Step(Rank.FIRST if item.comes_first else Rank.VALUE, said)


# acts and items that failed, where no finding says more


def _acts_that_failed(job: Job) -> Iterator[Step]:
    told = _parts_told(job)
    failed = [
        item for item in standing(job.operations) if item.outcome.word in BROKEN and item.part not in (None, *told)
    ]
    for item in refused_sessions(job):
        yield Step(Rank.CAUSE, f"Find out why {item.label} refused its programming session: {item.outcome.because[0]}.")
    for label, items in _by_module(item for item in failed if item.kind is Kind.WRITE):
        yield from _write_again(job, label, items)
    running = [item for item in failed if item.outcome.would_change.startswith(ASK_RESULT)]
    for label, items in _by_module(running):
        result = requests_of(_dialect(job, items[0]))["result"]
        text = f"Ask {label} for the result of routine {_routines(items)} ({result})"
        yield Step(Rank.CAUSE, f"{text} before anything is reset or run again.")
    for label, items in _by_module(item for item in failed if item.kind is Kind.ROUTINE and item not in running):
        reason = items[0].outcome.because[0].partition(": ")[2]
        text = f"Find out why routine {_routines(items)} of {label} failed ({reason}), and run it again only as the"
        yield Step(Rank.VALUE, f"{text} service information says: parts may move.")
    for label, items in _by_module(item for item in failed if item.kind is Kind.CLEAR):
        yield Step(Rank.PROOF, _clear_again(label, _refusal(job, items[-1])))


def _write_again(job: Job, label: str, writes: Sequence[Operation]) -> Iterator[Step]:
    """What was refused behind its cause; what was not answered only where a reading shows that it is not there."""
    unheard = [item for item in writes if item.outcome.word is Word.INTERRUPTED]
    refused = [item for item in writes if item not in unheard and _refusal(job, item)]
    if refused:
        text = (
            f"Find out why {label} refused the write of {_identifiers(refused)} ({_refusal(job, refused[0])}), then "
            f"write it once and read it after an ignition cycle"
        )
        is_vin = any(item.part is Part.VIN for item in refused)
        yield Step(Rank.VALUE, text + (": some modules take a VIN only once." if is_vin else "."))
    if unheard:
        text = f"Read {_identifiers(unheard)} of {label} after an ignition cycle, and write it again only if it is not"
        yield Step(Rank.VALUE, f"{text} what was to be written: the write was not answered.")
    if differs := [item for item in writes if item not in (*refused, *unheard)]:
        text = f"Find out why {label} reads differently from what was written to {_identifiers(differs)}"
        yield Step(Rank.VALUE, f"{text}, before anything is written again.")


def _clear_again(label: str, refusal: str) -> str:
    if refusal:
        text = f"Find out why {label} refused to clear its fault memory ({refusal}), then clear it, read it and"
        return f"{text} capture that."
    return f"Read the fault memory of {label} and capture that before it is cleared again: the clear was not answered."


def _refusal(job: Job, item: Operation) -> str:
    """``22 a condition for this action is not met``: the code that ended it; empty where none did."""
    own = [job.record.exchanges[number - 1] for number in item.exchanges]
    return next((one.refusal for one in reversed(own) if one.nrc is not None and one.act is own[0].act), "")


def _routines(runs: Iterable[Operation]) -> str:
    return ", ".join(str(item.details["identifier"]) for item in runs)


def refused_sessions(job: Job) -> list[Operation]:
    """Programming sessions that were refused, where nothing was done after all."""
    if job.attempted:
        return []
    asked = [item for item in standing(job.operations) if item.kind is Kind.SESSION and item.details["session"] == "02"]
    return [item for item in asked if item.outcome.word is Word.FAILED and item.outcome.because]


def _items_that_failed(job: Job) -> Iterator[Step]:
    """Items of the sheet that ask for something else than what was done well."""
    told = _parts_told(job)
    vins = [item for item in job.expectations if item.part is Part.VIN and item.word is Word.FAILED]
    if Part.VIN not in told and not any(item.id == "sheet-of-another-job" for item in job.findings):
        yield from (Step(Rank.VALUE, sentence(item.would_change)) for item in vins if item.would_change)
    for part in (Part.PROGRAMMING, Part.TRIMS):
        acts = {item.number for item in job.operations if item.outcome.word in BROKEN}
        items = [
            item
            for item in job.expectations
            if item.part is part and item.word is Word.FAILED and item.operation not in acts and part not in told
        ]
        if items:
            asked = "; ".join(item.item for item in items[:2]) + (f"; and {len(items) - 2} more" * (len(items) > 2))
            verb = "Choose the right file and program" if part is Part.PROGRAMMING else "Write"
            yield Step(Rank.VALUE, f"{verb} what the job sheet asks for: {asked}.")


def _parts_told(job: Job) -> set[Part | None]:
    """Parts of which a finding says what is wrong; a value that reads differently may be the VIN."""
    heavy = {item.id for item in job.findings if item.id in TABLE and item.severity is Severity.SERIOUS}
    return {TABLE[one].part for one in heavy} | ({Part.VIN} if heavy & WRITES_LOST else set())


# proofs that are missing


def _proofs(job: Job) -> Iterator[Step]:
    """What has to be read after an ignition cycle, in one step for each module."""
    for state in job.modules:
        if state.now in (Now.SILENT, Now.BOOT) or unfinished(job, state):
            continue
        own = _own(job, state)
        wanted = []
        if unread := [item for item in own if item.kind is Kind.WRITE and _wants_reading(item)]:
            wanted.append(_identifiers(unread))
        unproven = [item for item in own if _is_transfer(item) and item.outcome.word is Word.UNPROVEN]
        if unproven and not _is_identified(job, state):
            told = _told_since(unproven, state, job.record)
            if told and not job.expectations:
                values = ", ".join(f"{item.number} {item.text or item.raw.hex().upper()}" for item in told)
                text = f"Compare what {state.story.label} says now, {values}, with the file that was programmed"
                yield Step(Rank.PROOF, f"{text}, or give a job sheet (--job) that asks for it.")
            wanted += _identification(unproven, told, state, job.record)
        if is_left_in_programming(job, state):
            yield Step(Rank.PROOF, _rest_of(state.story.label, " and ".join(wanted)))
        elif wanted:
            text = f"Cycle the ignition, then read {' and '.join(wanted)} of {state.story.label} and capture that."
            yield Step(Rank.PROOF, text)
    yield from _learn_again(job)
    yield from _uncleared(job)


def _rest_of(label: str, wanted: str) -> str:
    """Nothing is restarted in the middle of a programming for the sake of a reading."""
    rest = f"Look for the rest of the recording: it ends in the programming session of {label}."
    end = "If there is none, end the programming as the service information says, and only then read"
    return f"{rest} {end} {wanted} and capture that." if wanted else rest


def _told_since(unproven: Iterable[Operation], state: ModuleState, record: Record) -> list[Reading]:
    """What the module says of the parts that are not proved, behind the restart; a blank says nothing."""
    found: dict[int, Reading] = {}
    for item in unproven:
        identifiers = telling_identifiers(_part_name(item), state.story, record)
        for reading in read_behind(identifiers, item.end, state.story, record):
            if reading.raw.strip(FILL):
                found[reading.identifier] = reading
    return [found[one] for one in sorted(found)]


def _identification(
    unproven: Iterable[Operation], told: Sequence[Reading], state: ModuleState, record: Record
) -> list[str]:
    """``the software identification (F188, F1A0)``: what would tell what is not proved, where it was not read."""
    telling = {one for item in unproven for one in telling_identifiers(_part_name(item), state.story, record)}
    wanted = telling - {item.identifier for item in told}
    if not telling:
        return ["the software identification"]
    return [f"the software identification ({said_identifiers(wanted)})"] if wanted else []


def _part_name(item: Operation) -> str | None:
    name = item.details.get("name")
    return str(name) if name else None


def _learn_again(job: Job) -> Iterator[Step]:
    """What was learned with trims that are wrong or not shown to be stored is learned from them."""
    acts = standing(job.operations)
    learned = [item for item in acts if item.part is Part.LEARN and item.outcome.word is Word.CONFIRMED]
    words = {item.outcome.word for item in acts if item.part is Part.TRIMS and not _reads_as_written(item)}
    words |= {item.word for item in job.expectations if item.part is Part.TRIMS}
    if learned and (Part.TRIMS in _parts_told(job) or words & {*BROKEN, Word.UNPROVEN}):
        labels = ", ".join(dict.fromkeys(item.label for item in learned))
        text = f"Run the learn routine of {labels} again once the trims are right, then clear and read the fault memory"
        yield Step(Rank.REST, f"{text} (service information).")


def _reads_as_written(write: Operation) -> bool:
    """Not proven by rule, and still there: nothing is to be done about it."""
    return write.outcome.would_change.startswith(NOTHING)


def _uncleared(job: Job) -> Iterator[Step]:
    """Clears without a proof: read the memory, or, where it was read and holds codes, find their cause."""
    if any(item.id in ("fault-setting-not-restored", "dtc-returns") for item in job.findings):
        return
    clears = [item for item in standing(job.operations) if item.kind is Kind.CLEAR]
    unproven = [item for item in clears if item.outcome.word is Word.UNPROVEN or item.outcome.would_change == ALL_BITS]
    listed = [item for item in clears if item.outcome.would_change.startswith("find ")]
    unread = [item for item in unproven if item not in listed]
    for request in sorted({_list_wanted(job, item) for item in unread}):
        labels = ", ".join(dict.fromkeys(item.label for item in unread if _list_wanted(job, item) == request))
        yield Step(Rank.PROOF, f"Read the fault memory ({request}) of {labels} and capture that.")
    active = {module_of(item, job.record) for item in job.findings if item.id == "fault-active"}
    for item in listed:
        if item.label not in active:
            yield Step(Rank.VALUE, sentence(f"At {item.label} {item.outcome.would_change}"))


def _list_wanted(job: Job, clear: Operation) -> str:
    """The request that shows what became of a clear, as the operation names it: ``19 02 FF``."""
    found = re.search(r"\(([0-9A-F]{2}(?: [0-9A-F]{2})*)\)", clear.outcome.would_change)
    return found[1] if found else requests_of(_dialect(job, clear))["faults"]


def _dialect(job: Job, operation: Operation) -> str:
    return job.record.exchanges[operation.exchanges[0] - 1].dialect


def _is_identified(job: Job, state: ModuleState) -> bool:
    """The sheet's identification of this module was read and is the one asked for."""
    words = [
        item.word for item in job.expectations if item.part is Part.PROGRAMMING and item.link == state.story.link.key
    ]
    return bool(words) and all(word is Word.CONFIRMED for word in words)


def _wants_reading(item: Operation) -> bool:
    """Accepted and not read since, or read only in the same power cycle."""
    if item.part is None or not item.outcome.would_change.startswith("read "):
        return False
    weak = item.outcome.word is Word.CONFIRMED and item.outcome.confidence is not Confidence.HIGH
    return item.outcome.word is Word.UNPROVEN or weak


def _explanations(job: Job) -> Iterator[Step]:
    """Statuses that nothing explains."""
    unknown = [
        str(item.details["identifier"])
        for item in standing(job.operations)
        if item.kind is Kind.ROUTINE and item.part is not None and "names file" in item.outcome.would_change
    ]
    if unknown:
        routines = ", ".join(dict.fromkeys(unknown))
        yield Step(Rank.REST, f"Give a names file (--names) that says what the status of routine {routines} means.")
    if any(_is_transfer(item) and "names file" in item.outcome.would_change for item in standing(job.operations)):
        yield Step(Rank.CAUSE, "Give a names file (--names) that says what the status of the check means.")


def _anything_read(job: Job) -> bool:
    return any(job.record.readings(story) for story in job.record.stories)


def _locked(job: Job) -> bool:
    return any(item.id in LOCKED and item.severity is not Severity.NOTE for item in job.findings)


def was_heard(state: ModuleState) -> bool:
    """It said something at some time."""
    return any(item.response is not None or item.pendings for item in state.story.exchanges)


def _by_module(items: Iterable[Operation]) -> Iterator[tuple[str, list[Operation]]]:
    grouped: dict[str, list[Operation]] = {}
    for item in items:
        grouped.setdefault(item.label, []).append(item)
    yield from grouped.items()


def _identifiers(items: Iterable[Operation]) -> str:
    return said_identifiers(int(str(item.details["identifier"]), 16) for item in items)
