"""A running page killed without warning at a random moment, again and again on one data folder.

What counts: a job whose upload was answered with 201 is there at the next start, and gets the report of its capture;
the tables are whole; no file lies about that no job names.
"""

from __future__ import annotations

import os
import random
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

import httpx2

ROOT = Path(__file__).parents[2]
CAPTURE = ROOT / "fixtures" / "uds11-all-good-short" / "capture.log"
OWN = {"X-Canlog-Request": "1"}
#: Half of the kills fall into uploads (about 20 ms each), half into the reading of one (about 1 s).
UPLOADING_S = 0.08
READING_S = 1.2
UPLOADERS = 2


class Acknowledged(NamedTuple):
    """A job that the page has promised to keep."""

    id: str
    name: str


@contextmanager
def served(data: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A running page; process and address."""
    command = [sys.executable, "-m", "analysis.cli", "serve", "--port", "0", "--data", str(data)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=ROOT, env=os.environ) as process:
        try:
            assert process.stdout is not None
            match = re.search(r"http://[\d.]+:\d+", process.stdout.readline())
            assert match
            yield process, match[0]
        finally:
            process.kill()


class Kills:
    """One data folder and what the page said of it."""

    def __init__(self, data: Path, seed: int) -> None:
        self._data = data
        self._random = random.Random(seed)
        self._capture = CAPTURE.read_bytes()
        self._answered = threading.Event()
        self.acknowledged: list[Acknowledged] = []
        self.wrong: list[str] = []

    def kill_once(self) -> None:
        """Send, kill, and look at the folder that is left."""
        self._answered.clear()
        with served(self._data) as (process, base):
            senders = [threading.Thread(target=self._send, args=(base,)) for _ in range(UPLOADERS)]
            for one in senders:
                one.start()
            while_reading = self._random.random() < 0.5
            if while_reading:
                self._answered.wait(30)
            time.sleep(self._random.uniform(0, READING_S if while_reading else UPLOADING_S))
            process.send_signal(signal.SIGKILL)
            process.wait()
            for one in senders:
                one.join()
        self._judge_left()

    def _send(self, base: str) -> None:
        """One upload, unless the page is gone before it answers; each capture differs in its last line."""
        number = self._random.randrange(10**6)
        content = self._capture + f"(1436509999.{number:06d}) can0 7FF#00\n".encode()
        files = [("captures", (f"{number}.log", content))]
        with suppress(httpx2.TransportError):
            answer = httpx2.post(f"{base}/api/jobs", files=files, headers=OWN, timeout=60)
            if answer.status_code == 201:
                self.acknowledged.append(Acknowledged(answer.json()["id"], f"{number}.log"))
                self._answered.set()
            else:
                self.wrong.append(f"upload answered {answer.status_code}: {answer.text[:200]}")

    def _judge_left(self) -> None:
        """What a kill leaves, before anything has put it right: the tables are whole, and name what was promised."""
        with sqlite3.connect(self._data / "jobs.sqlite") as tables:
            health = tables.execute("PRAGMA integrity_check").fetchone()[0]
            known = {row[0] for row in tables.execute("SELECT id FROM jobs")}
            wanted = {row[0] for row in tables.execute("SELECT sha256 FROM files")}
        tables.close()
        if health != "ok":
            self.wrong.append(f"tables: {health}")
        self.wrong += [f"lost: {one}" for one in self.acknowledged if one.id not in known]
        kept = {path.name for path in (self._data / "originals").glob("*/*")}
        self.wrong += [f"original lost: {one}" for one in wanted - kept]

    def finish(self, patience_s: float) -> None:
        """Start once more and wait for every report; then look for files that nobody names."""
        with served(self._data) as (_, base), httpx2.Client(base_url=base, timeout=30) as client:
            for one in self.acknowledged:
                self._judge_report(client, one, time.monotonic() + patience_s)
            ids = {path.name.partition(".")[0] for path in (self._data / "reports").iterdir()}
            with sqlite3.connect(self._data / "jobs.sqlite") as tables:
                done = {row[0] for row in tables.execute("SELECT id FROM jobs")}
                named = {row[0] for row in tables.execute("SELECT sha256 FROM files")}
            tables.close()
            kept = {path.name for path in (self._data / "originals").glob("*/*")}
            self.wrong += [f"file that no job names: {one}" for one in (ids - done) | (kept ^ named)]
            self.wrong += [f"half an upload: {path}" for path in (self._data / "arriving").iterdir()]

    def _judge_report(self, client: httpx2.Client, one: Acknowledged, ends: float) -> None:
        while (state := client.get(f"/api/jobs/{one.id}").json()["state"]) not in ("done", "failed"):
            if time.monotonic() > ends:
                break
            time.sleep(0.15)
        if state != "done":
            self.wrong.append(f"no report: {one}: {state}")
            return
        report = client.get(f"/api/jobs/{one.id}/report").json()
        if report["captures"][0]["name"] != one.name or report["verdict"]["overall"] != "confirmed":
            self.wrong.append(f"another report: {one}")
