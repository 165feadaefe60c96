"""Requests and answers find each other. Rules: ISO 14229-1:2020, 7.5 and annex A (M); ISO 14229-2 (M)."""

from __future__ import annotations

from talk import GROUP, KEEPER, PUMP, Side, ask, everybody, gap, heard, log_of, module, only, tester, words

from analysis.exchanges import Exchange
from analysis.report.model import Report


def exchanges(report: Report, link: str = "7E0>7E8") -> list[Exchange]:
    return [item for item in report.record.exchanges if link in item.link.key]


def told(report: Report, link: str = "7E0>7E8") -> list[tuple[str, str, str, int]]:
    """Request, answer, outcome and number of pending responses of each exchange."""
    return [
        (item.asked.hex().upper(), item.answered.hex().upper(), str(item.outcome), len(item.pendings))
        for item in exchanges(report, link)
    ]


START = ask("22 F1 90", "62 F1 90 41")


def test_overlapping_requests_are_told_apart_by_what_the_answer_repeats() -> None:
    report = heard(START, tester("22 F188"), tester("22 F189"), module("62 F189 02"), module("62 F188 01"))
    assert told(report)[1:] == [("22F188", "62F18801", "positive", 0), ("22F189", "62F18902", "positive", 0)]


def test_after_a_retry_the_last_request_has_the_answer() -> None:
    report = heard(START, tester("22 F188"), gap(1), tester("22 F188"), module("62 F188 01"))
    assert told(report)[1:] == [("22F188", "", "silent", 0), ("22F188", "62F18801", "positive", 0)]
    assert exchanges(report)[2].repeats == 1


def test_two_testers_of_one_module_keep_their_own_answers() -> None:
    one, two = Side(0x18DA2AF1, 0x18DAF12A), Side(0x18DA2AF9, 0x18DAF92A)
    talk = [ask("22 F190", "62 F190 41", on=side) for side in (one, two)]
    crossed = [tester("22 F188", one), tester("22 F188", two), module("62 F188 02", two), module("62 F188 01", one)]
    report = heard(talk, crossed)
    assert told(report, "18DA2AF1")[-1] == ("22F188", "62F18801", "positive", 0)
    assert told(report, "18DA2AF9")[-1] == ("22F188", "62F18802", "positive", 0)


def test_each_module_that_answers_a_functional_request_makes_an_exchange_of_its_own() -> None:
    report = heard(
        START, ask("22 F190", "62 F190 42", on=KEEPER),
        everybody("22 F18C"), module("62 F18C 01"), module("62 F18C 02", KEEPER),
    )  # fmt: skip
    assert told(report, "7E0>")[-1] == ("22F18C", "62F18C01", "positive", 0)
    assert told(report, "7E1>")[-1] == ("22F18C", "62F18C02", "positive", 0)
    assert [item.functional for item in exchanges(report, "7E1>")] == [False, True]


def test_a_second_answer_of_a_module_to_a_functional_request_was_not_asked_for() -> None:
    report = heard(START, everybody("22 F18C"), module("62 F18C 01"), module("62 F18C 02"))
    assert [one[0] for one in told(report)[1:]] == ["22F18C", ""]


def test_an_answer_that_begins_inside_a_request_is_not_its_answer() -> None:
    """A module cannot answer what it has not yet heard to the end."""

    def edit(lines: list[str]) -> list[str]:
        *rest, last_of_request, answer = lines
        stamps = [text.split(" ", 1) for text in (last_of_request, answer)]
        return [*rest, f"{stamps[0][0]} {stamps[1][1]}", f"{stamps[1][0]} {stamps[0][1]}"]

    report = heard(START, tester("2E 3A01 0102030405060708"), module("6E 3A01"), edit=edit)
    assert words(report, "write").count("unproven") <= 1  # the answer alone
    assert ("2E3A010102030405060708", "6E3A01", "positive", 0) not in told(report)


def test_a_functional_request_between_does_not_take_the_answer_of_a_physical_one() -> None:
    report = heard(START, tester("22 F188"), everybody("3E 80"), module("62 F188 01"))
    assert told(report)[-1] == ("22F188", "62F18801", "positive", 0)


def test_a_suppressed_request_without_an_answer_is_not_a_silent_one() -> None:
    assert told(heard(START, tester("10 83"), gap(1), START))[1] == ("1083", "", "suppressed", 0)


def test_a_suppressed_request_that_is_refused_has_its_refusal() -> None:
    assert told(heard(START, ask("10 83", "7F 10 22")))[1] == ("1083", "7F1022", "negative", 0)


