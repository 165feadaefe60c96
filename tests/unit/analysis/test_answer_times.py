"""How soon modules answer, and the findings that rest on it.

Limits: P2 50 ms, P2* 5 s, S3 5 s where nothing is announced (ISO 14229-2:2013, 7.2 (M)). What a session's answer
announces is built and read by udsoncan 1.26.1: P2 in ms, P2* in steps of 10 ms.
"""

from __future__ import annotations

import warnings

import pytest
from talk import GROUP, KEEPER, MS, Frame, Piece, ask, enter, everybody, gap, heard, judged, log_of, module, tester

from analysis.report.contract import TimingDict
from analysis.report.link_times import link_times
from analysis.report.model import Report
from analysis.words import Severity

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from udsoncan import Response, services

#: A frame comes 1 ms behind the one before it; so an answer takes 1 ms more than the pause.
READ, VALUE = "22 F190", "62 F190 41"
EXTENDED = ask("10 03", "50 03 0032 01F4")


def late(ms: float, answer: str = VALUE, request: str = READ) -> tuple[Piece, ...]:
    """An answer so many ms behind its request."""
    return (tester(request), gap((ms - 1) / 1000), module(answer))


def times(report: Report, link: str = "can0:7E0>7E8") -> TimingDict:
    record = report.record
    capture = record.captures[0]
    return link_times(link, [one for one in capture.messages if one.link.key == link], capture, record)


def finding(report: Report, check: str) -> list[tuple[str, Severity]]:
    return [(item.explanation, item.severity) for item in report.findings if item.id == check]


def test_the_shares_are_those_of_the_sorted_answers() -> None:
    found = times(heard(*(late(ms) for ms in range(40, 0, -1))))
    assert (found["answers"], found["p2_min_ns"], found["p2_max_ns"]) == (40, 1 * MS, 40 * MS)
    assert (found["p2_median_ns"], found["p2_95_ns"]) == (20 * MS, 38 * MS)
    assert found["p2_max_lines"] == [1, 2]


def test_only_the_first_answer_counts_as_p2_and_the_rest_as_p2_star() -> None:
    found = times(heard(tester("31 01 FF00"), module("7F 31 78"), gap(2), module("7F 31 78"), module("71 01 FF00 00")))
    assert (found["answers"], found["p2_max_ns"], found["pendings"], found["p2_star_max_ns"]) == (1, MS, 2, 2001 * MS)
    assert found["p2_star_max_lines"] == [2, 3]


def test_an_answer_to_a_request_to_all_is_timed_on_the_module_s_link() -> None:
    found = times(heard(ask(READ, VALUE), everybody("22 F190"), module(VALUE)))
    assert found["answers"] == 2


