"""Takes one job after the other from the queue and has it read in a child process."""

from __future__ import annotations

import contextlib
import threading
from pathlib import Path

from analysis.serve.children import Children
from analysis.serve.limits import ServeLimits
from analysis.serve.reading import folder_of, lay_out, outcome_of, run
from analysis.serve.store import Found, Job, Store
from analysis.serve.task import PROGRESS, REPORT

_STOPPED = "stopped"
_DELETED = "deleted"


class Worker:
    """A thread that starts children; at most one at a time, because each may use much memory."""

    def __init__(self, store: Store, limits: ServeLimits) -> None:
        self._store = store
        self._limits = limits
        self.children = Children(store.fonts)
        self._wake = threading.Event()
        self._stopped = threading.Event()
        self._running: tuple[str, Path] | None = None
        self._thread = threading.Thread(target=self._work, name="canlog-worker", daemon=True)

    def start(self) -> None:
        """Begin with what waits."""
        self._thread.start()

    def stop(self) -> None:
        """End the running child; its job waits for the next start."""
        self._stopped.set()
        self._wake.set()
        if self._thread.is_alive():
            self._thread.join()
        self.children.stop()

    @property
    def is_stopped(self) -> bool:
        """The page ends."""
        return self._stopped.is_set()

    def wake(self) -> None:
        """Something waits."""
        self._wake.set()

    def permille(self, name: str) -> int:
        """How far the reading of a job is; 0 when it is not running."""
        running = self._running
        if running is None or running[0] != name:
            return 0
        with contextlib.suppress(OSError, ValueError):  # not written yet, or just being written
            return int((running[1] / PROGRESS).read_text(encoding="ascii"))
        return 0

    def _work(self) -> None:
        while not self._stopped.is_set():
            self._wake.clear()
            self.children.start_ahead()
            job = self._store.begin_next()
            if job is None:
                self._wake.wait()
                continue
            try:
                with folder_of(self._store) as folder:
                    self._running = job.id, folder
                    self._read(job, folder)
            except OSError as error:
                self._store.fail(job.id, f"the analysis could not run ({error.strerror})", "is the disk full?")
            finally:
                self._running = None

    def _read(self, job: Job, folder: Path) -> None:
        lay_out(self._store, self._limits, REPORT, self._store.files(job.id), (), folder)
        why = run(self.children, folder, self._limits, lambda: self._wanted_no_more(job))
        if why == _STOPPED:
            self._store.wait_again(job.id)
        elif why != _DELETED:
            outcome = outcome_of(folder, why, self._limits)
            if "problem" in outcome:
                self._store.fail(job.id, outcome["problem"], outcome["hint"])
            else:
                self._store.finish(job.id, Found(**outcome), folder)

    def _wanted_no_more(self, job: Job) -> str:
        if self._stopped.is_set():
            return _STOPPED
        return _DELETED if self._store.job(job.id) is None else ""
