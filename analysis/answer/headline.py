"""One plain sentence that stands before everything else: what happened to which module.

The worst comes first: nothing to judge, a module that does not run, access refused, values that are wrong, a part
that failed, what is not proved; only then that all is well.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Final

from analysis.answer.advice import TABLE, case_of, inside, module_of
from analysis.answer.next_steps import (
    LOCKED,
    Job,
    half_heard,
    is_cut_short,
    is_left_in_programming,
    is_one_sided,
    is_ours,
    open_orders,
    refused_sessions,
    unfinished,
    was_heard,
    words_before,
)
from analysis.breaks.silence import said_out_of_reach
from analysis.checks.finding import Finding
from analysis.modules import ModuleState, Now
from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.outputs import controlled_outputs
from analysis.words import BROKEN, Severity, Word

#: The parts as people call them.
CALLED: Final[Mapping[Part, str]] = {
    Part.PROGRAMMING: "programming",
    Part.TRIMS: "trims and configuration",
    Part.VIN: "VIN",
    Part.FAULT_MEMORY: "fault memory",
    Part.LEARN: "learn routines",
}
#: The mark of a meaning that no published source at hand confirms: it stays with the evidence, where it is looked up.
FROM_MEMORY: Final = " (M)"
#: The state of a module at the end of a sentence.
#: "Required time delay not expired". ISO 14229-1:2020, annex A.1 (M).
DELAY_RUNNING: Final = 0x37
LEFT: Final[Mapping[Now, str]] = {
    Now.APPLICATION: "its application runs",
    Now.BOOT: "the application does not run; the boot loader answers",
    Now.SILENT: "the module does not answer",
    Now.UNKNOWN: "what runs in it now is not shown",
}
#: So many modules are called by their names.
MOST_MODULES: Final = 3
CUT_SHORT: Final = ", then the recording ends"
#: The same as the boot loader's entry of ``LEFT``, of the end of a recording that ends too early.
LEFT_IN_BOOT: Final = "only its boot loader answered"
#: What findings say shorter than the reasons of an operation.
ENDED: Final[Mapping[str, str]] = {
    "erase-failed": "the erase broke off",
    "erase-refused": "the erase was refused",
    "check-failed": "its own check says no",
    "silence-tester-first": "the tester fell silent in the middle",
}
#: Of these the one that breaks off an attempt without its being refused.
BREAKS_OFF: Final = "silence-tester-first"


def headline(job: Job, words: Mapping[Part, Word], lacking: Mapping[Part, str]) -> str:
    """The sentence; ``words`` of the parts of the job, ``lacking`` what of those that are shown in part is not."""
    said = next(text for text in _candidates(job, words, lacking) if text).replace(FROM_MEMORY, "")
    open_order = _open_order(job)
    return f"{open_order} {said}" if open_order else said


def _confirmed(job: Job) -> str:
    """Where it is open what came last, a later act may have undone an earlier one."""
    return "Each by itself confirmed" if _open_order(job) else "All confirmed"


def _open_order(job: Job) -> str:
    """What the clock leaves open comes before any word."""
    return next((f"{label}: {text}." for label, text in open_orders(job).items()), "")


def _candidates(job: Job, words: Mapping[Part, Word], lacking: Mapping[Part, str]) -> Iterator[str]:
    if not job.record.exchanges:
        yield f"No diagnostic talk is in this recording.{_what_else(job)}"
        return
    if is_one_sided(job):
        yield "Only one direction was recorded: what became of the job cannot be said."
    yield _other_job(job)
    yield from (sentence for state in job.modules if (sentence := _broken(job, state)))
    yield _half_heard(job)
    yield _locked_out(job)
    yield _wrong_values(job)
    yield _failed(job, words)
    if not job.attempted:
        yield _only_read(job)
    yield _not_proved(job, words, lacking)
    yield _all_well(job, words)


def _what_else(job: Job) -> str:
    """What the recording holds instead, where that is known."""
    found = dict.fromkeys(item.protocol for capture in job.record.captures for item in capture.other_traffic)
    return f" It holds {' and '.join(found)}." * bool(found)


def _other_job(job: Job) -> str:
    """Nothing below it answers what the sheet asks."""
    is_seen = any(item.id == "sheet-of-another-job" for item in job.findings)
    return "Job sheet and recording do not belong together: of what the sheet asks, nothing is shown." * is_seen


def _half_heard(job: Job) -> str:
    half = half_heard(job)
    touched = [label for label in half if any(item.part and item.label == label for item in job.operations)]
    if not touched:
        return ""
    return f"Only one direction was recorded of {', '.join(touched)}: what became of the job there cannot be said."


def _broken(job: Job, state: ModuleState) -> str:
    label = state.story.label
    left = unfinished(job, state)
    if left and state.now is Now.BOOT and _reason(job, label, left[-1]).startswith("only the boot loader"):
        return f"{label}: programming failed: after the restart only the boot loader answers."
    if left:
        failed = [item for item in left if item.outcome.word is Word.FAILED]
        word, end = "failed" if failed else "interrupted", _stands_before(job, left[-1]) or _how_left(state)
        reason = _reason(job, label, (failed or left)[-1])
        if is_cut_short(job, state, left):
            reason, end = f"{reason}{CUT_SHORT}", LEFT_IN_BOOT if state.now is Now.BOOT else end
        return f"{label}: programming {word}: {reason}; {end}."
    if state.now is Now.BOOT:
        return f"{label}: only its boot loader answers; the application does not run."
    if state.now is Now.SILENT and was_heard(state) and is_ours(job, state):
        done = [item for item in standing(job.operations) if item.link.key == state.story.link.key and item.part]
        gone = said_out_of_reach(state.story)
        return f"{label} does not answer any more{f': {gone}' if gone else ''}{_proved_of(done)}."
    if state.now is Now.SILENT and state.story.named:
        return f"{label} was asked and never answered."
    return ""


def _proved_of(done: Sequence[Operation]) -> str:
    """What of the things done to a silent module was proved while it answered."""
    open_parts = {item.part for item in done if item.part and item.outcome.word is not Word.CONFIRMED}
    if not done or not open_parts:
        return "; what was done to it was proved before that" * bool(done)
    if all(item.part in open_parts for item in done):
        return "; what was done to it is not proved"
    return f"; not proved: {_listed(CALLED[part] for part in Part if part in open_parts)}"


def _stands_before(job: Job, refused: Operation) -> str:
    """What an attempt that touched nothing leaves as it was."""
    words = words_before(job, refused)
    if not words:
        return ""
    is_proved = words == {Word.CONFIRMED}
    return f"nothing was touched, and the programming before it stands ({'confirmed' if is_proved else 'not proven'})"


def _how_left(state: ModuleState) -> str:
    gone = said_out_of_reach(state.story) if state.now is Now.SILENT else ""
    return gone or LEFT[state.now]


def _reason(job: Job, label: str, operation: Operation) -> str:
    seen = {item.id for item in job.findings if module_of(item, job.record) in (label, "the module")}
    if operation.outcome.word is Word.FAILED:
        seen.discard(BREAKS_OFF)
    short = next((text for one, text in ENDED.items() if one in seen), "")
    return short or (operation.outcome.because[0] if operation.outcome.because else "it did not end")


def _locked_out(job: Job) -> str:
    for item in job.findings:
        if item.id in LOCKED and item.severity is not Severity.NOTE:
            module = module_of(item, job.record)
            done = "" if job.attempted else "; nothing was programmed or written"
            return f"{module}: {_refused_access(job, item)}{done}."
    return ""


def _refused_access(job: Job, item: Finding) -> str:
    """Which step was refused with which code, and what it means."""
    shown = item.evidence[-1]
    exchange = job.record.exchange_at((shown.capture, shown.lines[0]))
    if exchange is None or len(exchange.asked) < 2:
        return "access is locked for a time"
    step = "seed" if exchange.asked[1] & 1 else "key"
    said = f"the {step} ({exchange.asked[:2].hex(' ').upper()}) was refused with {exchange.nrc or 0:02X}"
    if exchange.nrc == DELAY_RUNNING:
        return f"a delay is running and has to be waited for: {said}"
    return f"{said} and access is locked for a time"


def _wrong_values(job: Job) -> str:
    """Serious findings about values, also where every word is confirmed."""
    for item in job.findings:
        advice = TABLE.get(item.id)
        if not weighs_against(item) or (advice is None and job.overall is not Word.CONFIRMED):
            continue
        module = module_of(item, job.record)
        title = inside(item.title)
        case = case_of(item, module)
        named = "" if _names(case, module) or module == "the module" else f"{module}: "
        said = f"{title}: {named}{case}." if case else f"{title}."
        return f"{_confirmed(job)}, but {said}" if job.overall is Word.CONFIRMED else said[:1].upper() + said[1:]
    return ""


def _names(case: str, module: str) -> bool:
    """A case names a module; a part number that begins like it (``PCU-SW-1204``) does not."""
    return re.search(rf"(?<![\w-]){re.escape(module)}(?![\w-])", case) is not None


def weighs_against(item: Finding) -> bool:
    """Whether a finding spoils a job of which every word is confirmed."""
    advice = TABLE.get(item.id)
    return item.severity is Severity.SERIOUS or (advice is not None and advice.always)


def _failed(job: Job, words: Mapping[Part, Word]) -> str:
    """What failed, each at its own module; the reason of the first."""
    parts = [part for part, word in words.items() if word in BROKEN]
    if not parts:
        return ""
    acts = [item for item in standing(job.operations) if item.part in parts and item.outcome.word in BROKEN]
    reason = next((item.outcome.because[0] for item in acts if item.outcome.because), "")
    verb = "failed" if Word.FAILED in words.values() else "interrupted"
    by_module: dict[str, list[Part]] = {}
    for item in acts:
        by_module.setdefault(item.label, []).extend([item.part] if item.part else [])
    for part in parts:  # of the sheet alone: stored well, and not what is asked for
        for label in () if any(part in seen for seen in by_module.values()) else _labels(job, part, BROKEN):
            by_module.setdefault(label, []).append(part)
    told = [
        f"{label}: {_listed(CALLED[part] for part in parts if part in seen)} {verb}"
        for label, seen in by_module.items()
    ]
    return f"{'; '.join([f'{told[0]}: {reason}' if reason else told[0], *told[1:]])}."


def _only_read(job: Job) -> str:
    for item in refused_sessions(job):
        return f"{item.label}: its programming session was refused; nothing was programmed or written."
    asked = " of what the job sheet asks" if job.expectations else ""
    if moved := _controlled(job):
        return f"{moved}; nothing{asked} was programmed, written or cleared."
    if any(item.kind in (Kind.RESET, Kind.COMMUNICATION, Kind.ROUTINE) for item in job.operations):
        return f"Nothing{asked} was programmed, written, cleared or learned in this recording."
    return f"Only read: nothing{asked} was programmed, written or cleared."


def _controlled(job: Job) -> str:
    """Outputs that were taken under control: those not shown to be given back, else those that were."""
    found = [(story.label, one) for story in job.record.stories for one in controlled_outputs(story)]
    held = [item for item in found if not item[1].is_released]
    if not found:
        return ""
    label = (held or found)[0][0]
    texts = [one.text for named, one in held or found if named == label]
    verb = "an output was" if len(texts) == 1 else "outputs were"
    it = "it was" if len(texts) == 1 else "they were"
    ending = f"whether {it} released is not shown" if held else "and given back"
    return f"{label}: {verb} controlled ({_listed(texts)}), {ending}"


def _not_proved(job: Job, words: Mapping[Part, Word], lacking: Mapping[Part, str]) -> str:
    done = [CALLED[part] for part, word in words.items() if word is Word.CONFIRMED]
    open_parts = [f"{CALLED[part]}{_open_at(job, part)}" for part, word in words.items() if word is Word.UNPROVEN]
    asked = {item.part for item in job.expectations}
    missing = [part for part, word in words.items() if word is Word.NOT_SHOWN and part in asked]
    if not open_parts and not (missing and job.overall is Word.NOT_SHOWN):
        return ""
    pieces = [f"{_listed(done)} confirmed"] if done else []
    if open_parts:
        pieces.append(f"{_listed(open_parts)} done but not proved")
    pieces += [f"{CALLED[part]} only in part, not shown: {lacking[part]}" for part in missing if part in lacking]
    absent = dict.fromkeys(item.note for item in job.expectations if item.is_of_absent_module)
    pieces += absent
    here = {item.part for item in job.expectations if not item.is_of_absent_module}
    if nothing := [CALLED[part] for part in missing if part not in lacking and part in here]:
        pieces.append(f"not in this recording: {_listed(nothing)}")
    return f"{_modules(job, behind=': ')}{'; '.join(pieces)}."


def _open_at(job: Job, part: Part) -> str:
    """`` (PMU)``: where a part is not proved, if it is proved at another module."""
    open_ones, others = _labels(job, part, (Word.UNPROVEN,)), _labels(job, part, (Word.CONFIRMED,))
    if not set(others) - set(open_ones):
        return ""
    return f" ({', '.join(open_ones)})" if len(open_ones) <= MOST_MODULES else f" ({len(open_ones)} modules)"


def _labels(job: Job, part: Part, words: Collection[Word]) -> list[str]:
    """Modules of which the sheet's items of a part have one of these words, or the acts where it asks for none."""
    asked = [(item.item.partition(": ")[0], item.word) for item in job.expectations if item.part is part]
    done = [(item.label, item.outcome.word) for item in standing(job.operations) if item.part is part]
    return list(dict.fromkeys(label for label, word in asked or done if word in words))


