"""Who looks at the page."""

from __future__ import annotations

from enum import StrEnum


class Audience(StrEnum):
    """What is shown: the telling of a step, the answers, the trainer's notes."""

    CLASS = "class"  # the step is told, answers are hidden until asked for
    CLOSED = "closed"  # a page in front of the class: first the frames and the question
    OPENED = "opened"  # the same page, told and answered
    TRAINER = "trainer"  # all of it, with notes, findings and the words
    SHEET = "sheet"  # frames and questions, with lines to write on

    @property
    def is_told(self) -> bool:
        """Fields, meaning and reason stand on the page."""
        return self not in (Audience.CLOSED, Audience.SHEET)

    @property
    def is_answered(self) -> bool:
        """Answers stand open on the page."""
        return self in (Audience.OPENED, Audience.TRAINER)
