"""Tables are read ahead in a thread, and nobody can tell by the result."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from canlog.capture.ahead import TABLES_AHEAD, read_ahead
from canlog.errors import CaptureError
from canlog.frames import join_tables
from canlog.read import read_capture

LINE = b"(1436509052.%06d) can0 123#%02X\n"


def test_all_items_come_in_their_order() -> None:
    assert list(read_ahead(iter(range(1, 100)))) == list(range(1, 100))
    assert list(read_ahead(iter(()))) == []


def test_what_is_raised_while_reading_is_raised_where_it_is_used() -> None:
    def broken() -> Iterator[int]:
        yield 1
        raise CaptureError("broken", hint="none")

    items = read_ahead(broken())
    assert next(items) == 1
    with pytest.raises(CaptureError, match="broken"):
        next(items)


def test_no_more_is_read_than_a_few_tables_ahead() -> None:
    made: list[int] = []

    def source() -> Iterator[int]:
        for item in range(1, 1000):
            made.append(item)
            yield item

    items = read_ahead(source())
    for _ in range(10):
        next(items)
    items.close()
    assert len(made) <= 10 + TABLES_AHEAD


def test_leaving_early_leaves_no_thread_behind() -> None:
    before = threading.active_count()
    items = read_ahead(iter(range(1, 1000)))
    next(items)
    assert threading.active_count() > before
    items.close()
    assert threading.active_count() == before


def test_a_large_capture_reads_the_same_as_its_lines(tmp_path: Path) -> None:
    text = b"".join(LINE % (at, at % 256) for at in range(80_000))
    path = tmp_path / "large.log"
    path.write_bytes(text)
    capture = read_capture(path)
    capture.hash_meanwhile()
    tables = list(capture.chunks())
    table = join_tables(tables)
    assert len(tables) > 1 and len(table) == 80_000
    assert table.line.tolist() == list(range(1, 80_001))
    assert table[79_999].data == bytes([79_999 % 256])
    assert capture.sha256 == hashlib.sha256(text).hexdigest()


def test_a_hash_that_cannot_be_worked_out_meanwhile_is_tried_again(tmp_path: Path) -> None:
    path = tmp_path / "small.log"
    path.write_bytes(LINE % (1, 1))
    capture = read_capture(path)
    path.rename(tmp_path / "elsewhere.log")
    capture.hash_meanwhile()
    with pytest.raises(FileNotFoundError):
        _ = capture.sha256
    (tmp_path / "elsewhere.log").rename(path)
    assert capture.sha256 == hashlib.sha256(LINE % (1, 1)).hexdigest()
