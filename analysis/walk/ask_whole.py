"""Questions on the session as a whole, asked at its last step; and whether what was done is what was ordered."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from analysis.answer.headline import is_unread_after_power, weighs_against
from analysis.breaks.silence import Silent
from analysis.modules import Now
from analysis.operations.model import Kind, Part
from analysis.operations.routines import START, read_call
from analysis.report.wording import WORD
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from analysis.words import Evidence, Word
from canlog.names.dids import VIN
from canlog.services.traits import PROGRAMMING_SESSION, Act, item_written

#: Stages to put in order: fewer teach nothing, more are a burden.
LEAST_STAGES = 4
#: The same facts stand in full on the trainer's page.
MOST_NOT_SHOWN = 3
_DOWNLOAD: Final = "download asked for"
_MAKES_WAY: Final = frozenset({"programming session", "unlock", "erase"})
_STOPPED: Final[Mapping[Silent, str]] = {
    Silent.MODULE: "the module: others and the tester went on, its answer did not come",
    Silent.TESTER: "the tester: nothing was open, the bus went on, and no further request came",
    Silent.EVERYTHING: "everything on the bus at once: look at supply, wiring or the recorder first",
    Silent.CAPTURE_ENDED: "the recording: it ends before anybody had to say something more",
}


def who_stopped(walk: Walk, step: Step) -> Iterator[Question]:
    """Module, tester or recorder: who fell silent first in a session that broke off."""
    found = walk.report.post_mortem
    if not _is_last(walk, step) or found is None or found.silent_first not in _STOPPED:
        return
    good = f"; last good: {found.last_good.text} ({_where(walk, found.last_good)})" if found.last_good else ""
    yield Question(
        "who-stopped", JUDGE, "The job was not finished. Who stopped first: the module, the tester, or the recording?",
        f"{_STOPPED[found.silent_first]}{good}",
        "compare the last frames of the module, of the tester and of everybody else", step.lines,
        found.silent_first.value,
        "nobody, the recording just ends: see whether others went on behind it" if found.silent_first is Silent.MODULE
        else "the module, because it did not answer: see first whether anybody asked",
    )  # fmt: skip


def first_sign(walk: Walk, step: Step) -> Iterator[Question]:
    """Which reading of the supply tells first that it will go wrong."""
    found, limits = walk.report.post_mortem, walk.report.record.limits
    if not _is_last(walk, step) or found is None or not found.supply:
        return
    is_24v = found.supply[0].millivolts > limits.supply_24v_from_mv
    least = limits.supply_low_24v_mv if is_24v else limits.supply_low_12v_mv
    low = next((one for one in found.supply if one.millivolts < least), None)
    if low is None:
        return
    yield Question(
        "first-sign", JUDGE, "Which line tells first that this will go wrong?",
        f"line {low.line}: {low.evidence.text}",
        f"below {least / 1000:g} V memory should not be written (common practice, no source; the maker's limit counts)",
        (low.line, low.line), str(low.line),
        "the first refusal: by then it had gone wrong already",
    )  # fmt: skip


def dead_or_waiting(walk: Walk, step: Step) -> Iterator[Question]:
    """A module that runs only its boot loader is not dead."""
    waiting = [one for one in walk.report.modules if one.now is Now.BOOT]
    if not _is_last(walk, step) or not waiting:
        return
    one = waiting[0]
    yield Question(
        "dead-or-waiting", JUDGE, f"Is {one.story.label} dead or waiting? What would you do first, and what never?",
        f"waiting: its boot loader answers ({'; '.join(each.text for each in one.evidence[:2])}). {one.advice} "
        f"{' '.join(one.cautions[:1])}".strip(),
        "a module in boot mode is there to be programmed again", step.lines, "waiting",
        "scrap: a module that still answers its boot loader can mostly be programmed again",
    )  # fmt: skip


def hand_over(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether the vehicle may go."""
    verdict = walk.report.verdict
    if not _is_last(walk, step) or not verdict.attempted:
        return
    open_parts = [
        f"{part.value.replace('_', ' ')} {WORD[one.word.value]}"
        for part, one in verdict.parts.items()
        if one.word not in (Word.CONFIRMED, Word.NOT_SHOWN)
    ]
    findings, operations = walk.report.findings, walk.report.operations
    is_fine = verdict.overall is Word.CONFIRMED and not (open_parts or is_unread_after_power(operations))
    is_fine = is_fine and not any(weighs_against(one) for one in findings)
    accepted = all(one.positive for one in walk.report.record.exchanges if one.act is Act.WRITE)
    written = [one for one in operations if one.kind is Kind.WRITE and one.part in (Part.TRIMS, Part.VIN)]
    start = "All writes were answered yes. " if written and accepted else ""
    yield Question(
        "hand-over", JUDGE, f"{start}Would you hand the vehicle over with what this recording shows? Vote first.",
        f"{'yes, as far as it shows' if is_fine else 'not yet'}: {', '.join(open_parts) or verdict.headline}",
        "only what was proved on the bus is done; the rest has to be read, now, while the vehicle is here",
        step.lines, verdict.overall.value,
        "yes, because all that was written was accepted" if start and not is_fine else "",
    )  # fmt: skip


