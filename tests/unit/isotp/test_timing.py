from test_reassembly import CF1, CF2, FF, rebuild, session

from canlog.isotp.timing import link_timing

MS = 1_000_000


def test_the_answer_time_runs_from_the_end_of_the_request_to_the_begin_of_the_first_answer() -> None:
    rows = ["7E0 02 3E 00@10", "7E8 02 7E 00@14", "7E0 02 10 03@20", "7E8 03 7F 10 78@26", "7E8 02 50 03@900"]
    timing = link_timing(rebuild(session(*rows))[0])
    assert timing == {"answers": 2, "p2_min_ns": 4 * MS, "p2_median_ns": 4 * MS, "p2_max_ns": 6 * MS}


def test_requests_without_answer_are_not_timed() -> None:
    assert link_timing(rebuild(session("7E0 02 3E 80@10", "7E0 02 3E 80@2010"))[0]) == {}


def test_the_gaps_and_what_was_asked_come_from_long_messages() -> None:
    timing = link_timing(rebuild(session(FF + "@1", "7E0 30 00 F5@2", CF1 + "@3", CF2 + "@43"))[0])
    assert timing == {"longest_gap_ns": 40 * MS, "separation_asked_ns": 500_000}


def test_an_answer_stamped_before_its_request_is_not_timed() -> None:
    assert link_timing(rebuild(session("7E0 02 3E 00@10", "7E8 02 7E 00@5"))[0]) == {}
