"""A real process, killed without warning while it reads: what it acknowledged is read at the next start."""

from __future__ import annotations

import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx2
import pytest
from kills import CAPTURE, OWN, ROOT, Kills, served

from analysis.serve.children import COMMAND
from analysis.serve.task import Task


def children(process: subprocess.Popen[str]) -> list[int]:
    text = Path(f"/proc/{process.pid}/task").glob("*/children")
    return [int(one) for path in text for one in path.read_text(encoding="ascii").split()]


def wait_until(is_so: object, seconds: float = 30) -> None:
    ends = time.monotonic() + seconds
    while not is_so():  # type: ignore[operator]
        assert time.monotonic() < ends
        time.sleep(0.02)


def state(base: str, job: str) -> str:
    return str(httpx2.get(f"{base}/api/jobs/{job}").json()["state"])


def test_what_was_acknowledged_outlives_a_kill(tmp_path: Path) -> None:
    data = tmp_path / "data"
    with served(data) as (process, base):
        files = [("captures", ("one.log", CAPTURE.read_bytes()))]
        jobs = [httpx2.post(f"{base}/api/jobs", files=files, headers=OWN).json()["id"] for _ in range(3)]
        half = socket.create_connection((base.split("/")[2].split(":")[0], int(base.rpartition(":")[2])))
        half.sendall(
            f"POST /api/jobs HTTP/1.1\r\nHost: {base.split('/')[2]}\r\nX-Canlog-Request: 1\r\nContent-Length: 90000\r\n"
            "Content-Type: multipart/form-data; boundary=x\r\n\r\n--x\r\n".encode()
        )
        wait_until(lambda: children(process))
        (reader, *_) = children(process)
        process.send_signal(signal.SIGKILL)
        process.wait()
        half.close()
    wait_until(lambda: not Path(f"/proc/{reader}").exists())  # the child ends with the page
    with served(data) as (_, base):
        wait_until(lambda: all(state(base, job) == "done" for job in jobs), 90)
        assert all("confirmed" in httpx2.get(f"{base}/jobs/{job}/report").text for job in jobs)
        assert {job["id"] for job in httpx2.get(f"{base}/api/jobs").json()["jobs"]} == set(jobs)
        wait_until(lambda: list((data / "work").iterdir()) == [])
        assert list((data / "arriving").iterdir()) == []


def test_after_the_kill_of_a_page_that_rests_no_process_remains(tmp_path: Path) -> None:
    with served(tmp_path / "data") as (process, _):
        wait_until(lambda: children(process))
        (waiting,) = children(process)
        process.send_signal(signal.SIGKILL)
        process.wait()
    wait_until(lambda: not Path(f"/proc/{waiting}").exists())


def test_a_process_waits_again_after_one_has_made_rows(tmp_path: Path) -> None:
    with served(tmp_path / "data") as (process, base):
        files = [("captures", ("one.log", CAPTURE.read_bytes()))]
        job = httpx2.post(f"{base}/api/jobs", files=files, headers=OWN).json()["id"]
        wait_until(lambda: state(base, job) == "done" and len(children(process)) == 1)
        (before,) = children(process)
        assert httpx2.get(f"{base}/jobs/{job}/exchanges.csv", timeout=60).status_code == 200
        wait_until(lambda: children(process) not in ([], [before]), 10)


def test_a_child_ends_quietly_while_its_page_lives(tmp_path: Path) -> None:
    Task("report", [str(CAPTURE)], None, [], [], [], 60, 4 << 30, 1 << 30).write(tmp_path)
    command = [*COMMAND, str(tmp_path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stderr=subprocess.PIPE, text=True, cwd=ROOT) as child:
        assert child.wait(60) == 0
        assert child.stderr is not None and child.stderr.read() == ""
    assert (tmp_path / "report.html").exists()


def test_a_folder_in_use_and_a_port_in_use_are_said(tmp_path: Path) -> None:
    with served(tmp_path / "data") as (_, base):
        port = base.rpartition(":")[2]
        for extra, said in ((["--port", "0"], "another canlog serve"), (["--port", port], f"port {port}")):
            command = [sys.executable, "-m", "analysis.cli", "serve", "--data", str(tmp_path / "data"), *extra]
            result = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, check=False, timeout=30)
            assert result.returncode == 2 and said in result.stderr and "Traceback" not in result.stderr


@pytest.mark.parametrize("seed", [1])
def test_kills_at_random_moments_lose_nothing(tmp_path: Path, seed: int) -> None:
    """More kills than any count of attempts that somebody may think enough."""
    kills = Kills(tmp_path / "data", seed)
    for _ in range(5):
        kills.kill_once()
    kills.finish(60)
    assert kills.wrong == [] and kills.acknowledged
