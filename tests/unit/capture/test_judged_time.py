"""What the stamps of a whole capture show, in words."""

from __future__ import annotations

import pytest

from canlog.capture.judged_time import NOTE_COARSE, NOTE_NEGATIVE, NOTE_NO_DATE, judged
from canlog.frames import Frame, FrameFlag, TimeKind, table_of

MS, S, DATE = 1_000_000, 1_000_000_000, 1_700_000_000 * 1_000_000_000


def notes_of(*chunks: list[int], kind: TimeKind | None = None) -> tuple[str, ...]:
    tables = []
    for times in chunks:
        table = table_of(Frame(at, "can0", 0x7E0, FrameFlag(0), 1, b"\x3e", 1, 0) for at in times)
        object.__setattr__(table, "time_kind", kind)
        tables.append(table)
    return list(judged(tables))[-1].notes


CASES: dict[str, tuple[list[int], tuple[str, ...]]] = {
    "dates in microseconds": ([DATE + at * 1234 for at in range(50)], ()),
    "from zero": ([at * 1_234_000 + 7 for at in range(50)], (NOTE_NO_DATE,)),
    "negative": ([at * 1_234_000 - 7 for at in range(50)], (NOTE_NEGATIVE, NOTE_NO_DATE)),
    "whole milliseconds": ([DATE + at * MS for at in range(50)], (NOTE_COARSE.format("milliseconds"),)),
    "whole seconds": ([DATE + at * S for at in range(50)], (NOTE_COARSE.format("seconds"),)),
    "a few of them": ([DATE + at * S for at in range(5)], ()),
    "no times": ([0] * 50, ()),
    "nothing": ([], ()),
}


@pytest.mark.parametrize("name", CASES)
def test_stamps_are_judged(name: str) -> None:
    times, expected = CASES[name]
    assert notes_of(times) == expected
    assert notes_of(times[:20], times[20:]) == expected
    assert notes_of(times, kind=TimeKind.NONE) == ()


def test_one_stamp_between_milliseconds_is_enough_to_trust_them() -> None:
    times = [DATE + at * MS for at in range(50)]
    assert notes_of(times, [DATE + 60 * MS + 1]) == ()
