"""A page on a data folder of its own, and a visitor."""

from __future__ import annotations

import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from analysis.serve.app import make_app, open_site
from analysis.serve.site import Site

ROOT = Path(__file__).parents[2]
CAPTURE = ROOT / "fixtures" / "uds11-all-good-short" / "capture.log"
BASE = "http://127.0.0.1:8077"


class Visitor(TestClient):
    """Sends what a browser sends."""

    def form_token(self) -> str:
        match = re.search(r'name="token" value="([^"]+)"', self.get("/").text)
        assert match
        return match[1]

    def upload(self, *captures: tuple[str, bytes], files: Any = (), **fields: str) -> Any:
        parts = [("captures", one) for one in captures] + list(files)
        return self.post("/jobs", data={"token": self.form_token(), **fields}, files=parts, follow_redirects=False)

    def read(self, *captures: tuple[str, bytes], files: Any = (), **fields: str) -> str:
        """Send and wait; the address of the job."""
        answer = self.upload(*captures, files=files, **fields)
        assert answer.status_code == 303, answer.text
        wait_for(self, answer.headers["location"])
        return str(answer.headers["location"])


def wait_for(client: TestClient, place: str, seconds: float = 60) -> dict[str, Any]:
    ends = time.monotonic() + seconds
    while True:
        job = client.get(f"/api{place}").json()
        if job["state"] in ("done", "failed"):
            return dict(job)
        assert time.monotonic() < ends, job
        time.sleep(0.05)


@pytest.fixture
def site(tmp_path: Path) -> Iterator[Site]:
    opened = open_site(tmp_path / "data", lan=False)
    yield opened
    opened.store.close()  # again, where the application has done it


@pytest.fixture
def visitor(site: Site) -> Iterator[Visitor]:
    with Visitor(make_app(site), base_url=BASE) as client:
        yield client
