"""Many trials in a row, on several processes: what is found does not depend on how many.

Results come in the order of the tasks. An exception is a fault of the product like any other: it is kept with its
trial and its traceback, and the trials go on. Ctrl-C ends them and leaves the counts of those made so far.
"""

from __future__ import annotations

import signal
import sys
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import partial
from multiprocessing import Pool
from typing import Any, TextIO

Found = tuple[tuple[str, ...], list[str]]  # kinds that the trial counts for, what was wrong in it
INTERRUPTED = 130  # exit code of what Ctrl-C ended, as in a shell
RAISED = "ended by an exception"
CHUNK = 8  # trials handed to a process at once
BAR = 30
SHOWN_EVERY_S, WRITTEN_EVERY_S = 0.5, 60.0  # on a terminal, and in a file


def run(work: Callable[[Any], Found], tasks: Iterable[object], processes: int, out: TextIO = sys.stdout) -> int:
    """Do all of them; what is wrong is printed at once, the counts at the end; not 0 if anything was wrong."""
    todo = list(tasks)
    began = time.monotonic()
    trials, wrong, counts = 0, 0, Counter[str]()
    bar, code = _Bar(len(todo)), 0
    try:
        with _results(partial(_caught, work), todo, processes) as results:
            for kinds, found in results:
                trials += 1
                wrong += len(found)
                counts.update(kinds)
                if found:
                    bar.clear()
                    _say(out, found)
                bar.show(trials, wrong)
    except KeyboardInterrupt:
        code = INTERRUPTED
    bar.clear()
    said = [f"{count:7,}  {kind}" for kind, count in sorted(counts.items())]
    ended = f"stopped by Ctrl-C, {len(todo):,} were asked for; " if code else ""
    _say(out, [*said, f"{trials:7,}  trials in {time.monotonic() - began:.0f} s, {ended}wrong: {wrong:,}"])
    return 1 if wrong else code


def _caught(work: Callable[[Any], Found], task: object) -> Found:
    """The trial, or the exception that ended it."""
    try:
        return work(task)
    except Exception:  # noqa: BLE001  whatever the product raises is what is looked for
        said = " ".join(map(str, task)) if isinstance(task, tuple) else str(task)
        return (RAISED,), [f"{said}: {traceback.format_exc()}"]


@contextmanager
def _results(work: Callable[[Any], Found], todo: list[object], processes: int) -> Iterator[Iterator[Found]]:
    if processes == 1:
        yield map(work, todo)
        return
    with Pool(processes, initializer=signal.signal, initargs=(signal.SIGINT, signal.SIG_IGN)) as pool:
        yield pool.imap(work, todo, chunksize=CHUNK)


def _say(out: TextIO, lines: Iterable[str]) -> None:
    out.writelines(line + "\n" for line in lines)
    out.flush()


class _Bar:
    """How far it is, on standard error: drawn again on a terminal, a line each minute in a file."""

    def __init__(self, total: int) -> None:
        self.total, self.began, self.is_live = total, time.monotonic(), sys.stderr.isatty()
        self.next_s = 0.0 if self.is_live else WRITTEN_EVERY_S

    def show(self, done: int, wrong: int) -> None:
        spent = time.monotonic() - self.began
        if spent < self.next_s:
            return
        self.next_s = spent + (SHOWN_EVERY_S if self.is_live else WRITTEN_EVERY_S)
        full = "#" * (BAR * done // self.total)
        left = spent / done * (self.total - done)
        text = f"[{full:<{BAR}}] {done:,} of {self.total:,}, wrong: {wrong:,}, {left / 60:.0f} min left"
        sys.stderr.write(f"\r{text}\x1b[K" if self.is_live else text + "\n")
        sys.stderr.flush()

    def clear(self) -> None:
        if self.is_live:
            sys.stderr.write("\r\x1b[K")
