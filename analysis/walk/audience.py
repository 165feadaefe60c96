"""Who looks at the page."""

from __future__ import annotations

from enum import StrEnum


class Audience(StrEnum):
    """What is shown of the answers."""

    CLASS = "class"  # hidden until asked for
    TRAINER = "trainer"  # open, with notes, findings and the words
    SHEET = "sheet"  # not there at all: lines to write on

    @property
    def sees_answers(self) -> bool:
        """Answers stand on the page, hidden or not."""
        return self is not Audience.SHEET
