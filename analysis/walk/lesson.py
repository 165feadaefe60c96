"""A lesson: where a class stops in a session, in which order, and what is asked there. TOML, our own shape.

```toml
title = "From the erase to the proof"
notes = "45 minutes"                # for the trainer
[[stop]]
step = 32                           # or exchange = 71, as in `canlog list`, or line = 2748 of the capture
title = "The point of no return"
notes = "let them vote first"       # for the trainer
questions = [ { ask = "May the key be turned off now?", answer = "no: the memory is empty" } ]
computed = true                     # put the questions that canlog makes as well
```
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from analysis.walk.question import JUDGE, Question
from analysis.walk.questions import chosen_questions
from analysis.walk.steps import Step, Walk
from canlog.names.sheet import Sheet, Table

HINT = "README.md shows a lesson"
PLACES = ("step", "exchange", "line")
MOST = 1_000_000_000


@dataclass(frozen=True, slots=True)
class Stop:
    """A step with what is asked there."""

    step: Step
    questions: tuple[Question, ...]
    title: str = ""
    notes: str = ""


@dataclass(frozen=True, slots=True)
class Lesson:
    """Stops in the order of the lesson."""

    title: str
    stops: tuple[Stop, ...]
    notes: str = ""


def whole_session(walk: Walk) -> Lesson:
    """Every step, with the questions that canlog makes."""
    chosen = chosen_questions(walk)
    return Lesson("", tuple(Stop(step, chosen[step.number]) for step in walk.steps))


def load_lesson(path: str | Path, walk: Walk) -> Lesson:
    """A lesson for this session.

    Raises:
        SheetError: the file cannot be used, or a stop is not in this session; with file, line and field.
    """
    sheet = Sheet(Path(path), HINT)
    sheet.only("title", "notes", "stop")
    top = Table(sheet, "lesson", {key: one for key, one in sheet.values.items() if key != "stop"}, 0)
    title, notes = top.text("title", ""), top.text("notes", "")
    chosen = chosen_questions(walk)
    stops = tuple(_stop(table, walk, chosen) for table in sheet.tables("stop"))
    if not stops:
        top.fail("stop", "missing; a lesson has at least one [[stop]]")
    return Lesson(title, stops, notes)


def _stop(table: Table, walk: Walk, chosen: Mapping[int, Sequence[Question]]) -> Stop:
    for key in table.values:
        if key not in (*PLACES, "title", "notes", "questions", "computed"):
            table.fail(key, f"not known; there are {', '.join(PLACES)}, title, notes, questions, computed")
    step = _place(table, walk)
    own = tuple(_own(one, step) for one in table.tables("questions"))
    made = tuple(chosen[step.number]) if table.flag("computed", default=True) else ()
    return Stop(step, (*own, *made), table.text("title", ""), table.text("notes", ""))


def _place(table: Table, walk: Walk) -> Step:
    given = [key for key in PLACES if key in table.values]
    if len(given) != 1:
        table.fail((given or PLACES)[-1] if given else "step", f"give one of {', '.join(PLACES)}, and only one")
    key = given[0]
    number = table.whole(key, 1, MOST)
    found = next((step for step in walk.steps if _is_at(step, key, number)), None)
    if found is None:
        table.fail(key, f"{number} is not in this session: {_range(walk, key)}")
    return found


def _is_at(step: Step, key: str, number: int) -> bool:
    if key == "step":
        return step.number == number
    if key == "exchange":
        return any(one.number == number for one in step.exchanges)
    return any(one.capture == 1 and one.lines[0] <= number <= one.lines[1] for one in step.exchanges)


def _range(walk: Walk, key: str) -> str:
    if key == "step":
        return f"it has {len(walk.steps)} steps"
    if key == "exchange":
        return f"it has {len(walk.report.record.exchanges)} exchanges; those that only keep a session alive are no step"
    return "no step holds that line"


def _own(table: Table, step: Step) -> Question:
    for key in table.values:
        if key not in ("ask", "answer", "because"):
            table.fail(key, "not known; there are ask, answer, because")
    return Question("own", JUDGE, table.text("ask"), table.text("answer"), table.text("because", ""), step.lines)
