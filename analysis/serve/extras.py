"""Walks, comparisons and copies: made when somebody asks for them, and kept until the page starts again."""

from __future__ import annotations

import asyncio
from collections.abc import Sequence
from pathlib import Path

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from analysis.serve.limits import ServeLimits
from analysis.serve.reading import folder_of, lay_out, outcome_of, run
from analysis.serve.store import Job, Store
from analysis.serve.task import MADE
from analysis.serve.worker import Worker
from canlog.errors import CanlogError

_STOPPED = "stopped"


class Extras:
    """Makes one thing at a time, beside the worker: a class that opens a page together makes it once."""

    def __init__(self, store: Store, worker: Worker, limits: ServeLimits) -> None:
        self._store = store
        self._worker = worker
        self._limits = limits
        self._turn = asyncio.Lock()
        self._waiting = 0

    async def file(self, kind: str, job: Job, other: Job | None = None) -> Path:
        """The file of this kind: a page, rows, or copies.

        Raises:
            HTTPException: a job has no report, or too many wait.
            CanlogError: it cannot be made of these captures.
        """
        jobs = [one for one in (job, other) if one is not None]
        if any(one.state != "done" for one in jobs):
            raise HTTPException(404, "there is no report yet")
        place = self._store.made([one.id for one in jobs], kind)
        if place.exists():
            return place
        if self._waiting >= self._limits.waiting_pages:
            raise HTTPException(503, "too many pages are being made; try again in a minute", {"Retry-After": "60"})
        self._waiting += 1
        try:
            async with self._turn:
                if not place.exists():
                    await run_in_threadpool(self._make, kind, jobs, place)
        finally:
            self._waiting -= 1
        return place

    def _stopped(self) -> str:
        return _STOPPED if self._worker.is_stopped else ""

    def _make(self, kind: str, jobs: Sequence[Job], place: Path) -> None:
        if self._store.free_bytes() < self._limits.free_bytes:
            raise HTTPException(507, "the disk is nearly full; nothing more can be kept")
        files = [self._store.files(one.id) for one in jobs]
        with folder_of(self._store) as folder:
            lay_out(self._store, self._limits, kind, files[0], files[1] if len(files) > 1 else (), folder)
            why = run(self._worker.children, folder, self._limits, self._stopped)
            self._worker.wake()  # it starts the next process ahead
            if why == _STOPPED:
                raise HTTPException(503, "the page ends")
            outcome = outcome_of(folder, why, self._limits)
            if "problem" in outcome:
                raise CanlogError(outcome["problem"], hint=outcome["hint"])
            if not self._store.keep_made([one.id for one in jobs], folder / MADE, place):
                raise HTTPException(404, "there is no capture at this address; it may have been deleted")