def _all_well(job: Job, words: Mapping[Part, Word]) -> str:
    done = [CALLED[part] for part, word in words.items() if word is Word.CONFIRMED]
    more = "; values are not yet read after a power cycle" if is_unread_after_power(job.operations) else ""
    if labels := [state.story.label for state in job.modules if is_left_in_programming(job, state)]:
        ends = f"the recording ends in the programming session of {_listed(labels)}: more may have followed"
        return f"Confirmed so far{_modules(job, ' at ')}: {_listed(done)}{more}; {ends}."
    return f"{_confirmed(job)}{_modules(job, ' at ')}: {_listed(done)}{more}."


def is_unread_after_power(operations: Iterable[Operation]) -> bool:
    """Whether a value that was written was not read behind a loss of power, where a volatile copy would be gone."""
    acts = (item for item in standing([*operations]) if item.part is not None)
    return any(item.kind in (Kind.WRITE, Kind.WRITE_MEMORY) and not item.details["after_power_cycle"] for item in acts)


def _modules(job: Job, before: str = "", behind: str = "") -> str:
    """The modules that something was done to; nothing where they are many."""
    acts = [item for item in standing(job.operations) if item.part is not None and item.kind is not Kind.CLEAR]
    labels = dict.fromkeys(item.label for item in acts)
    return f"{before}{', '.join(labels)}{behind}" if 0 < len(labels) <= MOST_MODULES else ""


def _listed(things: Iterable[str]) -> str:
    """``a, b and c``; only commas where one of them has its own "and"."""
    items = list(things)
    if any(" and " in item for item in items) or len(items) < 2:
        return ", ".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
