"""What people often say, and where this session shows that it is not so.

The statements are common in workshops and classes (common practice, no source). Each is put once, at the first step
that can show it; where nothing in a session shows it, it is not put.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Final, NamedTuple

from analysis.exchanges import Answer
from analysis.fault_lists import read_list
from analysis.operations.routines import Status, read_call
from analysis.readings import read_values_of
from analysis.walk.question import JUDGE, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.names.value_layout import NUMBER_TYPES
from canlog.services.traits import Act

ATTEMPTS_EXCEEDED, DELAY_RUNNING, VOLTAGE_TOO_HIGH = 0x36, 0x37, 0x92
LEAST_ALIKE = 3


class Misconception(NamedTuple):
    """``shows`` says what the step shows against it; empty where it shows nothing."""

    said: str
    shows: Callable[[Walk, Step], str]


def _waited(walk: Walk, step: Step) -> str:
    waits = sum(len(one.pendings) for one in step.exchanges)
    return f"in this step 7F came {counted(waits, 'time')} only to ask for more time" if waits else ""


def _accepted(walk: Walk, step: Step) -> str:
    if step.act is not Act.WRITE or not step.first.positive:
        return ""
    return "accepted is not stored: the answer repeats the identifier and no value; look for a later reading"


def _mute_by_order(walk: Walk, step: Step) -> str:
    if step.first.outcome is not Answer.SUPPRESSED:
        return ""
    return "no answer was wanted here, so none is the right answer"


def _boot_answers(walk: Walk, step: Step) -> str:
    story = walk.stories.get(step.first.link.key)
    if story is None or not step.first.positive or not story.before(step.first).boot:
        return ""
    return "its boot loader answers and waits to be programmed again"


def _too_high(walk: Walk, step: Step) -> str:
    return "refused with 92: the supply is above the module's limit" if step.first.nrc == VOLTAGE_TOO_HIGH else ""


def _lost_contact(walk: Walk, step: Step) -> str:
    for one in step.exchanges:
        listed = read_list(one)
        codes = [listed.text(code) for code in listed.codes] if listed is not None else []
        lost = [code for code in codes if code.startswith("U")]
        if lost:
            return f"{lost[0]} is stored wherever a module was away, as in every programming: clear it, look again"
    return ""


def _checked(walk: Walk, step: Step) -> str:
    call = read_call(step.first, walk.labels.get(step.first.link.key, ""), walk.report.record.names)
    if call is None or call.kind not in ("check", "dependencies") or call.status is not Status.GOOD:
        return ""
    return "the check says that the bytes arrived as they were made, not that they were made for this vehicle"


def _all_alike(walk: Walk, step: Step) -> str:
    label, names = walk.labels.get(step.first.link.key, ""), walk.report.record.names
    for one in read_values_of(step.first, label, names):
        fields = one.name.layout if one.name is not None else ()
        if one.name is None or not any(each.count >= LEAST_ALIKE and each.type in NUMBER_TYPES for each in fields):
            continue
        values = [each.raw for each in one.name.decode(one.raw) if each.index is not None]
        if one.name.is_default(one.raw) or (len(values) >= LEAST_ALIKE and len(set(values)) == 1):
            return "parts made one by one are never all alike: this is what a module holds that was never told"
    return ""


def _locked_out(walk: Walk, step: Step) -> str:
    if step.first.nrc not in (ATTEMPTS_EXCEEDED, DELAY_RUNNING):
        return ""
    return f"refused with {step.first.refusal}: each quick try makes the wait begin again"


def _hole(walk: Walk, step: Step) -> str:
    broken = any(one.request is not None and one.request.has_hole and one.positive for one in step.exchanges)
    return "the module answered yes, so it had the frame that is missing here" if broken else ""


def _repeated(walk: Walk, step: Step) -> str:
    tries = sum(one.repeats for one in step.exchanges)
    return f"the same module was asked again ({counted(tries, 'time')})" if tries else ""


def _in_order(walk: Walk, step: Step) -> str:
    label, names = walk.labels.get(step.first.link.key, ""), walk.report.record.names
    for one in read_values_of(step.first, label, names):
        if one.name is not None and one.name.order:
            return f"the firing order of this engine is {'-'.join(map(str, one.name.order))}"
    return ""


def _knock(walk: Walk, step: Step) -> str:
    if step.number > 1 or not walk.kept_alive:
        return ""
    return f"the tester sent it {counted(walk.kept_alive, 'time')}: it is its knock, so that the session stays open"


def _unheard(walk: Walk, step: Step) -> str:
    silent = step.first.outcome is Answer.SILENT
    return "the frame was acknowledged by any other device on the wire; the one meant did not answer" if silent else ""


def _on_screen(walk: Walk, step: Step) -> str:
    last = step.number == len(walk.steps) and any(one.part is not None for one in walk.report.operations)
    return "the screen is not on the bus; count what was read behind the last restart" if last else ""


MISCONCEPTIONS: Final[Sequence[Misconception]] = (
    Misconception("7F means failure.", _waited),
    Misconception("The answer was yes, so it is stored.", _accepted),
    Misconception("No answer means that the module is dead.", _mute_by_order),
    Misconception("A module without its software is scrap.", _boot_answers),
    Misconception("The higher the voltage, the better.", _too_high),
    Misconception("A code for lost communication means a bad module.", _lost_contact),
    Misconception("The check was right, so it is the right file.", _checked),
    Misconception("All values are equal, so they agree.", _all_alike),
    Misconception("The module refused, so try again quickly.", _locked_out),
    Misconception("A gap in the recording is a gap on the bus.", _hole),
    Misconception("The same answer twice means two modules.", _repeated),
    Misconception("Cylinder 2 is the second to fire.", _in_order),
    Misconception("Tester present is an answer from the module.", _knock),
    Misconception("CAN guarantees delivery.", _unheard),
    Misconception("The screen said complete, so it is done.", _on_screen),
)  # fmt: skip


def they_say(walk: Walk, step: Step) -> Iterator[Question]:
    """Statements that this step is the first to show wrong."""
    for one in MISCONCEPTIONS:
        shown = one.shows(walk, step)
        if shown and not any(one.shows(walk, earlier) for earlier in walk.steps[: step.number - 1]):
            yield Question(
                "they-say", JUDGE, f"Somebody says: “{one.said}” Is it so?", f"no: {shown}",
                "judge by what stands in the lines, not by what is usually said", step.lines, one.said,
            )  # fmt: skip
