"""What a question is, and the frame in which the askers work."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from analysis.walk.steps import Step, Walk

#: Read off, compute, judge.
READ_OFF, COMPUTE, JUDGE = 1, 2, 3


@dataclass(frozen=True, slots=True)
class Question:
    """One question with its answer, both from the capture.

    ``kind`` is stable; ``value`` is the bare answer, for programs; ``because`` says where it comes from.
    """

    kind: str
    level: int
    ask: str
    answer: str
    because: str
    lines: tuple[int, int]
    value: str = ""


Asker = Callable[[Walk, Step], Iterator[Question]]
