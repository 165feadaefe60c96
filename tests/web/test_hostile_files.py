"""Files made to fill the memory or leave their folder: a report, or words, and the page goes on.

Sizes are small enough for CI; what a child uses is bounded by its limits and measured here by the system.
"""

from __future__ import annotations

import gzip
import io
import lzma
import resource
import socket
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import httpx2
import pytest
import zstandard
from conftest_web import BASE, CAPTURE, Visitor, wait_for
from kills import OWN, served

from analysis.serve.app import make_app, open_site
from analysis.serve.limits import ServeLimits

GOOD = CAPTURE.read_bytes()
LINES = b"(1436509052.249713) can0 123#0011223344556677\n" * 500_000
MOST_OF_A_CHILD = 1 << 30


def zipped(*members: tuple[str, bytes]) -> bytes:
    stream = io.BytesIO()
    with zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, data in members:
            archive.writestr(name, data)
    return stream.getvalue()


def nested() -> bytes:
    held = GOOD
    for _ in range(12):
        held = gzip.compress(held)
    return zipped(("inner.zip", zipped(("inner.log.gz", held))))


FILES: dict[str, Callable[[], bytes]] = {
    "bomb.log.gz": lambda: gzip.compress(b"A" * 60_000_000, 1),
    "lines.log.gz": lambda: gzip.compress(LINES, 1),
    "bomb.log.xz": lambda: lzma.compress(b"A" * 60_000_000, preset=0),
    "bomb.log.zst": lambda: zstandard.compress(bytes(60_000_000)),
    "bomb.zip": lambda: zipped(("a.log", b"A" * 60_000_000)),
    "nested.zip": nested,
    "many.zip": lambda: zipped(*((f"{number}.log", b"x") for number in range(5_000))),
    "leaves.zip": lambda: zipped(("../../../../tmp/left.log", GOOD), ("/tmp/left.log", GOOD)),
    "leaves-alone.zip": lambda: zipped(("../../../../../../tmp/canlog-left.log", GOOD)),
    "cut.log.gz": lambda: gzip.compress(GOOD)[:-20],
    "cut.zip": lambda: zipped(("a.log", GOOD))[:-30],
    "one-line.log": lambda: GOOD + b"(1436509999.000000) can0 7FF#" + b"0" * 10_000_000,
    "nul.log": lambda: bytes(5_000_000),
    "empty.log": lambda: b"",
}


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Visitor]:
    limits = replace(ServeLimits(), analysis_file_bytes=200_000_000, analysis_s=120, requests_per_minute=10**6)
    site = open_site(tmp_path_factory.mktemp("files") / "data", lan=False, limits=limits)
    with Visitor(make_app(site), base_url=BASE) as visitor:
        yield visitor


@pytest.mark.parametrize("name", FILES)
def test_a_file_made_to_harm_gets_a_report_or_words(page: Visitor, name: str) -> None:
    job = wait_for(page, page.upload((name, FILES[name]())).headers["location"], 150)
    assert job["state"] == "done" or (job["problem"] and job["hint"]), job
    assert "mistake in canlog" not in job["problem"]
    assert page.get(str(job["page"])).status_code == 200
    assert not Path("/tmp/canlog-left.log").exists()
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 < MOST_OF_A_CHILD


LIES = (
    "Content-Length: 5", "Content-Length: 90000", "Content-Length: -1", "Content-Length: 1e9",
    "Content-Length: 99999999999", "Content-Length: 5\r\nContent-Length: 6", "Transfer-Encoding: chunked",
    "Content-Length: 5\r\nTransfer-Encoding: chunked", "Transfer-Encoding: gzip", "X-Long: " + "a" * 100_000,
    "Expect: 100-continue\r\nContent-Length: 40", "Host: elsewhere",
)  # fmt: skip


def test_lies_about_the_length_break_nothing(tmp_path: Path) -> None:
    with served(tmp_path / "data") as (process, base):
        place = base.split("/")[2]
        for lie in LIES:
            with socket.create_connection((place.split(":")[0], int(place.split(":")[1])), timeout=10) as sent:
                head = f"POST /api/jobs HTTP/1.1\r\nHost: {place}\r\nX-Canlog-Request: 1\r\n{lie}\r\n"
                sent.sendall(f"{head}Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n\r\nzz".encode())
                sent.shutdown(socket.SHUT_WR)
                answer = b"".join(iter(lambda s=sent: s.recv(65_536), b""))  # type: ignore[misc]
            assert b" 500 " not in answer.partition(b"\r\n")[0], lie
        assert httpx2.get(f"{base}/api/jobs", headers=OWN).json() == {"jobs": []}
        assert list((tmp_path / "data" / "arriving").iterdir()) == [] and process.poll() is None
