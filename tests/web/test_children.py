"""The process that is started ahead: it is used, replaced when it has died, and ends with the page."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from kills import CAPTURE

from analysis.serve.children import Child, Children
from analysis.serve.limits import ServeLimits
from analysis.serve.reading import run
from analysis.serve.task import OUTCOME, REPORT, Task


@pytest.fixture
def children(tmp_path: Path) -> Iterator[Children]:
    fonts = tmp_path / "fonts"
    fonts.mkdir()
    own = Children(fonts)
    own.start_ahead()
    yield own
    own.stop()


def waiting(own: Children) -> Child:
    child = own._ahead
    assert child is not None
    return child


def read_in(own: Children, folder: Path) -> str:
    folder.mkdir()
    limits = ServeLimits()
    Task(
        REPORT, [str(CAPTURE)], None, [], [], [],
        limits.analysis_s, limits.analysis_memory_bytes, limits.analysis_file_bytes,
    ).write(folder)  # fmt: skip
    run(own, folder, limits, lambda: "")
    return (folder / OUTCOME).read_text(encoding="utf-8")


def test_the_process_started_ahead_reads_the_next_job_and_only_that(children: Children, tmp_path: Path) -> None:
    ahead = waiting(children)
    assert "headline" in read_in(children, tmp_path / "one")
    assert ahead.poll() is not None and children._ahead is None
    assert "headline" in read_in(children, tmp_path / "two")


def test_one_that_died_is_replaced_by_a_new_one(children: Children, tmp_path: Path) -> None:
    os.kill(waiting(children).pid, signal.SIGKILL)
    waiting(children).wait()
    assert "headline" in read_in(children, tmp_path / "one")


def test_one_that_died_while_waiting_is_replaced_before_a_job_comes(children: Children) -> None:
    died = waiting(children)
    died.kill()
    died.wait()
    children.start_ahead()
    assert waiting(children) is not died and waiting(children).poll() is None


def test_the_one_that_waits_ends_when_its_pipe_closes(children: Children) -> None:
    ahead = waiting(children)
    assert ahead.stdin is not None
    ahead.stdin.close()
    assert ahead.wait(30) == 1
    assert ahead.stderr is not None and ahead.stderr.read() == b""


def test_after_the_stop_none_waits_any_more(children: Children) -> None:
    ahead = waiting(children)
    children.stop()
    children.start_ahead()
    ends = time.monotonic() + 30
    while ahead.poll() is None:
        assert time.monotonic() < ends
    assert children._ahead is None