def cannot_be_known(walk: Walk, step: Step) -> Iterator[Question]:
    """What the recording can not show."""
    if _is_last(walk, step) and walk.report.cannot_show:
        yield Question(
            "cannot-be-known", JUDGE, "Name something that this recording can not show, however long you look.",
            " ".join(walk.report.cannot_show[-MOST_NOT_SHOWN:]), "a recording holds what was said on one bus, no more",
            step.lines, str(len(walk.report.cannot_show)), "nothing: everything is on the bus",
        )  # fmt: skip


def order_the_stages(walk: Walk, step: Step) -> Iterator[Question]:
    """Stages of a download, to be put in order."""
    if not _is_last(walk, step):
        return
    stages = _stages(walk)
    if len(stages) < LEAST_STAGES:
        return
    yield Question(
        "order-the-stages", COMPUTE,
        f"Put these in the order of this session: {', '.join(sorted(stages))}.",
        ", ".join(f"{name} (step {at})" for name, at in sorted(stages.items(), key=lambda one: one[1])),
        "each needs the one before it", step.lines, " ".join(map(str, sorted(stages.values()))),
        "erase before unlock: a locked module refuses it" if {"erase", "unlock"} <= set(stages) else "",
    )  # fmt: skip


def find_the_step(walk: Walk, step: Step) -> Iterator[Question]:
    """A step to be found on the sheet or on the line of steps."""
    if not _is_last(walk, step):
        return
    wanted = {
        "the first refusal": next((one.number for one in walk.steps if any(each.nrc for each in one.exchanges)), None),
        "the new VIN written": _vin_step(walk),
        "the old memory erased": _stages(walk).get("erase"),
    }
    for what, number in wanted.items():
        if number is not None:
            yield Question(
                "find-the-step", READ_OFF, f"In which step is {what}?", f"step {number}: {walk.steps[number - 1].told}",
                "the numbers stay the same on every sheet of this session", walk.steps[number - 1].lines, str(number),
            )  # fmt: skip
            return


def as_ordered(walk: Walk, step: Step) -> Iterator[Question]:
    """With a job sheet: what was read, beside what was ordered. Of what is right the first item of each part is put, so
    that the question alone does not give the mistake away."""
    seen: set[tuple[str | None, Part]] = set()
    for one in walk.report.expectations:
        right, last = one.word is Word.CONFIRMED, one.evidence[-1] if one.evidence else None
        if one.found is None or last is None or not (right or one.word is Word.FAILED):
            continue
        is_first = (one.link, one.part) not in seen
        seen.add((one.link, one.part))
        if not step.holds(last.capture, last.lines[-1]) or (right and not is_first):
            continue
        yield Question(
            "as-ordered", JUDGE, f"The order says: {one.item}: {one.asked}. Is that what came out?",
            f"{'yes' if right else 'no'}: {one.found}{'' if right else '; the act went well, the job did not'}",
            "that an act succeeded says nothing about whether it was the right one: compare with the order",
            step.lines, "yes" if right else "no", "" if right else "yes, because everything is green",
        )  # fmt: skip


def _is_last(walk: Walk, step: Step) -> bool:
    return step.number == len(walk.steps)


def _where(walk: Walk, shown: Evidence) -> str:
    found = next((one for one in walk.steps if one.holds(shown.capture, shown.lines[0])), None)
    return f"step {found.number}" if found is not None else f"line {shown.lines[0]}"


def _stages(walk: Walk) -> dict[str, int]:
    """The stages of the first download that is no helper program, and the step of each: what made way for it is the
    last of its kind before it, what followed the first behind it."""
    loads = [one for one in walk.report.operations if one.kind is Kind.DOWNLOAD and not one.details["driver"]]
    numbers = loads[0].exchanges if loads else ()
    load = next((one for one in walk.steps if one.act is Act.DOWNLOAD and one.first.number in numbers), None)
    if load is None:
        return {}
    own = [one for one in walk.steps if one.first.link.key == load.first.link.key and one.first.positive]
    found = {_DOWNLOAD: load.number}
    for one in own[own.index(load) :] if load in own else ():
        found.setdefault(_stage(walk, one), one.number)
    for one in own:
        name = _stage(walk, one)
        if one.number < load.number and name in _MAKES_WAY:
            found[name] = one.number
    return {name: number for name, number in found.items() if name}


def _stage(walk: Walk, step: Step) -> str:
    if step.act is Act.SESSION and step.first.session == PROGRAMMING_SESSION:
        return "programming session"
    if step.act is Act.UNLOCK:
        return "unlock"
    call = read_call(step.first, walk.labels.get(step.first.link.key, ""), walk.report.record.names)
    if call is not None and call.control == START:
        return {"erase": "erase", "check": "check", "dependencies": "check", "learn": "learn"}.get(call.kind, "")
    return {
        Act.DOWNLOAD: _DOWNLOAD, Act.EXIT: "end of the transfer", Act.RESET: "restart", Act.CLEAR: "faults cleared",
    }.get(step.act, "")  # fmt: skip


def _vin_step(walk: Walk) -> int | None:
    for one in walk.steps:
        item = item_written(one.first.asked, one.first.dialect) if one.act is Act.WRITE else None
        if item is not None and item.identifier == VIN:
            return one.number
    return None
