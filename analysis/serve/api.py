"""The same for programs: JSON, described by an OpenAPI document that names every path."""

from __future__ import annotations

from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from analysis.serve.guard import OWN_HEADER
from analysis.serve.site import Site
from analysis.serve.store import Job
from canlog import __version__


class Api:
    """What a program sees. ``Authorization: Bearer KEY`` on the network, on loopback one header of our own."""

    def __init__(self, site: Site) -> None:
        self._site = site
        self.routes = [
            Route("/api/openapi.json", self.described),
            Route("/api/jobs", self.jobs),
            Route("/api/jobs", self.upload, methods=["POST"]),
            Route("/api/jobs/{job}", self.job),
            Route("/api/jobs/{job}", self.delete, methods=["DELETE"]),
            Route("/api/jobs/{job}/report", self.report),
        ]

    def described(self, request: Request) -> Response:
        """The description."""
        return JSONResponse(openapi())

    def jobs(self, request: Request) -> Response:
        """Earlier jobs."""
        found = self._site.store.search(request.query_params.get("q", "")[:200], self._site.limits.listed_jobs)
        return JSONResponse({"jobs": [self._told(job) for job in found]})

    async def upload(self, request: Request) -> Response:
        """A new job."""
        if not request.headers.get("content-type", "").lower().startswith("multipart/form-data"):
            raise HTTPException(415, "send the files as a form: multipart/form-data")
        name = await self._site.take(await self._site.form_without_token(request))
        job = await run_in_threadpool(self._site.store.job, name)
        assert job is not None
        return JSONResponse(self._told(job), 201, {"Location": f"/api/jobs/{name}"})

    def job(self, request: Request) -> Response:
        """How far a job is."""
        return JSONResponse(self._told(self._site.job(request)))

    async def delete(self, request: Request) -> Response:
        """Delete for good."""
        await run_in_threadpool(self._site.store.delete, self._site.job(request).id)
        return Response(status_code=204)

    def report(self, request: Request) -> Response:
        """The report, as `canlog report --json` writes it."""
        return self._site.report(self._site.job(request), "json", {}, as_file=False)

    def _told(self, job: Job) -> dict[str, Any]:
        return {
            "id": job.id,
            "created": f"{job.created.replace(' ', 'T')}Z",
            "state": job.state,
            "percent": 100 if job.state == "done" else self._site.worker.permille(job.id) // 10,
            "before": self._site.store.n_before(job) if job.state == "waiting" else 0,
            "headline": job.headline,
            "overall": job.overall or None,
            "problem": job.problem,
            "hint": job.hint,
            "note": job.note,
            "page": f"/jobs/{job.id}",
            "report": f"/api/jobs/{job.id}/report" if job.state == "done" else None,
        }


def openapi() -> dict[str, Any]:
    """The OpenAPI document (OpenAPI Specification 3.1.0)."""
    job_path = [{"name": "job", "in": "path", "required": True, "schema": {"type": "string", "minLength": 1}}]
    words = {
        "name": "q", "in": "query", "schema": {"type": "string"},
        "description": "words to find: VIN, module, headline, note, file name, date; the first 200 characters count",
    }  # fmt: skip
    any_json: dict[str, Any] = {"content": {"application/json": {}}}
    accepted = _answer("Job") | {"headers": {"Location": {"required": True, "schema": {"type": "string"}}}}
    return {
        "openapi": "3.1.0",
        "info": {
            "title": "canlog serve",
            "version": __version__,
            "description": "Captures in, reports out. It only reads recordings.",
        },
        "security": [{"key": []}, {"loopback": []}],
        "paths": {
            "/api/openapi.json": {
                "get": _operation("this document", {"200": {"description": "OpenAPI document", **any_json}}),
            },
            "/api/jobs": {
                "get": {
                    **_operation("earlier jobs, newest first", {"200": _answer("Jobs")}), "parameters": [words],
                },
                "post": {
                    **_operation("send the captures of one job", {"201": accepted}, _SENDING),
                    "requestBody": {
                        "required": True,
                        "content": {"multipart/form-data": {"schema": {"$ref": "#/components/schemas/Upload"}}},
                    },
                },
            },
            "/api/jobs/{job}": {
                "parameters": job_path,
                "get": _operation("how far a job is", {"200": _answer("Job")}, _OF_A_JOB),
                "delete": _operation("delete for good", {"204": {"description": "deleted"}}, _CHANGING | _OF_A_JOB),
            },
            "/api/jobs/{job}/report": {
                "parameters": job_path,
                "get": _operation(
                    "the report, in the form of `canlog report --json`",
                    {"200": {"description": "report", **any_json}}, _OF_A_JOB,
                ),
            },
        },
        "components": {
            "securitySchemes": {
                "key": {"type": "http", "scheme": "bearer", "description": "the access key, on the network"},
                "loopback": {"type": "apiKey", "in": "header", "name": OWN_HEADER, "description": "any value"},
            },
            "schemas": _schemas(),
        },
    }  # fmt: skip


#: What is refused, by status: everywhere, where something changes, where files arrive, where a job is named.
_ANYWHERE = {
    "400": "the request is broken",
    "401": "no access key, on the network",
    "413": "more than may be sent",
    "421": "not served under this host name",
    "429": "too often; Retry-After says when again",
    "500": "a mistake in canlog",
}
_CHANGING = {"403": "not from a program of your own: the header is missing, or another site sent it"}
_SENDING = _CHANGING | {
    "400": "no capture, or a form, sheet or names file that cannot be used",
    "408": "the upload stood still",
    "415": "no multipart form",
    "507": "the disk is nearly full",
}
_OF_A_JOB = {"404": "there is no such job, or no report of it yet"}


def _schemas() -> dict[str, Any]:
    text: dict[str, Any] = {"type": "string"}
    count: dict[str, Any] = {"type": "integer", "minimum": 0}
    files = {"type": "array", "items": {"type": "string", "contentMediaType": "application/octet-stream"}}
    job = {
        "id": text, "created": text, "state": {"enum": ["waiting", "running", "done", "failed"]}, "percent": count,
        "before": count, "headline": text, "overall": {"type": ["string", "null"]}, "problem": text, "hint": text,
        "note": text, "page": text, "report": {"type": ["string", "null"]},
    }  # fmt: skip
    upload = {"captures": files, "sheet": files["items"], "names": files, "note": text}
    upload |= {"vin": text, "link": text, "software": text, "calibration": text, "trims": text}
    return {
        "Job": {"type": "object", "properties": job, "required": list(job)},
        "Jobs": _object({"jobs": {"type": "array", "items": {"$ref": "#/components/schemas/Job"}}}),
        "Upload": {"type": "object", "properties": upload, "required": ["captures"]},
        "Problem": _object({"problem": text, "hint": text}),
    }


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties)}


def _operation(summary: str, responses: dict[str, Any], refused: dict[str, str] | None = None) -> dict[str, Any]:
    wrong = {
        status: {"description": why, "content": _json("Problem")}
        for status, why in sorted((_ANYWHERE | (refused or {})).items())
    }
    return {"summary": summary, "responses": responses | wrong}


def _json(schema: str) -> dict[str, Any]:
    return {"application/json": {"schema": {"$ref": f"#/components/schemas/{schema}"}}}


def _answer(schema: str) -> dict[str, Any]:
    return {"description": schema.lower(), "content": _json(schema)}
