"""What every page needs: the store, the worker, the rules, and how an answer is made."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from anyio import CapacityLimiter, to_thread
from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, HTMLResponse, JSONResponse, Response

from analysis.serve.access import Access, Rates
from analysis.serve.limits import ServeLimits
from analysis.serve.store import Job, Store
from analysis.serve.uploads import take
from analysis.serve.worker import Worker
from canlog.errors import CanlogError

#: As reports say it.
WORDS = {
    "confirmed": "confirmed",
    "unproven": "completed, not proven",
    "failed": "failed",
    "interrupted": "interrupted",
    "not-shown": "not shown",
    "read-only": "read only",
}
COLOURS = {"confirmed": "good", "failed": "bad", "interrupted": "bad", "unproven": "doubtful"}
STATES = {"waiting": "waiting", "running": "being read", "done": "read", "failed": "could not be read"}


@dataclass(frozen=True)
class Site:
    """One running page."""

    store: Store
    worker: Worker
    access: Access
    limits: ServeLimits
    rates: Rates

    @cached_property
    def _takers(self) -> CapacityLimiter:
        """Uploads wait for the disk in threads of their own, so that readers find the others free."""
        return CapacityLimiter(self.limits.uploads_kept_at_once)

    @cached_property
    def _templates(self) -> Environment:
        made = Environment(
            loader=PackageLoader("analysis.serve"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
            lstrip_blocks=True,
        )  # fmt: skip
        made.globals |= {"words": WORDS, "colours": COLOURS, "states": STATES, "limits": self.limits}
        made.filters["size"] = size_text
        return made

    def page(self, request: Request, template: str, status: int = 200, **values: Any) -> Response:
        """A page of HTML."""
        text = self._templates.get_template(template).render(
            token=request.scope["state"]["token"], lan=self.access.needs_key, **values
        )
        return HTMLResponse(text, status)

    def refusal(self, request: Request, error: Exception) -> Response:
        """What could not be done, as a page or, for the API, as JSON."""
        if isinstance(error, CanlogError):
            return self._told(request, 400, str(error), error.hint, {})
        if isinstance(error, HTTPException):
            return self._told(request, error.status_code, error.detail, "", dict(error.headers or {}))
        return self._told(request, 500, "a mistake in canlog", "what was sent before is kept", {})

    def _told(self, request: Request, status: int, what: str, hint: str, headers: dict[str, str]) -> Response:
        response: Response
        if request.url.path.startswith("/api/"):
            response = JSONResponse({"problem": what, "hint": hint}, status)
        else:
            response = self.page(request, "message.html", status, what=what, hint=hint)
        response.headers.update(headers)
        return response

    def job(self, request: Request) -> Job:
        """The job of the address.

        Raises:
            HTTPException: there is none.
        """
        return self._job(request.path_params["job"])

    async def job_later(self, request: Request) -> Job:
        """The same for a page that does not run in a thread of its own."""
        return await self.job_named(request.path_params["job"])

    async def job_named(self, name: str) -> Job:
        """The job of this id.

        Raises:
            HTTPException: there is none.
        """
        return await run_in_threadpool(self._job, name)

    def _job(self, name: str) -> Job:
        job = self.store.job(name)
        if job is None:
            raise HTTPException(404, "there is no capture at this address; it may have been deleted")
        return job

    async def search_later(self, wanted: str) -> list[Job]:
        """Jobs that have every word, newest first."""
        return await run_in_threadpool(self.store.search, wanted, self.limits.listed_jobs)

    async def form(self, request: Request) -> FormData:
        """The form of a page of this session.

        Raises:
            HTTPException: it came from elsewhere.
        """
        form = await self.form_without_token(request)
        shown = form.get("token")
        if not isinstance(shown, str) or not self.access.is_token(request.scope["state"]["session"], shown):
            await form.close()
            raise HTTPException(403, "this form is too old; open the page again")
        return form

    async def form_without_token(self, request: Request) -> FormData:
        """The form of a program that showed the key, or a header that no other site can send."""
        if self.store.free_bytes() < self.limits.free_bytes:
            raise HTTPException(507, "the disk is nearly full; nothing more can be kept")
        most = self.limits.files_per_job
        return await request.form(max_files=most, max_fields=most, max_part_size=self.limits.form_bytes)

    async def take(self, form: FormData) -> str:
        """Keep an upload and begin with it; its id."""
        try:
            take_it = functools.partial(take, form, self.store, self.limits)
            name = await to_thread.run_sync(take_it, limiter=self._takers)
        finally:
            await form.close()
        self.worker.wake()
        return name

    def report(self, job: Job, form: str, headers: dict[str, str], *, as_file: bool) -> Response:
        """The report of a job as it was written.

        Raises:
            HTTPException: there is none.
        """
        path = self.store.report(job.id, form)
        if job.state != "done":
            raise HTTPException(404, "there is no report yet")
        kind = {"html": "text/html; charset=utf-8", "json": "application/json"}[form]
        name = f"report-{job.created[:10]}.{form}" if as_file else None
        return FileResponse(path, media_type=kind, filename=name, headers=headers)


def size_text(size_bytes: int) -> str:
    """A size as people say it."""
    for unit, scale in (("GB", 10**9), ("MB", 10**6), ("kB", 10**3)):
        if size_bytes >= scale:
            return f"{size_bytes / scale:.1f} {unit}"
    return f"{size_bytes} bytes"
