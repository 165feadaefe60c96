"""What is measured, one function a step, each run in a process of its own: `python -m tests.benchmark.steps NAME FILE`.

A step prepares what does not belong to it, then works; it prints how many frames it worked on and for how long.
Slow readers stop after :data:`MOST_FRAMES`; their speed does not depend on it.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from pathlib import Path
from typing import Final

import numpy as np

from canlog.capture import candump, candump_log
from canlog.capture.candump_columns import parse_columns
from canlog.capture.candump_compiled import parse_compiled
from canlog.capture.source import open_source
from canlog.frames import FrameTable
from canlog.isotp.addressing import Link, parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.reassembly import Reassembler
from canlog.read import read_capture, rebuild_surveyed, survey_links

from .captures import LINE_BYTES, REQUEST, RESPONSE

MOST_FRAMES: Final = 2_500_000
SCAPY_FRAMES: Final = 100_000
LINK: Final = parse_link(f"can0:{REQUEST:03X}>{RESPONSE:03X}")

#: Does the work on a file; says when the work itself begins, and how many frames it was.
Step = Callable[[Path, Callable[[], None]], int]


def read_bytes(path: Path, begin: Callable[[], None]) -> int:
    """The bytes alone, in blocks."""
    begin()
    return sum(map(len, open_source(path).blocks())) // LINE_BYTES


def read_with_python_can(path: Path, begin: Callable[[], None]) -> int:
    """python-can's reader of the same form."""
    import can

    begin()
    return sum(1 for _ in islice(can.LogReader(path), MOST_FRAMES))


def read_single_lines(path: Path, begin: Callable[[], None]) -> int:
    """The readable reader, line by line."""
    begin()
    return _count(candump_log.read(open_source(path).blocks()), MOST_FRAMES)


def read_with_numpy(path: Path, begin: Callable[[], None]) -> int:
    """Columns with numpy alone."""
    begin()
    return _count(candump.read_with(parse_columns, open_source(path).blocks()))


def read_compiled(path: Path, begin: Callable[[], None]) -> int:
    """Columns with the compiled reader."""
    begin()
    return _count(candump.read_with(parse_compiled, open_source(path).blocks()))


def first_pass(path: Path, begin: Callable[[], None]) -> int:
    """Reading, survey and links."""
    begin()
    return survey_links(read_capture(path))[0].summary.frames


def second_pass(path: Path, begin: Callable[[], None]) -> int:
    """Reading and messages, once the links are known."""
    capture = read_capture(path)
    survey, links = survey_links(capture)
    begin()
    rebuild_surveyed(capture, survey, links)
    return survey.summary.frames


def rebuild_in_bulk(path: Path, begin: Callable[[], None]) -> int:
    """Messages of one link from columns."""
    return _rebuild(path, begin, BulkReassembler, MOST_FRAMES)


def rebuild_readably(path: Path, begin: Callable[[], None]) -> int:
    """Messages of one link by the readable state machine."""
    return _rebuild(path, begin, Reassembler, MOST_FRAMES // 5)


def rebuild_with_scapy(path: Path, begin: Callable[[], None]) -> int:
    """Messages of one link by scapy's builder."""
    from scapy.contrib.isotp import ISOTPMessageBuilder
    from scapy.layers.can import CAN

    frames = [
        CAN(identifier=int(table.can_id[row]), data=table.data(row))
        for table in _link_frames(path, SCAPY_FRAMES)
        for row in range(len(table))
    ]
    begin()
    builder = ISOTPMessageBuilder()
    for frame in frames:
        builder.feed(frame)
    if not list(builder):
        raise SystemExit("scapy rebuilt nothing")
    return len(frames)


STEPS: Final[dict[str, Step]] = {
    "bytes": read_bytes,
    "python-can": read_with_python_can,
    "single-lines": read_single_lines,
    "numpy": read_with_numpy,
    "compiled": read_compiled,
    "first-pass": first_pass,
    "second-pass": second_pass,
    "scapy": rebuild_with_scapy,
    "readable": rebuild_readably,
    "bulk": rebuild_in_bulk,
}


def _count(tables: Iterable[FrameTable], most: int | None = None) -> int:
    n_frames = 0
    for table in tables:
        n_frames += len(table)
        if most is not None and n_frames >= most:
            break
    return n_frames


def _link_frames(path: Path, most: int) -> Iterator[FrameTable]:
    """Only the frames of the link, up to about as many."""
    n_frames = 0
    for table in read_capture(path).chunks():
        rows = np.flatnonzero(np.isin(table.can_id, (REQUEST, RESPONSE)))[: most - n_frames]
        n_frames += len(rows)
        yield table.take(rows).compact()
        if n_frames >= most:
            return


def _rebuild(path: Path, begin: Callable[[], None], kind: Callable[[list[Link]], Reassembler], most: int) -> int:
    tables = list(_link_frames(path, most))
    begin()
    reassembler = kind([LINK])
    n_messages = sum(len(list(reassembler.feed(table))) for table in tables)
    if not n_messages:
        raise SystemExit("nothing was rebuilt")
    return sum(map(len, tables))


def main(name: str, path: str) -> None:
    """Run a step; frames, seconds and processor seconds on standard output."""
    marks: list[tuple[float, float]] = []

    def mark() -> None:
        marks.append((time.perf_counter(), time.process_time()))

    n_frames = STEPS[name](Path(path), mark)
    mark()
    (begin, cpu_begin), (end, cpu_end) = marks
    sys.stdout.write(f"{n_frames} {end - begin:.6f} {cpu_end - cpu_begin:.6f}\n")


if __name__ == "__main__":
    main(*sys.argv[1:])
