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

    ``kind`` is stable; ``value`` is the bare answer, for programs; ``because`` says where it comes from; ``wrong`` is
    an answer that is often given, and what is wrong with it.
    """

    kind: str
    level: int
    ask: str
    answer: str
    because: str
    lines: tuple[int, int]
    value: str = ""
    wrong: str = ""


Asker = Callable[[Walk, Step], Iterator[Question]]
