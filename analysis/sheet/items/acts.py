"""Items that ask for an act: learn routines to be run, faults to be cleared. The word is the act's."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.fault_lists import FaultList, fault_lists
from analysis.operations.model import Kind, Operation, Part
from analysis.sheet.items.item import Expectation, Subject, deciding
from analysis.words import Confidence, Word
from canlog.services.identifiers import identifier_text
from canlog.services.traits import Act


def act_items(subject: Subject) -> Iterator[Expectation]:
    """All of one module."""
    for routine in subject.asked.learn:
        yield _learn(subject, routine)
    if subject.asked.clear_faults:
        yield _clear(subject)


def _learn(subject: Subject, routine: int) -> Expectation:
    runs = [one for one in subject.own(Kind.ROUTINE) if one.details["identifier"] == identifier_text(routine)]
    name = subject.record.names.routine(subject.label, routine)
    title = f"learn routine {identifier_text(routine)}" + (f" ({name.name})" if name else "")
    if not runs:
        wish = f"run {title} on {subject.label} and capture its result"
        return subject.item(title, Part.LEARN, "done", Word.NOT_SHOWN, would_change=wish)
    last = deciding(runs)
    return subject.item(
        title, Part.LEARN, "done", last.outcome.word, found=str(last.details["meaning"]), operation=last
    )  # fmt: skip


def _clear(subject: Subject) -> Expectation:
    clears = subject.own(Kind.CLEAR)
    if not clears and (listed := _read_behind_a_clear_of_all(subject)) is not None:
        codes = "no codes" if not listed.codes else ", ".join(listed.text(code) for code in listed.codes)
        return subject.item(
            "faults cleared", Part.FAULT_MEMORY, "cleared", Word.UNPROVEN, confidence=Confidence.MEDIUM,
            found=f"asked of all, its answer is missing; read afterwards: {codes}",
            would_change=f"clear the fault memory of {subject.label} again, read it and capture both",
        )  # fmt: skip
    if not clears:
        wish = f"clear the fault memory of {subject.label}, read it again and capture both"
        return subject.item(
            "faults cleared", Part.FAULT_MEMORY, "cleared", Word.NOT_SHOWN, would_change=wish
        )  # fmt: skip
    last = deciding(clears)
    came_back, found = _told_apart(last)
    return subject.item(
        "faults cleared", Part.FAULT_MEMORY, "cleared", last.outcome.word, found=found, operation=last, note=came_back
    )  # fmt: skip


def _told_apart(clear: Operation) -> tuple[str, str]:
    """What came back behind a clear that worked, and what shows that it worked."""
    because = clear.outcome.because
    is_back = clear.outcome.word is Word.CONFIRMED and bool(clear.details["returned"])
    return (because[0], because[1]) if is_back else ("", "; ".join(because[:1]))


def _read_behind_a_clear_of_all(subject: Subject) -> FaultList | None:
    """The last list of a module behind a clear that went to all, which others answered and it did not."""
    story = subject.story
    if story is None:
        return None
    asked = [
        item.begin
        for item in subject.record.exchanges
        if item.act is Act.CLEAR and item.functional and item.positive and item.link.channel == story.link.channel
    ]
    lists = [one for one in fault_lists(story) if one.is_whole and asked and one.exchange.begin > asked[-1]]
    return lists[-1] if lists else None
