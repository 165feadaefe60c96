"""The application: pages and API behind one guard, with the worker running as long as it does."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from importlib.resources import files
from pathlib import Path

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import ClientDisconnect, Request
from starlette.responses import Response
from starlette.routing import Route

from analysis.serve.access import Access, Rates, kept_secret
from analysis.serve.api import Api
from analysis.serve.further import Further
from analysis.serve.guard import Guard
from analysis.serve.limits import ServeLimits
from analysis.serve.pages import Pages
from analysis.serve.site import Site
from analysis.serve.store import Store
from analysis.serve.watching import Watching
from analysis.serve.worker import Worker
from canlog.errors import CanlogError

_STATIC = {
    "icon.svg": ("analysis.serve", "static/icon.svg", "image/svg+xml"),
    "report.css": ("analysis.report", "report.css", "text/css"),
    "serve.css": ("analysis.serve", "static/serve.css", "text/css"),
    "serve.js": ("analysis.serve", "static/serve.js", "text/javascript"),
}


def open_site(data: Path, *, lan: bool, limits: ServeLimits | None = None) -> Site:
    """Open the data folder. On the network an access key is needed, which is kept in the folder.

    Raises:
        CanlogError: the folder cannot be used.
    """
    limits = limits or ServeLimits()
    store = Store(data)
    secret = kept_secret(data / "session_secret").encode()
    access = Access(secret, kept_secret(data / "access_key") if lan else None, limits.session_s)
    return Site(store, Worker(store, limits), access, limits, Rates())


def make_app(site: Site) -> Starlette:
    """The ASGI application of a site."""

    @asynccontextmanager
    async def lifespan(_: Starlette) -> AsyncIterator[None]:
        site.worker.start()
        yield
        await run_in_threadpool(site.worker.stop)
        site.store.close()

    return Starlette(
        routes=[
            *Pages(site).routes, *Further(site).routes, *Watching(site).routes, *Api(site).routes,
            Route("/static/{name}", _static),
        ],
        middleware=[
            Middleware(
                Guard, access=site.access, limits=site.limits, rates=site.rates, lan=site.access.needs_key,
                told=site.refusal,
            )
        ],
        exception_handlers={
            HTTPException: site.refusal, CanlogError: site.refusal, ClientDisconnect: _gone, Exception: site.refusal,
        },
        lifespan=lifespan,
    )  # fmt: skip


def _static(request: Request) -> Response:
    """One of our few files, by name and never by path."""
    try:
        package, place, kind = _STATIC[request.path_params["name"]]
    except KeyError:
        raise HTTPException(404, "there is no such page") from None
    return Response(files(package).joinpath(place).read_bytes(), media_type=kind)


def _gone(request: Request, error: Exception) -> Response:
    """Who went away reads no answer; what had arrived is dropped."""
    return Response(status_code=400)