def test_bit_7_of_a_service_without_sub_function_suppresses_nothing() -> None:
    assert told(heard(START, tester("22 8190"), gap(1), START))[1] == ("228190", "", "silent", 0)


def test_a_pending_response_keeps_its_request_open_until_the_final_one() -> None:
    report = heard(START, ask("31 01 FF00", "7F 31 78", "7F 31 78", "71 01 FF00 00"))
    assert told(report)[-1] == ("3101FF00", "7101FF0000", "positive", 2)


def test_a_pending_response_without_an_end_leaves_the_request_silent() -> None:
    assert told(heard(START, ask("31 01 FF00", "7F 31 78"), gap(20)))[-1] == ("3101FF00", "", "silent", 1)


def test_after_a_pending_response_a_suppressed_request_still_needs_its_end() -> None:
    assert told(heard(START, ask("10 83", "7F 10 78"), gap(9)))[-1] == ("1083", "", "silent", 1)


def test_a_late_answer_still_belongs_to_its_request() -> None:
    assert told(heard(START, tester("22 F188"), gap(4.5), module("62 F188 01")))[-1][2] == "positive"


def test_an_answer_that_nobody_asked_for_is_kept_without_a_request() -> None:
    assert told(heard(START, START, module("62 1234 05")))[-1] == ("", "62123405", "positive", 0)


def test_78_in_front_is_the_answer_to_a_file_request_and_no_pending_response() -> None:
    asked = "38 01 0005 612E62696E 00 02 0060 0060"
    report = heard(START, ask(asked, "78 01 02 0022 00"))
    assert told(report)[-1] == (asked.replace(" ", ""), "780102002200", "positive", 0)


def test_pending_of_a_file_request_is_a_refusal_frame_with_78_behind() -> None:
    report = heard(START, ask("38 02 0005 612E62696E", "7F 38 78", "78 02"))
    assert told(report)[-1][2:] == ("positive", 1)


def test_busy_is_an_end_of_that_request_and_the_repeat_is_another_exchange() -> None:
    report = heard(START, ask("22 F188", "7F 22 21"), gap(0.2), ask("22 F188", "62 F188 01"))
    assert [one[2] for one in told(report)] == ["positive", "negative", "positive"]


def test_an_answer_to_an_earlier_read_is_never_taken_for_one_behind_the_write() -> None:
    report = heard(
        START, tester("22 3A01"), ask("2E 3A01 11223344", "6E 3A01"), module("62 3A01 11223344"),
    )  # fmt: skip
    assert words(report, "write") == ["unproven"]


def test_the_same_ids_on_two_channels_are_two_modules() -> None:
    other = Side(0x7E0, 0x7E8, "can1")
    report = heard(
        START, ask("22 F190", "62 F190 41", on=other),
        ask("2E 3A01 11223344", "6E 3A01"), ask("22 3A01", "62 3A01 11223344", on=other),
    )  # fmt: skip
    assert words(report, "write") == ["unproven"]


def test_requests_only_show_nothing() -> None:
    report = heard(
        tester("10 03"), gap(0.1), tester("2E 3A01 11223344"), gap(0.1), tester("22 3A01"), links=["7E0:7E8"]
    )
    outcome = only(report, "write").outcome
    assert (outcome.word, outcome.confidence) == ("not-shown", "low")


def test_answers_only_prove_nothing() -> None:
    report = heard(
        module("50 03 0032 01F4"), module("6E 3A01"), module("62 3A01 11223344"), module("54"), module("59 02 FF"),
        links=["7E0:7E8"],
    )  # fmt: skip
    for kind in ("session", "write", "clear"):
        outcome = only(report, kind).outcome
        assert (kind, outcome.word, outcome.confidence) == (kind, "unproven", "low")


def test_answers_only_prove_no_download_by_its_check() -> None:
    from talk import NAMES

    report = heard(
        module("74 20 0022"), module("76 01"), module("76 02"), module("77"), module("71 01 0266 00"),
        links=["7E0:7E8"], names=NAMES,
    )  # fmt: skip
    outcome = only(report, "download").outcome
    assert (outcome.word, outcome.confidence) == ("unproven", "low")


def test_the_group_id_is_a_link_of_its_own() -> None:
    log = log_of(START, everybody("3E 80"))
    assert f" {GROUP:03X}#" in log
    report = heard(START, everybody("3E 80"), ask("22 F190", "62 F190 42", on=KEEPER))
    assert {story.link.response_id for story in report.record.stories} == {PUMP.response, KEEPER.response}
