"""What the page and its child process tell each other, in files of one folder."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

TASK: Final = "task.json"
OUTCOME: Final = "outcome.json"
PROGRESS: Final = "progress"
#: What is made of a job besides its report lies under this name.
MADE: Final = "made"
REPORT: Final = "report"


@dataclass(frozen=True, slots=True)
class Task:
    """What to make of which files, and what that may use."""

    kind: str
    captures: Sequence[str]
    sheet: str | None
    names: Sequence[str]
    other_captures: Sequence[str]
    other_names: Sequence[str]
    seconds: int
    memory_bytes: int
    file_bytes: int

    def write(self, folder: Path) -> None:
        """Put it where the child looks."""
        (folder / TASK).write_text(json.dumps(asdict(self)), encoding="utf-8")

    @classmethod
    def read(cls, folder: Path) -> Task:
        """The task of a folder."""
        return cls(**json.loads((folder / TASK).read_text(encoding="utf-8")))
