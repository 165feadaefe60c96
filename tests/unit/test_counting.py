"""Numbers and spans of time in words."""

from __future__ import annotations

import pytest

from canlog.counting import SECOND_NS, counted, lasting


def test_one_is_one_and_everything_else_is_many() -> None:
    assert [counted(number, "frame") for number in (0, 1, 2, 1200)] == [
        "0 frames",
        "1 frame",
        "2 frames",
        "1,200 frames",
    ]
    assert counted(2, "memory", "memories") == "2 memories"


@pytest.mark.parametrize(
    ("span_ns", "said"),
    [
        (0, "0.000 s"),
        (999_999, "0.000 s"),
        (70_831_000_000, "70.831 s"),
        (119_999_999_999, "119.999 s"),
        (120 * SECOND_NS, "2 min 0 s"),
        (3599 * SECOND_NS, "59 min 59 s"),
        (32_980 * SECOND_NS, "9 h 9 min"),
        (33_000 * SECOND_NS, "9 h 10 min"),
        (48 * 3600 * SECOND_NS, "2 d 0 h"),
        (-61 * SECOND_NS, "-61.000 s"),
        (-600 * SECOND_NS, "-10 min 0 s"),
    ],
)
def test_a_span_of_time_is_said_as_people_say_it(span_ns: int, said: str) -> None:
    assert lasting(span_ns) == said
