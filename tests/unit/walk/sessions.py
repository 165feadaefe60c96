"""Walks through shipped sessions, and their questions, for the tests of the walk."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from pathlib import Path

from analysis import analyse
from analysis.walk.question import Question
from analysis.walk.questions import all_questions
from analysis.walk.steps import Step, Walk, walk_through

FIXTURES = Path(__file__).parents[3] / "fixtures"
Asked = tuple[Step, Question]


@cache
def walk_of(name: str, *, with_order: bool = False) -> Walk:
    """A session with the names of its vehicle, and its job sheet if wished."""
    vehicle = name.partition("-")[0]
    job = FIXTURES / f"{vehicle}.toml" if with_order else None
    capture = next((FIXTURES / name).glob("capture.*"))
    return walk_through(analyse(capture, job, [FIXTURES / f"{vehicle}_names.toml"]), secrets=True)


@cache
def _questions(name: str, with_order: bool) -> tuple[Asked, ...]:
    walk = walk_of(name, with_order=with_order)
    return tuple((step, one) for step in walk.steps for one in all_questions(walk, step))


def asked(name: str, kind: str, *, with_order: bool = False) -> list[Asked]:
    """Every question of a kind, with its step."""
    return [(step, one) for step, one in _questions(name, with_order) if one.kind == kind]


def one_asked(name: str, kind: str, *, with_order: bool = False) -> Asked:
    """The only question of a kind."""
    found = asked(name, kind, with_order=with_order)
    assert len(found) == 1, found
    return found[0]


def kinds(name: str, *, with_order: bool = False) -> set[str]:
    """All kinds that a session can ask."""
    return {one.kind for _, one in _questions(name, with_order)}


@cache
def lines_of(name: str) -> tuple[str, ...]:
    """The lines of a candump capture."""
    return tuple((FIXTURES / name / "capture.log").read_text(encoding="ascii").splitlines())


def frame(name: str, line: int) -> tuple[int, str, bytes]:
    """Time in µs, id and data of a line, read by hand."""
    time, _, rest = lines_of(name)[line - 1].split(maxsplit=2)
    can_id, _, data = rest.partition("#")
    return int(time.strip("()").replace(".", "")), can_id, bytes.fromhex(data)


def frames(name: str, first: int, last: int) -> Iterator[tuple[int, str, bytes]]:
    """The frames of a range of lines."""
    return (frame(name, line) for line in range(first, last + 1))
