"""The transport's own times: ISO 15765-2:2016, 9.8 (M): N_Bs and N_Cr are 1 s each."""

import pytest
from test_reassembly import CF1, CF2, FF, rebuild, session

from canlog.isotp.timing import TransportTimes, stamp_step_ns, transport_times

MS = 1_000_000
FC = "7E0 30 00 F5"


def test_the_longest_gap_and_what_was_asked_come_from_long_messages() -> None:
    times = transport_times(rebuild(session(FF + "@1", FC + "@2", CF1 + "@3", CF2 + "@43"))[0])
    assert times == TransportTimes(40 * MS, (1, 4), 500_000, (), ())


def test_single_frames_have_no_gap() -> None:
    times = transport_times(rebuild(session("7E0 02 3E 80@10", "7E0 02 3E 80@2010"))[0])
    assert times == TransportTimes(None, None, None, (), ())


@pytest.mark.parametrize(
    ("rows", "n_bs", "n_cr"),
    [
        ([FF + "@1", FC + "@1001", CF1 + "@1002", CF2 + "@1003"], (2,), ()),
        ([FF + "@1", FC + "@1000", CF1 + "@1001", CF2 + "@1002"], (), ()),
        ([FF + "@1", FC + "@2", CF1 + "@3", CF2 + "@1003"], (), (4,)),
        ([FF + "@1", FC + "@2", CF1 + "@3", CF2 + "@1002"], (), ()),
    ],
)
def test_a_second_without_the_frame_due_names_its_timer(
    rows: list[str], n_bs: tuple[int, ...], n_cr: tuple[int, ...]
) -> None:
    times = transport_times(rebuild(session(*rows))[0])
    assert (times.n_bs_passed, times.n_cr_passed) == (n_bs, n_cr)


@pytest.mark.parametrize(
    ("stamps", "step_ms"), [((0, 10, 30, 60), 10), ((3, 13, 33), 10), ((0, 1, 2), 1), ((0, 1.25, 7), 0), ((5,), 0)]
)
def test_the_step_of_the_stamps_shows_in_the_stamps(stamps: tuple[float, ...], step_ms: int) -> None:
    messages = rebuild(session(*(f"7E0 02 3E 80@{stamp}" for stamp in stamps)))[0]
    assert stamp_step_ns(messages) == step_ms * MS
