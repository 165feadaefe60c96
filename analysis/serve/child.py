"""One analysis in a process of its own, which may be ended at any moment: ``python -m analysis.serve.child [FOLDER]``.

Without a folder it loads what an analysis needs and waits until one is said on its standard input.

It reads the task in the folder and leaves there what was asked for, or why there is none. It ends with the page
that started it: its standard input is a pipe that closes then.
"""

from __future__ import annotations

import importlib
import json
import os
import resource
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

from analysis.serve.task import MADE, OUTCOME, PROGRESS, REPORT, Task
from canlog.errors import CanlogError

_BETWEEN_S = 0.2
_LONGEST_LINE = 4096  # a pipe takes so many bytes in one piece (POSIX, PIPE_BUF on Linux)
#: Those that are imported late elsewhere, and take long.
_MODULES = ("analysis.report.html_gathered", "analysis.report.picture", "matplotlib.backends.backend_svg", "numpy")


def load() -> None:
    """Load the modules of an analysis and of its page, so that none waits for them."""
    for name in _MODULES:
        importlib.import_module(name)


def run(folder: Path) -> None:
    """Write ``report.html`` and ``report.json``, or the one file of another kind of task; and the outcome."""
    task = Task.read(folder)
    tempfile.tempdir = str(folder)
    _bind(task)
    try:
        outcome = _analyse(task, folder) if task.kind == REPORT else _make(task, folder)
    except CanlogError as error:
        outcome = {"problem": str(error), "hint": error.hint}
    except MemoryError:
        outcome = {
            "problem": "the captures need more memory than one analysis may use",
            "hint": "send a shorter part of the recording, or read it with `canlog report`",
        }
    _write(folder / OUTCOME, _bytes(json.dumps(outcome)))


def _bind(task: Task) -> None:
    """Limits that the analysis cannot lift again. Time is watched by the page as well."""
    for kind, most in (
        (resource.RLIMIT_AS, task.memory_bytes),
        (resource.RLIMIT_CPU, task.seconds),
        (resource.RLIMIT_FSIZE, task.file_bytes),
        (resource.RLIMIT_CORE, 0),
    ):
        resource.setrlimit(kind, (most, most))


def _analyse(task: Task, folder: Path) -> dict[str, str]:
    from analysis import analyse
    from analysis.report.again import Again
    from analysis.report.html_gathered import html_of

    progress = _Progress(folder / PROGRESS, len(task.captures))
    report = analyse(task.captures, job=task.sheet, names=task.names, progress=progress)
    data = report.to_dict()
    shown = [Path(one).name for one in task.captures]
    names = [Path(one).name for one in task.names]
    again = Again(shown, job=Path(task.sheet).name if task.sheet else None, names=names)
    _write(folder / "report.json", _bytes(json.dumps(data, ensure_ascii=False, indent=1) + "\n"))
    _write(folder / "report.html", _bytes(html_of(report, again, data=data)))
    verdict = data["verdict"]
    return {"headline": verdict["headline"], "overall": verdict["overall"], "words": " ".join(_words(data))}


def _make(task: Task, folder: Path) -> dict[str, str]:
    from analysis.serve.making import MAKERS

    _write(folder / MADE, MAKERS[task.kind](task))
    return {}


def _words(data: Any) -> list[str]:
    """What a person may look for later: labels, ids, names and readings, the VIN among them."""
    found = {one["label"] for one in data["modules"]} | {one["link"] for one in data["modules"]}
    for identifier in data["identifiers"]:
        found |= {identifier["identifier"], identifier["name"] or ""}
        found |= {reading["value"] or reading["raw"] for reading in identifier["readings"]}
    found |= {str(one["asked"]) for one in data["expectations"]}
    return sorted(one for one in found if one)


class _Progress:
    """Permille of the reading, for the page. Each capture is read twice."""

    def __init__(self, file: Path, n_captures: int) -> None:
        self._file = file
        self._readings = 2 * n_captures
        self._begun = 0
        self._last = 1.0
        self._next = 0.0

    def __call__(self, done: int, total: int) -> None:
        share = min(done / total, 1.0) if total else 1.0
        if share < self._last:
            self._begun += 1
        self._last = share
        if time.monotonic() >= self._next:
            self._next = time.monotonic() + _BETWEEN_S
            permille = round(1000 * (self._begun - 1 + share) / self._readings)
            self._file.write_text(str(min(permille, 999)), encoding="ascii")


def _bytes(text: str) -> bytes:
    return text.encode("utf-8", "replace")


def _write(path: Path, data: bytes) -> None:
    with path.open("wb") as out:
        out.write(data)
        out.flush()
        os.fsync(out.fileno())


def _end_with_the_page() -> None:
    while os.read(sys.stdin.fileno(), 1):  # not through its buffer, whose lock the interpreter needs when it ends
        pass
    os._exit(1)


def _folder_said() -> Path:
    """The first line of the standard input, which is written in one piece; with the page ended, no line comes."""
    load()
    line = os.read(sys.stdin.fileno(), _LONGEST_LINE)
    if not line:
        sys.exit(1)
    return Path(os.fsdecode(line.removesuffix(b"\n")))


if __name__ == "__main__":
    asked = Path(sys.argv[1]) if len(sys.argv) > 1 else _folder_said()
    threading.Thread(target=_end_with_the_page, daemon=True).start()
    run(asked)
