"""From the drop to the words: a large capture sent to a running page, beside `canlog report` on the same file.

What is asked: no more than one and a half times the report plus the transfer. The transfer is the same request sent to
a socket that only reads. The three are measured by turns, so that whatever else the machine does meets them alike.
As in the benchmark, modules may be kept compiled, as Python does unless it is told otherwise.
"""

from __future__ import annotations

import os
import socket
import statistics
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

import httpx2
from benchmark.captures import write_capture
from kills import OWN, ROOT, served

ALLOWED = 1.5


@dataclass
class Large:
    """Seconds, one of each a round."""

    megabytes: float
    report: list[float] = field(default_factory=list)
    transfer: list[float] = field(default_factory=list)
    acknowledged: list[float] = field(default_factory=list)
    words: list[float] = field(default_factory=list)

    @property
    def ratio(self) -> float:
        """Of the words to the report, the transfer taken off."""
        return (statistics.median(self.words) - statistics.median(self.transfer)) / statistics.median(self.report)

    def lines(self) -> Iterator[str]:
        """For people."""
        yield f"{self.megabytes:.0f} MB, medians of {len(self.words)} rounds"
        for what, times in (("`canlog report`", self.report), ("the transfer alone", self.transfer),
                            ("drop to acknowledgement", self.acknowledged), ("drop to words", self.words)):  # fmt: skip
            yield f"  {what}: {statistics.median(times):.2f} s ({min(times):.2f} to {max(times):.2f})"
        yield f"  words without transfer : report = {self.ratio:.2f}, allowed {ALLOWED}"


def large(folder: Path, frames: int, rounds: int) -> Large:
    """Serve from a new data folder and measure; a first round that does not count warms everything."""
    capture = folder / "large.log"
    write_capture(capture, frames)
    found = Large(capture.stat().st_size / 1e6)
    with served(folder / "data") as (_, base), httpx2.Client(base_url=base, headers=OWN, timeout=600) as visitor:
        for number in range(rounds + 1):
            times = _timed(lambda: _report(capture)), _timed(lambda: _only_sent(capture)), *_dropped(visitor, capture)
            if number:
                for kept, one in zip(
                    (found.report, found.transfer, found.acknowledged, found.words), times, strict=True
                ):
                    kept.append(one)
    return found


def _timed(act: Callable[[], None]) -> float:
    began = time.monotonic()
    act()
    return time.monotonic() - began


def _report(capture: Path) -> None:
    command = [sys.executable, "-m", "analysis.cli", "report", str(capture)]
    subprocess.run(command, cwd=ROOT, env=os.environ, stdout=subprocess.DEVNULL, check=False)


def _request(visitor: httpx2.Client, capture: Path) -> httpx2.Response:
    with capture.open("rb") as file:
        return visitor.post("/api/jobs", files=[("captures", (capture.name, file))])


def _only_sent(capture: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listening:
        taker = threading.Thread(target=_take, args=(listening,))
        taker.start()
        with httpx2.Client(base_url=f"http://127.0.0.1:{listening.getsockname()[1]}", timeout=600) as visitor:
            _request(visitor, capture)
        taker.join()


def _take(listening: socket.socket) -> None:
    taken, _ = listening.accept()
    with taken:
        head = b""
        while b"\r\n\r\n" not in head:
            head += taken.recv(1 << 16)
        top, _, rest = head.partition(b"\r\n\r\n")
        left = int(top.lower().partition(b"content-length:")[2].split()[0]) - len(rest)
        while left:
            left -= len(taken.recv(1 << 16))
        taken.sendall(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n")


def _dropped(visitor: httpx2.Client, capture: Path) -> tuple[float, float]:
    """Until it is acknowledged, and until the open page is told that the words are there; then it is deleted."""
    began = time.monotonic()
    job = _request(visitor, capture).raise_for_status().json()["id"]
    acknowledged = time.monotonic() - began
    with visitor.stream("GET", f"/jobs/{job}/progress") as told:
        for _ in told.iter_lines():
            pass
    words = time.monotonic() - began
    assert visitor.get(f"/api/jobs/{job}").json()["state"] == "done"
    visitor.delete(f"/api/jobs/{job}")
    return acknowledged, words
