"""Many uploads at once on a running page, while somebody else reads an earlier report.

What counts: every upload is answered with 201, its bytes come back as they were sent, it gets its report, and the
reader hardly waits.
"""

from __future__ import annotations

import hashlib
import statistics
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx2
from benchmark.captures import write_capture
from kills import CAPTURE, OWN, served

#: Lines of a capture are 46 bytes; this makes 1 MB.
FRAMES_OF_1_MB = 21_700
#: Of the reader, beside the time of the answer; an address may ask 600 times a minute.
BETWEEN_S = 0.12
READER = "127.0.0.2"


@dataclass
class Load:
    """What was measured: times in seconds, ``wrong`` in words."""

    uploads: int
    uploading: list[float] = field(default_factory=list)  # each upload, until it was acknowledged
    reading: list[float] = field(default_factory=list)  # the earlier report while uploads were under way
    reading_later: list[float] = field(default_factory=list)  # the same while the queue was read
    all_acknowledged: float = 0.0
    all_read: float = 0.0
    wrong: list[str] = field(default_factory=list)

    def lines(self) -> Iterator[str]:
        """For people."""
        yield f"{self.uploads} uploads at once, all acknowledged after {self.all_acknowledged:.2f} s"
        yield f"  one upload: median {statistics.median(self.uploading):.2f} s, longest {max(self.uploading):.2f} s"
        yield f"  all read after {self.all_read:.1f} s"
        for what, times in (("uploads arrive", self.reading), ("the queue is read", self.reading_later)):
            median, longest = 1000 * statistics.median(times), 1000 * max(times)
            yield f"  an earlier report while {what}: median {median:.0f} ms, longest {longest:.0f} ms"
        yield f"  wrong: {len(self.wrong)}"
        yield from self.wrong[:20]


class _Run:
    def __init__(self, base: str, uploads: int, content: bytes) -> None:
        self._base = base
        self._content = content
        self._ready = threading.Barrier(uploads + 1)
        self._sent: dict[str, str] = {}  # job: SHA-256
        self.found = Load(uploads)

    def measure(self, patience_s: float) -> Load:
        """Read an earlier report again and again while everybody uploads and while the queue is read."""
        with self._visitor(READER) as reader:
            earlier = reader.post("/api/jobs", files=[("captures", ("earlier.log", CAPTURE.read_bytes()))]).json()["id"]
            self._wait(reader, {earlier}, time.monotonic() + 60)
            senders = [threading.Thread(target=self._send, args=(n,)) for n in range(self.found.uploads)]
            for one in senders:
                one.start()
            self._ready.wait()
            began = time.monotonic()
            while any(one.is_alive() for one in senders):
                self._read(reader, earlier, self.found.reading)
            self.found.all_acknowledged = time.monotonic() - began
            watch = threading.Thread(target=self._watch, args=(began + patience_s,))
            watch.start()
            while watch.is_alive():
                self._read(reader, earlier, self.found.reading_later)
            self.found.all_read = time.monotonic() - began
            self._compare()
        return self.found

    def _visitor(self, address: str) -> httpx2.Client:
        """A device of its own, as far as loopback has several."""
        way = httpx2.HTTPTransport(local_address=address)
        return httpx2.Client(base_url=self._base, headers=OWN, timeout=120, transport=way)

    def _send(self, number: int) -> None:
        content = self._content + f"(1436509999.{number:06d}) can0 7FF#00\n".encode()
        with self._visitor(f"127.0.1.{number + 1}") as visitor:
            request = visitor.build_request("POST", "/api/jobs", files=[("captures", (f"{number}.log", content))])
            request.read()  # ready to go: the generator shall not be what everybody waits for
            self._ready.wait()
            began = time.monotonic()
            try:
                answer = visitor.send(request)
            except httpx2.TransportError as error:
                self.found.wrong.append(f"upload {number}: {error!r}")
                return
            self.found.uploading.append(time.monotonic() - began)
        if answer.status_code == 201:
            self._sent[answer.json()["id"]] = hashlib.sha256(content).hexdigest()
        else:
            self.found.wrong.append(f"upload {number} answered {answer.status_code}: {answer.text[:200]}")

    def _read(self, reader: httpx2.Client, earlier: str, times: list[float]) -> None:
        began = time.monotonic()
        answer = reader.get(f"/jobs/{earlier}/report")
        times.append(time.monotonic() - began)
        if answer.status_code != 200 or "confirmed" not in answer.text:
            self.found.wrong.append(f"the earlier report answered {answer.status_code}")
        time.sleep(BETWEEN_S)

    def _watch(self, ends: float) -> None:
        with self._visitor("127.0.0.3") as watcher:
            self._wait(watcher, set(self._sent), ends)

    def _wait(self, visitor: httpx2.Client, wanted: set[str], ends: float) -> None:
        """Until all have an end; those without a report are wrong."""
        while True:
            jobs: dict[str, Any] = {one["id"]: one for one in visitor.get("/api/jobs").json()["jobs"]}
            states = {one: jobs[one]["state"] if one in jobs else "lost" for one in wanted}
            if not {"waiting", "running"} & set(states.values()) or time.monotonic() > ends:
                break
            time.sleep(0.3)
        for one, state in states.items():
            if state != "done":
                self.found.wrong.append(f"{one}: {state} {jobs.get(one, {}).get('problem', '')}")

    def _compare(self) -> None:
        """The bytes come back, and the report is of them."""
        with self._visitor("127.0.0.4") as visitor:
            for one, digest in self._sent.items():
                if hashlib.sha256(visitor.get(f"/jobs/{one}/files/0").content).hexdigest() != digest:
                    self.found.wrong.append(f"{one}: other bytes came back")
                report = visitor.get(f"/api/jobs/{one}/report")
                if report.status_code != 200 or report.json()["captures"][0]["sha256"] != digest:
                    self.found.wrong.append(f"{one}: no report of these bytes")


def load(folder: Path, uploads: int, frames: int = FRAMES_OF_1_MB, patience_s: float = 600) -> Load:
    """Serve from a new data folder and measure."""
    capture = folder / "load.log"
    write_capture(capture, frames)
    with served(folder / "data") as (_, base):
        return _Run(base, uploads, capture.read_bytes()).measure(patience_s)
