"""Stands before every page: what is refused here reaches no other code."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from starlette.datastructures import URL, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from analysis.serve.access import COOKIE, Access, Rates, Session, is_own_host
from analysis.serve.limits import ServeLimits

#: Nothing from anywhere else, no script but our file, no frame around a page.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)


def report_policy(script: str = "") -> str:
    """A report holds its style; it may neither send forms nor load anything, nor run what ``script`` does not allow."""
    return (
        f"default-src 'none'; style-src 'unsafe-inline'; {script}base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


REPORT_POLICY = report_policy()
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # with no-referrer browsers say of our own forms that they come from nowhere
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
    "Cache-Control": "no-store",
}
#: Paths at which somebody without a key may ask for one, and what that page needs.
OPEN = ("/enter", "/static/")
UPLOADS = ("/jobs", "/api/jobs")
#: A header that a page of another site cannot send without being asked for leave, which is never given.
OWN_HEADER = "X-Canlog-Request"


class Guard:
    """Checks host, rate, session, origin and size of every request, and adds the headers of every response."""

    def __init__(
        self, app: ASGIApp, access: Access, limits: ServeLimits, rates: Rates, lan: bool,
        told: Callable[[Request, HTTPException], Response],
    ) -> None:  # fmt: skip
        """``told`` makes the page that says what was refused."""
        self._app = app
        self._access = access
        self._limits = limits
        self._rates = rates
        self._lan = lan
        self._told = told
        self._turn = asyncio.Lock()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """One request."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        request = Request(scope)
        session = self._access.session(request.cookies.get(COOKIE))
        fresh = session is None
        session = session or self._access.new_session(entered=False)
        scope.setdefault("state", {})["session"] = session
        scope["state"]["token"] = self._access.token(session)
        set_cookie = fresh and not request.url.path.startswith(("/api/", "/static/"))

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
                if set_cookie and "set-cookie" not in headers:
                    headers.append("set-cookie", self.cookie_header(session))
            await send(message)

        try:
            elsewhere = self._refuse(request, session, fresh=fresh)
            bounded = self._bounded(request, receive)
        except HTTPException as error:
            elsewhere = self._told(request, error)
        if elsewhere is not None:
            await elsewhere(scope, receive, sending)
            return
        await self._app(scope, bounded, sending)

    def cookie_header(self, session: Session) -> str:
        """A cookie that no script reads and no other site sends."""
        age = self._limits.session_s
        return f"{COOKIE}={self._access.cookie(session)}; Path=/; Max-Age={age}; HttpOnly; SameSite=Strict"

    def _refuse(self, request: Request, session: Session, *, fresh: bool) -> Response | None:
        if not is_own_host(request.headers.get("host", ""), lan=self._lan):
            raise HTTPException(421, "this page is not served under that name; use the address that canlog printed")
        address = request.client.host if request.client is not None else ""
        if not self._rates.allows("request", address, self._limits.requests_per_minute):
            raise HTTPException(429, "too many requests; wait a minute", {"Retry-After": "60"})
        path = request.url.path
        is_api = path.startswith("/api/")
        has_key = is_api and self._has_key(request, address)
        if not (session.entered or has_key or path.startswith(OPEN)):
            if is_api:
                raise HTTPException(
                    401, "send the access key as: Authorization: Bearer KEY", {"WWW-Authenticate": "Bearer"}
                )
            return RedirectResponse("/enter", 303)
        if request.method not in ("GET", "HEAD"):
            self._refuse_foreign(request)
            if is_api:
                if not (has_key or OWN_HEADER in request.headers):
                    raise HTTPException(403, f"send the header {OWN_HEADER}: 1")
            elif fresh:
                raise HTTPException(403, "this form is too old; open the page again")
            if path in UPLOADS and not self._rates.allows("upload", address, self._limits.uploads_per_minute):
                raise HTTPException(429, "too many uploads; wait a minute", {"Retry-After": "60"})
        return None

    def _has_key(self, request: Request, address: str) -> bool:
        kind, _, shown = request.headers.get("authorization", "").partition(" ")
        if kind.lower() != "bearer" or not self._access.needs_key:
            return False
        if not self._rates.allows("key", address, self._limits.requests_per_minute):
            raise HTTPException(429, "too many requests; wait a minute", {"Retry-After": "60"})
        if self._access.is_key(shown):
            return True
        if not self._rates.allows("wrong key", address, self._limits.key_attempts_per_minute):
            raise HTTPException(429, "too many wrong keys; wait a minute", {"Retry-After": "60"})
        return False

    @staticmethod
    def _refuse_foreign(request: Request) -> None:
        """What browsers say about where a form came from; those that say nothing are held by cookie and token."""
        origin = request.headers.get("origin")
        if request.headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none") or (
            origin is not None and URL(origin).netloc != request.headers.get("host", "")
        ):
            raise HTTPException(403, "a page of another site may not send this")

    def _bounded(self, request: Request, receive: Receive) -> Receive:
        """The body, up to its limit and without long pauses."""
        is_upload = request.url.path in UPLOADS
        most = self._limits.upload_bytes if is_upload else self._limits.form_bytes
        too_large = HTTPException(413, f"larger than the {most >> 20 or 1} MiB that one upload may have")
        announced = request.headers.get("content-length", "0")
        if not announced.isdecimal() or int(announced) > most:
            raise too_large
        received, complete = 0, False

        async def bounded() -> Message:
            nonlocal received, complete
            if complete:  # what comes now is only that the visitor went away
                return await receive()
            try:
                message = await asyncio.wait_for(receive(), self._limits.body_pause_s)
            except TimeoutError:
                raise HTTPException(408, "the upload stood still for too long") from None
            received += len(message.get("body", b""))
            complete = not message.get("more_body", False)
            if received > most:
                raise too_large
            if is_upload:
                async with self._turn:  # one piece of one upload, then whoever only reads goes first
                    await asyncio.sleep(0)
            return message

        return bounded
