"""How far a reading is, told as it goes on: server-sent events (HTML Standard, 9.2), one stream a page."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response, StreamingResponse
from starlette.routing import Route

from analysis.serve.site import Site

_BETWEEN_S = 0.1
#: Said again after so many looks without news, so that a stream whose reader is gone is noticed.
_QUIET_LOOKS = 50


class Watching:
    """Streams the state of one job until it has a report or none will come."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._watchers = 0
        self.routes = [Route("/jobs/{job}/progress", self.progress)]

    async def progress(self, request: Request) -> Response:
        """One stream."""
        job = await self._site.job_later(request)
        if self._watchers >= self._site.limits.watchers:
            raise HTTPException(503, "too many pages watch; open this one again later", {"Retry-After": "60"})
        return StreamingResponse(self._tell(job.id), media_type="text/event-stream")

    async def _tell(self, name: str) -> AsyncIterator[str]:
        self._watchers += 1
        try:
            said, looks = "", 0
            while not self._site.worker.is_stopped:
                told, goes_on = await run_in_threadpool(self._state, name)
                looks += 1
                if told != said or looks >= _QUIET_LOOKS:
                    said, looks = told, 0
                    yield f"data: {told}\n\n"
                if not goes_on:
                    return
                await asyncio.sleep(_BETWEEN_S)
        finally:
            self._watchers -= 1

    def _state(self, name: str) -> tuple[str, bool]:
        job = self._site.store.job(name)
        if job is None:
            return json.dumps({"state": "deleted"}), False
        waits = job.state == "waiting"
        told = {
            "state": job.state,
            "percent": self._site.worker.permille(name) // 10,
            "before": self._site.store.n_before(job) if waits else 0,
        }
        return json.dumps(told), waits or job.state == "running"
