"""The benchmark's captures are what they claim to be, and each of its steps does its work. Nothing is timed."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from benchmark.__main__ import Measured, table_of
from benchmark.captures import LINE_BYTES, REQUEST, RESPONSE, write_capture
from benchmark.steps import LINK, STEPS

from analysis import analyse
from canlog.capture.candump_compiled import _parse
from canlog.read import read_capture, rebuild


@pytest.fixture(scope="module")
def capture(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("benchmark") / "benchmark.log"
    write_capture(path, 20_000)
    return path


def test_the_capture_is_the_same_each_time_and_as_large_as_it_says(capture: Path, tmp_path: Path) -> None:
    again = tmp_path / "again.log"
    n_frames = write_capture(again, 20_000)
    assert again.read_bytes() == capture.read_bytes()
    assert again.stat().st_size == n_frames * LINE_BYTES
    assert write_capture(again, 20_000, block_bytes=1026) > 0 and again.read_bytes() != capture.read_bytes()


@pytest.mark.parametrize("n_frames", [20_000, 100_000])
def test_six_frames_in_ten_belong_to_one_whole_download_in_order_of_time(n_frames: int, tmp_path: Path) -> None:
    path = tmp_path / "benchmark.log"
    write_capture(path, n_frames)
    frames = read_capture(path).frames()
    assert (np.diff(frames.time_ns) >= 0).all() and (frames.length == 8).all()
    assert np.isin(frames.can_id, (REQUEST, RESPONSE)).sum() == pytest.approx(0.6 * n_frames, rel=0.05)
    messages = rebuild(read_capture(path))
    assert [link.key for link in messages.links] == [LINK.key]
    assert all(message.complete and not message.anomalies for message in messages) and not messages.strays
    report = analyse(path).to_dict()
    assert report["verdict"]["overall"] == "confirmed"
    assert report["captures"][0]["fitness"] == "good"


@pytest.mark.parametrize("name", STEPS)
def test_each_step_reads_or_rebuilds_all_its_frames(name: str, capture: Path) -> None:
    if name == "compiled" and _parse is None:
        pytest.skip("the compiled reader is not built here")
    begun: list[bool] = []
    n_frames = STEPS[name](capture, lambda: begun.append(True))
    assert begun == [True]
    frames = read_capture(capture).frames()
    of_link = int(np.isin(frames.can_id, (REQUEST, RESPONSE)).sum())
    assert n_frames == (of_link if name in ("scapy", "readable", "bulk") else len(frames))


def test_the_table_compares_frames_per_second() -> None:
    table = table_of({"python-can": Measured(100, 2.0, 2.0, 10**6), "numpy": Measured(100, 0.5, 0.25, 2 * 10**6)})
    assert table.splitlines()[-1].endswith("| 100 | 0.50 | 0.25 | 0.00 | 4.0× | 8.0× | 2 |")
