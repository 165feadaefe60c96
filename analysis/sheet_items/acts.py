"""Items that ask for an act: learn routines to be run, faults to be cleared. The word is the act's."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.operations.model import Kind, Part
from analysis.sheet_items.item import Expectation, Subject, deciding
from analysis.words import Word
from canlog.services.identifiers import identifier_text


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
    if not clears:
        wish = f"clear the fault memory of {subject.label}, read it again and capture both"
        return subject.item(
            "faults cleared", Part.FAULT_MEMORY, "cleared", Word.NOT_SHOWN, would_change=wish
        )  # fmt: skip
    last = deciding(clears)
    found = "; ".join(last.outcome.because[:1])
    return subject.item(
        "faults cleared", Part.FAULT_MEMORY, "cleared", last.outcome.word, found=found, operation=last
    )  # fmt: skip
