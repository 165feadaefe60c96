"""The pages: they work without a script, by keyboard, and on a phone."""

from __future__ import annotations

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, RedirectResponse, Response
from starlette.routing import Route

from analysis.serve.access import COOKIE
from analysis.serve.guard import REPORT_POLICY
from analysis.serve.site import Site
from analysis.serve.store import Job
from analysis.serve.uploads import text_of


class Pages:
    """What a browser sees."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.routes = [
            Route("/", self.home),
            Route("/formats", self.formats),
            Route("/enter", self.enter),
            Route("/enter", self.let_in, methods=["POST"]),
            Route("/enter/{once}", self.enter),
            Route("/jobs", self.upload, methods=["POST"]),
            Route("/jobs/{job}", self.job),
            Route("/jobs/{job}/report", self.report),
            Route("/jobs/{job}/report.{form:str}", self.report_file),
            Route("/jobs/{job}/files/{number:int}", self.original),
            Route("/jobs/{job}/note", self.note, methods=["POST"]),
            Route("/jobs/{job}/delete", self.ask_delete),
            Route("/jobs/{job}/delete", self.delete, methods=["POST"]),
        ]

    def home(self, request: Request) -> Response:
        """The form, and what was sent earlier."""
        wanted = request.query_params.get("q", "")[:200]
        jobs = self._site.store.search(wanted, self._site.limits.listed_jobs)
        return self._site.page(request, "home.html", jobs=jobs, wanted=wanted)

    def formats(self, request: Request) -> Response:
        """What can be read: the same list as on the command line."""
        from canlog.capture.registry import FORMATS

        return self._site.page(request, "formats.html", formats=FORMATS)

    async def upload(self, request: Request) -> Response:
        """A new job."""
        name = await self._site.take(await self._site.form(request))
        return RedirectResponse(f"/jobs/{name}", 303)

    def job(self, request: Request) -> Response:
        """How far a job is; then its answer, notes and files."""
        job = self._site.job(request)
        return self._site.page(
            request, "job.html", job=job, files=self._site.store.files(job.id),
            percent=self._site.worker.permille(job.id) // 10, before=self._site.store.n_before(job),
            others=self._others(job) if job.state == "done" else [],
        )  # fmt: skip

    def _others(self, job: Job) -> list[Job]:
        """Recordings to compare with."""
        found = self._site.store.search("", self._site.limits.listed_jobs)
        return [one for one in found if one.state == "done" and one.id != job.id]

    def report(self, request: Request) -> Response:
        """The report as a page."""
        return self._site.report(
            self._site.job(request), "html", {"Content-Security-Policy": REPORT_POLICY}, as_file=False
        )

    def report_file(self, request: Request) -> Response:
        """The report to keep."""
        form = request.path_params["form"]
        if form not in ("html", "json"):
            raise HTTPException(404, "reports are kept as html and json")
        return self._site.report(self._site.job(request), form, {}, as_file=True)

    def original(self, request: Request) -> Response:
        """What was sent, byte for byte; never as something that a browser would open."""
        job = self._site.job(request)
        for one in self._site.store.files(job.id):
            if one.number == request.path_params["number"]:
                path = self._site.store.originals.path(one.sha256)
                return FileResponse(path, media_type="application/octet-stream", filename=one.name)
        raise HTTPException(404, "this job has no such file")

    async def note(self, request: Request) -> Response:
        """Replace the note."""
        form = await self._site.form(request)
        job = self._site.job(request)
        note = text_of(form, "note", self._site.limits.note_chars)
        await run_in_threadpool(self._site.store.annotate, job.id, note)
        return RedirectResponse(f"/jobs/{job.id}", 303)

    def ask_delete(self, request: Request) -> Response:
        """Ask first."""
        job = self._site.job(request)
        return self._site.page(request, "delete.html", job=job, files=self._site.store.files(job.id))

    async def delete(self, request: Request) -> Response:
        """Delete for good."""
        await self._site.form(request)
        await run_in_threadpool(self._site.store.delete, self._site.job(request).id)
        return RedirectResponse("/", 303)

    def enter(self, request: Request) -> Response:
        """Ask for the key; an address that lets in once waits for a press, because previews open addresses too."""
        once = request.path_params.get("once", "")
        if once and not self._site.access.knows_once(once):
            raise HTTPException(403, "this address was used already; enter the access key, or start canlog serve again")
        return self._site.page(request, "enter.html", once=once, wrong=False)

    async def let_in(self, request: Request) -> Response:
        """Take a key, or an address that lets in once."""
        form = await self._site.form(request)
        access, limits = self._site.access, self._site.limits
        address = request.client.host if request.client is not None else ""
        if not self._site.rates.allows("enter", address, limits.key_attempts_per_minute):
            raise HTTPException(429, "too many attempts; wait a minute", {"Retry-After": "60"})
        if not (access.use_once(text_of(form, "once", 200)) or access.is_key(text_of(form, "key", 200))):
            return self._site.page(request, "enter.html", 403, once="", wrong=True)
        response = RedirectResponse("/", 303)
        cookie = access.cookie(access.new_session(entered=True))
        response.set_cookie(COOKIE, cookie, limits.session_s, httponly=True, samesite="strict")
        return response
