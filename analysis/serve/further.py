"""Pages that are made when asked for: the walk of a class, two recordings compared, rows and copies to keep."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import Route

from analysis.serve.extras import Extras
from analysis.serve.guard import report_policy
from analysis.serve.site import Site
from analysis.serve.store import Job

#: What somebody may ask for in an address: the audience of a walk, the rows to keep.
WALKS = ("class", "trainer", "sheet")
BESIDE = ("class", "trainer")
ROWS = ("exchanges", "trims")


class Further:
    """What a browser sees of a job besides its report."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self._extras = Extras(site.store, site.worker, site.limits)
        self.routes = [
            Route("/jobs/{job}/walk/{audience}", self.walk),
            Route("/jobs/{job}/{rows}.csv", self.rows),
            Route("/jobs/{job}/redacted.zip", self.redacted),
            Route("/compare", self.compare),
            Route("/compare/{audience}", self.beside),
        ]

    async def walk(self, request: Request) -> Response:
        """The session step by step."""
        audience = _one_of(WALKS, request, "audience")
        return _page(await self._extras.file(f"walk-{audience}", await self._site.job_later(request)))

    async def rows(self, request: Request) -> Response:
        """Rows as CSV."""
        kind = _one_of(ROWS, request, "rows")
        job = await self._site.job_later(request)
        return _to_keep(await self._extras.file(kind, job), f"{kind}-{job.created[:10]}.csv")

    async def redacted(self, request: Request) -> Response:
        """Copies of captures and sheet that may be shared."""
        job = await self._site.job_later(request)
        return _to_keep(await self._extras.file("redacted", job), f"redacted-{job.created[:10]}.zip")

    async def compare(self, request: Request) -> Response:
        """Two recordings: choose them; where they part once both are chosen."""
        good, bad = (request.query_params.get(side, "")[:200] for side in ("good", "bad"))
        jobs = [one for one in await self._site.search_later("") if one.state == "done"]
        found = ""
        if good and bad:
            pair = await self._pair(request.query_params)
            found = (await self._extras.file("compare", *pair)).read_text(encoding="utf-8")
        return self._site.page(request, "compare.html", jobs=jobs, found=found, good=good, bad=bad)

    async def beside(self, request: Request) -> Response:
        """The place where two recordings part, for a class."""
        audience = _one_of(BESIDE, request, "audience")
        good, bad = await self._pair(request.query_params)
        return _page(await self._extras.file(f"beside-{audience}", good, bad))

    async def _pair(self, chosen: Mapping[str, str]) -> tuple[Job, Job]:
        return (
            await self._site.job_named(chosen.get("good", "")),
            await self._site.job_named(chosen.get("bad", "")),
        )


def _one_of(known: tuple[str, ...], request: Request, name: str) -> str:
    value = str(request.path_params[name])
    if value not in known:
        raise HTTPException(404, f"there is no such page; known are {', '.join(known)}")
    return value


def _page(place: Path) -> Response:
    """A page that holds its style, and perhaps the one script of a walk."""
    from analysis.walk.as_html import script_hash

    headers = {"Content-Security-Policy": report_policy(f"script-src '{script_hash()}'; ")}
    return FileResponse(place, media_type="text/html; charset=utf-8", headers=headers)


def _to_keep(place: Path, name: str) -> Response:
    return FileResponse(place, media_type="application/octet-stream", filename=name)