@pytest.mark.parametrize(("p2_ms", "p2_star_ms"), [(50, 5000), (500, 20_000), (1, 10), (65_535, 655_350)])
def test_the_announced_times_are_those_that_udsoncan_reads(p2_ms: int, p2_star_ms: int) -> None:
    record = p2_ms.to_bytes(2, "big") + (p2_star_ms // 10).to_bytes(2, "big")
    answer = Response(services.DiagnosticSessionControl, Response.Code.PositiveResponse, data=b"\x03" + record)
    read = services.DiagnosticSessionControl.interpret_response(answer, standard_version=2020).service_data
    found = times(heard(ask("10 03", answer.get_payload())))
    assert found["p2_announced_ns"] == round(read.p2_server_max * 1e9)
    assert found["p2_star_announced_ns"] == round(read.p2_star_server_max * 1e9)
    assert found["announced_lines"] == [2]


def test_what_was_announced_counts_from_the_next_request_on_and_ends_with_a_reset() -> None:
    slow = ask("10 02", "50 02 01F4 01F4")
    assert times(heard(slow, late(400)))["late_answers"] == 0
    assert times(heard(EXTENDED, late(400)))["late_answers"] == 1
    report = heard(slow, ask("11 01", "51 01"), gap(1), late(400))
    assert times(report)["late_answers"] == 0  # nothing is announced any more
    assert "the standard gives 50 ms" in finding(report, "answer-late")[0][0]


def test_a_capture_without_a_clock_has_no_times() -> None:
    log = "".join(line.partition(") can0 ")[2] + "\n" for line in log_of(EXTENDED, late(400)).splitlines())
    report = judged(log)
    found = times(report, report.record.captures[0].messages[0].link.key)
    assert (found["answers"], found["p2_max_ns"], found["stamp_step_ns"]) == (0, None, 0)


def test_an_answer_with_a_step_of_the_clock_inside_is_not_timed() -> None:
    def set_back(lines: list[str]) -> list[str]:
        at = next(n for n, line in enumerate(lines) if "62F190" in line)
        return [*lines[:at], *(line.replace("(179500", "(179499") for line in lines[at:])]

    found = heard(EXTENDED, late(400), ask(READ, VALUE), edit=set_back)
    assert times(found)["answers"] == 2
    assert finding(found, "answer-late") == []


def test_stamps_in_coarse_steps_are_named() -> None:
    def coarse(lines: list[str]) -> list[str]:
        return [f"{line[:14]}0000{line[18:]}" for line in lines]

    report = heard(*(late(ms) for ms in (35, 14, 22, 61)), edit=coarse)
    assert times(report)["stamp_step_ns"] == 10 * MS


def test_answers_to_all_are_timed_and_never_called_late() -> None:
    """Which of several requests to all an answer belongs to is not certain."""
    report = heard(ask(READ, VALUE), everybody("22 F190"), gap(0.5), module(VALUE))
    assert times(report)["p2_max_ns"] == 501 * MS
    assert finding(report, "answer-late") == []


# -- findings


@pytest.mark.parametrize(("ms", "is_late"), [(70, False), (71, True)])
def test_an_answer_is_late_beyond_p2_and_the_way(ms: int, is_late: bool) -> None:
    found = finding(heard(EXTENDED, late(ms)), "answer-late")
    assert bool(found) == is_late
    assert all("where it announced 50 ms" in text and severity is Severity.NOTE for text, severity in found)


@pytest.mark.parametrize(("ms", "is_late"), [(5100, False), (5101, True)])
def test_a_wait_answer_is_late_beyond_p2_star_and_a_little(ms: int, is_late: bool) -> None:
    report = heard(EXTENDED, tester("31 01 FF00"), module("7F 31 78"), gap((ms - 1) / 1000), module("71 01 FF00 00"))
    assert bool(finding(report, "pending-late")) == is_late


def paused(*before: object, seconds: float = 6, after: object = ()) -> Report:
    return heard(ask(READ, VALUE), *before, gap(seconds), after)


REFUSED, TAKEN = ask("2E 3A00 01", "7F 2E 7F"), ask("2E 3A00 01", "6E 3A00")


def test_a_pause_that_lost_the_session_is_seen() -> None:
    ((text, severity),) = finding(paused(EXTENDED, after=REFUSED), "session-gap")
    assert "6.0 s without a request; the session was lost" in text
    assert severity is Severity.WARNING


def test_a_pause_that_the_session_outlived_is_a_note() -> None:
    ((text, severity),) = finding(paused(EXTENDED, after=TAKEN), "session-gap")
    assert "kept all the same" in text
    assert severity is Severity.NOTE


def test_without_a_request_that_needs_the_session_nobody_knows() -> None:
    ((text, _),) = finding(paused(EXTENDED, after=ask(READ, VALUE)), "session-gap")
    assert "whether the session was lost is not shown" in text


ALIVE = [gap(3), everybody("3E 80"), gap(3)]


@pytest.mark.parametrize(
    ("before", "seconds", "after"),
    [
        pytest.param([EXTENDED], 4.9, TAKEN, id="short enough"),
        pytest.param([], 6, TAKEN, id="no session was asked for"),
        pytest.param([EXTENDED, ask("10 01", "50 01 0032 01F4")], 6, REFUSED, id="the default session"),
        pytest.param([EXTENDED, ALIVE], 0, TAKEN, id="tester present to all"),
        pytest.param([EXTENDED, gap(3), tester("3E 80"), gap(3)], 0, TAKEN, id="tester present to the module"),
        pytest.param([EXTENDED, gap(3), everybody("3E 00"), module("7E 00", KEEPER), gap(3)], 0, TAKEN, id="other"),
        pytest.param([EXTENDED, ask("11 01", "51 01")], 6, REFUSED, id="a reset"),
        pytest.param([EXTENDED], 6, EXTENDED, id="the session is asked for anew"),
        pytest.param([EXTENDED], 6, (), id="the end"),
    ],
)
def test_a_pause_that_is_none_is_not_seen(before: list[object], seconds: float, after: object) -> None:
    assert finding(paused(*before, seconds=seconds, after=after), "session-gap") == []


def test_a_module_at_work_loses_no_session() -> None:
    waiting = [piece for _ in range(4) for piece in (module("7F 31 78"), gap(4))]
    report = heard(EXTENDED, tester("31 01 FF00"), *waiting, module("71 01 FF00 00"), TAKEN)
    assert finding(report, "session-gap") == []


def test_a_tester_that_asks_again_while_the_module_works_is_seen() -> None:
    erase = (tester("31 01 FF00"), module("7F 31 78"), gap(1))
    report = heard(*enter(), *erase, ask("31 01 FF00", "71 01 FF00 00"))
    assert len(finding(report, "tester-gives-up-early")) == 1
    patient = heard(*enter(), *erase, tester("3E 80"), gap(1), module("71 01 FF00 00"), TAKEN)
    assert finding(patient, "tester-gives-up-early") == []


@pytest.mark.parametrize(("seconds", "is_seen"), [(0.9, False), (1.1, True)])
def test_a_message_that_stood_still_is_seen_and_named_by_its_line(seconds: float, is_seen: bool) -> None:
    whole = tester("2E 3A00 0102030405060708090A0B0C0D0E")
    pieces = [Piece((one,), round(seconds * 1e9) if at == 3 else 0) for at, one in enumerate(whole.frames)]
    report = heard(EXTENDED, *pieces, module("6E 3A00"))
    found = finding(report, "stall-inside-message")
    assert bool(found) == is_seen
    assert times(report)["n_cr_passed_lines"] == ([6] if is_seen else [])
    assert times(report)["longest_gap_ns"] == round(seconds * 1000 + 1) * MS
    assert all("1 time a message" in text for text, _ in found)


def test_flow_control_that_came_late_is_seen() -> None:
    whole = tester("2E 3A00 0102030405060708090A0B0C0D0E")
    pieces = [Piece((one,), round(1.2e9) if at == 1 else 0) for at, one in enumerate(whole.frames)]
    report = heard(EXTENDED, *pieces, module("6E 3A00"))
    assert times(report)["n_bs_passed_lines"] == [4]
    assert len(finding(report, "stall-inside-message")) == 1


def test_other_traffic_is_not_taken_for_a_request_to_all() -> None:
    other = Piece((Frame(GROUP - 0x100, bytes(8)),))
    assert len(finding(paused(EXTENDED, gap(3), other, gap(3), after=REFUSED), "session-gap")) == 1
