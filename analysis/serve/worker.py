"""Takes one job after the other from the queue and has it read in a child process."""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Sequence
from pathlib import Path

from analysis.serve.limits import ServeLimits
from analysis.serve.names import plain_name
from analysis.serve.store import Found, Job, Store, StoredFile
from analysis.serve.task import OUTCOME, PROGRESS, Task

_LOOK_EVERY_S = 0.1
#: Above the limit of processor time: an analysis that waits is ended too.
_GRACE_S = 5
COMMAND = (sys.executable, "-m", "analysis.serve.child")


class Worker:
    """A thread that starts children; at most one at a time, because each may use much memory."""

    def __init__(self, store: Store, limits: ServeLimits, command: Sequence[str] = COMMAND) -> None:
        self._store = store
        self._limits = limits
        self._command = command
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
            job = self._store.begin_next()
            if job is None:
                self._wake.wait()
                continue
            if job.attempts > self._limits.attempts:
                self._store.fail(
                    job.id,
                    f"the analysis was cut off {self._limits.attempts} times",
                    "read the captures with `canlog report`, which says more",
                )
                continue
            folder = Path(tempfile.mkdtemp(dir=self._store.work))
            self._running = job.id, folder
            try:
                self._run(job, folder)
            except OSError as error:
                self._store.fail(job.id, f"the analysis could not run ({error.strerror})", "is the disk full?")
            finally:
                self._running = None
                shutil.rmtree(folder, ignore_errors=True)

    def _run(self, job: Job, folder: Path) -> None:
        self._lay_out(self._store.files(job.id), folder)
        environment = os.environ | {"TMPDIR": str(folder), "MPLCONFIGDIR": str(folder), "OPENBLAS_NUM_THREADS": "1"}
        with subprocess.Popen(
            [*self._command, str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, env=environment,
        ) as child:  # fmt: skip
            drain = threading.Thread(target=_last_words, args=(child, folder), daemon=True)
            drain.start()
            why = self._wait(child, job)
            child.kill()
            drain.join()
        if why == "stopped":
            self._store.wait_again(job.id)
        elif why == "late":
            self._store.fail(
                job.id,
                f"the analysis took longer than {self._limits.analysis_s} s and was ended",
                "send a shorter part of the recording, or read it with `canlog report`",
            )
        elif why == "ended":
            self._take(job, folder)

    def _lay_out(self, files: Sequence[StoredFile], folder: Path) -> None:
        """Links to the originals under the names that their owner knows, each in a folder of its own."""
        places: dict[str, list[str]] = {"capture": [], "sheet": [], "names": []}
        for one in files:
            place = folder / str(one.number)
            place.mkdir()
            link = place / plain_name(one.name, self._limits.name_chars)
            link.symlink_to(self._store.originals.path(one.sha256).resolve())
            places[one.role].append(str(link))
        limits = self._limits
        Task(
            places["capture"], next(iter(places["sheet"]), None), places["names"],
            limits.analysis_s, limits.analysis_memory_bytes, limits.analysis_file_bytes,
        ).write(folder)  # fmt: skip

    def _wait(self, child: subprocess.Popen[bytes], job: Job) -> str:
        ends = time.monotonic() + self._limits.analysis_s + _GRACE_S
        while True:
            try:
                child.wait(_LOOK_EVERY_S)
            except subprocess.TimeoutExpired:
                if self._stopped.is_set():
                    return "stopped"
                if time.monotonic() > ends:
                    return "late"
                if self._store.job(job.id) is None:
                    return "deleted"
                continue
            return "ended"

    def _take(self, job: Job, folder: Path) -> None:
        try:
            outcome = json.loads((folder / OUTCOME).read_text(encoding="utf-8"))
        except OSError:
            self._store.fail(
                job.id,
                "the analysis broke off: it used more memory or time than it may, or there is a mistake in canlog",
                "read the captures with `canlog report`, which says more",
            )
            return
        if "problem" in outcome:
            self._store.fail(job.id, outcome["problem"], outcome["hint"])
        else:
            self._store.finish(job.id, Found(**outcome), folder)


def _last_words(child: subprocess.Popen[bytes], folder: Path) -> None:
    """Keep the pipe empty, and tell whoever runs the page what a broken child said."""
    said = child.stderr.read() if child.stderr is not None else b""
    if said and not (folder / OUTCOME).exists():
        sys.stderr.write(f"canlog serve: an analysis broke off: {said[-2000:].decode('utf-8', 'replace')}\n")
