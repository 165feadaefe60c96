"""How fast canlog is on this machine, beside the libraries, in one run.

    python -m tests.benchmark --frames 2500000 [--block-bytes 4095] [--repeat 3] [--folder DIR] [--only STEP ...]

Makes its own capture (see `captures.py`), runs each step in a process of its own, takes the best of several runs and
prints a table in Markdown. A first run that does not count leaves the compiled modules in place, as on any machine.
Ratios compare frames per second; `report` is the whole process with its start, python-can only reads.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import NamedTuple

from canlog.capture.candump_compiled import SWITCH, is_available

from .captures import write_capture
from .steps import STEPS

ROOT = Path(__file__).parents[2]
ABOUT = {
    "bytes": "reading the bytes alone",
    "python-can": "python-can's reader",
    "single-lines": "our reader of single lines",
    "numpy": "columns, numpy alone",
    "compiled": "columns, compiled",
    "first-pass": "first pass: read, survey, links",
    "second-pass": "second pass: read, messages",
    "scapy": "scapy's ISO-TP builder",
    "readable": "messages, state machine",
    "bulk": "messages, columns",
    "report": "`canlog report`, whole process",
    "report-numpy": "the same without the compiled reader",
}
REPORTS = {"report": "1", "report-numpy": "0"}
#: Where it is set, Python would compile all of canlog anew in each run, but not the libraries that pip has compiled.
NO_BYTECODE = "PYTHONDONTWRITEBYTECODE"
BESIDE_SCAPY = ("scapy", "readable", "bulk")


class Measured(NamedTuple):
    """The best run of a step."""

    frames: int
    seconds: float
    cpu_seconds: float
    peak_bytes: int

    @property
    def rate(self) -> float:
        """Frames per second."""
        return self.frames / self.seconds


def run(step: str, path: Path, n_frames: int) -> Measured:
    """One run of a step in a child process."""
    environment = {name: value for name, value in os.environ.items() if name != NO_BYTECODE}
    environment[SWITCH] = REPORTS.get(step, "1")
    command = ["analysis.cli", "report"] if step in REPORTS else ["tests.benchmark.steps", step]
    begin = os.times()
    child = subprocess.Popen(
        [sys.executable, "-m", *command, str(path)], cwd=ROOT, env=environment, stdout=subprocess.PIPE
    )
    assert child.stdout is not None
    output = child.stdout.read().split()
    _, status, usage = os.wait4(child.pid, 0)
    seconds = os.times().elapsed - begin.elapsed
    if status:
        raise SystemExit(f"{step} ended with status {status}")
    cpu_seconds = usage.ru_utime + usage.ru_stime
    if step not in REPORTS:
        n_frames, seconds, cpu_seconds = int(output[0]), float(output[1]), float(output[2])
    return Measured(n_frames, seconds, cpu_seconds, usage.ru_maxrss * 1024)


def table_of(results: dict[str, Measured]) -> str:
    """The results as a table."""
    lines = [
        "| step | frames | s | processor s | million frames/s | ratio | by processor time | peak MB |",
        "|---|---|---|---|---|---|---|---|",
    ]
    for step, one in results.items():
        base = results.get("scapy" if step in BESIDE_SCAPY else "python-can")
        ratio = f"{one.rate / base.rate:.1f}×" if base else ""
        by_cpu = f"{one.frames / one.cpu_seconds / (base.frames / base.cpu_seconds):.1f}×" if base else ""
        lines.append(
            f"| {ABOUT[step]} | {one.frames:,} | {one.seconds:.2f} | {one.cpu_seconds:.2f} | {one.rate / 1e6:.2f} "
            f"| {ratio} | {by_cpu} | {one.peak_bytes / 1e6:.0f} |"
        )
    return "\n".join(lines)


def main() -> None:
    """Make the capture, measure, print."""
    steps = [step for step in (*STEPS, *REPORTS) if is_available() or step != "compiled"]
    parser = argparse.ArgumentParser(prog="python -m tests.benchmark", description="Measure canlog on this machine.")
    parser.add_argument("--frames", type=int, default=2_500_000, help="about how many frames (46 bytes each)")
    parser.add_argument("--block-bytes", type=int, default=4095, help="bytes of one block of the download")
    parser.add_argument("--repeat", type=int, default=3, help="runs of each step, the best counts")
    parser.add_argument("--folder", type=Path, help="where the capture is written (default: a temporary folder)")
    parser.add_argument("--only", nargs="+", choices=steps, default=steps, help="only these steps")
    wishes = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=wishes.folder) as folder:
        path = Path(folder) / "benchmark.log"
        n_frames = write_capture(path, wishes.frames, wishes.block_bytes)
        size = path.stat().st_size
        sys.stdout.write(f"{n_frames:,} frames, {size / 1e6:.0f} MB, blocks of {wishes.block_bytes} bytes\n\n")
        results: dict[str, Measured] = {}
        for step in wishes.only:
            run(step, path, n_frames)  # leaves the compiled modules and the file where the runs that count find them
            runs = [run(step, path, n_frames) for _ in range(wishes.repeat)]
            results[step] = max(runs, key=lambda one: one.rate)
            sys.stderr.write(f"{step}: {results[step].rate / 1e6:.2f} million frames/s\n")
    sys.stdout.write(table_of(results) + "\n")


if __name__ == "__main__":
    main()
