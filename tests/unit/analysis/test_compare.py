"""Two sessions compared: where they part, by meaning and never by time."""

from __future__ import annotations

import time
from pathlib import Path

import pytest
from click.testing import CliRunner
from talk import (
    IMAGE,
    KEEPER,
    Talk,
    ask,
    block,
    blocks,
    everybody,
    gap,
    heard,
    module,
    programming,
    read,
    request,
    reset,
    tester,
    write,
)  # fmt: skip

from analysis import analyse
from analysis.cli import main
from analysis.compare.page import render_comparison
from analysis.compare.sessions import Comparison, Kind, Step, _gap, compare
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"
ENTER = ask("10 02", "50 02 0032 01F4")
SESSION: list[Talk] = [read("F188", b"OLD"), ENTER, programming(), reset(), read("F188", b"NEW")]


def compared(good: list[Talk], bad: list[Talk]) -> Comparison:
    return compare(heard(*good), heard(*bad))


def opened(name: str) -> Report:
    capture = next((FIXTURES / name).glob("capture.*"))
    return analyse(capture, names=[FIXTURES / f"{name.partition('-')[0]}_names.toml"])


@pytest.mark.parametrize(
    "name", ["uds11-all-good", "uds11-second-attempt-good", "coach-before-removal", "doip-all-good"]
)
def test_a_session_does_not_part_from_itself(name: str) -> None:
    report = opened(name)
    found = compare(report, report)
    assert found.parting is None
    assert found.differences == ()
    assert found.n_alike == found.n_good > 0


def test_time_seeds_and_keys_are_no_difference() -> None:
    def unlocked(seed: str, key: str, pause: float) -> list[Talk]:
        return [ENTER, ask("27 01", f"67 01 {seed}"), gap(pause), ask(f"27 02 {key}", "67 02"), read("F188", b"A")]

    assert compared(unlocked("1111", "2222", 0), unlocked("3333", "4444", 1)).differences == ()


def test_the_keep_alive_is_no_step() -> None:
    kept: list[Talk] = [*SESSION[:2], tester("3E 80"), *SESSION[2:]]
    assert compared(SESSION, kept).differences == ()


@pytest.mark.parametrize("request_text", ["14 FFFFFF", "3E 00", "10 03"])
def test_modules_that_answer_a_request_to_all_in_another_order_are_no_difference(request_text: str) -> None:
    answer = {"14": "54", "3E": "7E 00", "10": "50 03 0032 01F4"}[request_text[:2]]
    known: list[Talk] = [read("F188", b"A"), read("F188", b"B", on=KEEPER)]
    good = [*known, everybody(request_text), module(answer), module(answer, KEEPER)]
    bad = [*known, everybody(request_text), module(answer, KEEPER), module(answer)]
    assert compared(good, bad).differences == ()


def test_a_module_that_does_not_answer_a_request_to_all_is_a_difference() -> None:
    """Look-alike: not another order, but one answer less."""
    known: list[Talk] = [read("F188", b"A"), read("F188", b"B", on=KEEPER)]
    good = [*known, everybody("14 FFFFFF"), module("54"), module("54", KEEPER)]
    found = compared(good, [*known, everybody("14 FFFFFF"), module("54")])
    assert [one.kind for one in found.differences] == [Kind.MISSING]
    assert found.parting is not None


def test_a_refused_block_is_where_they_part() -> None:
    bad: list[Talk] = [*SESSION[:2], ask("31 01 FF00", "71 01 FF00 00"), request(), block(1, IMAGE[:32], "7F 36 72")]
    found = compared(SESSION, bad)
    assert found.parting is not None
    assert found.parting.kind is Kind.ANSWER
    assert found.parting.bad is not None
    assert found.parting.bad.exchange.nrc == 0x72
    assert found.last_alike is not None
    assert found.last_alike[0].told.startswith("download of 96 bytes")


def test_other_bytes_in_one_block_are_told() -> None:
    other = bytearray(IMAGE)
    other[40] ^= 1
    bad: list[Talk] = [*SESSION[:2], programming(bytes(other)), *SESSION[3:]]
    (found,) = compared(SESSION, bad).differences
    assert (found.kind, found.good is not None and found.good.told) == (Kind.DATA, "block 02, 32 bytes: accepted")


def test_a_value_that_was_only_read_is_not_where_they_part() -> None:
    found = compared([read("F190", b"A" * 17), read("F188", b"X")], [read("F190", b"B" * 17), read("F188", b"X")])
    assert found.parting is None
    assert [one.kind for one in found.differences] == [Kind.VALUE]


def test_a_step_left_out_is_where_they_part() -> None:
    found = compared(SESSION, [SESSION[0], *SESSION[2:]])
    assert found.parting is not None
    assert (found.parting.kind, found.parting.bad) == (Kind.MISSING, None)
    assert found.parting.good is not None
    assert found.parting.good.told.startswith("programming session")


FAULTS_READ = ask("19 02 FF", "59 02 FF")


@pytest.mark.parametrize("extra", [read("F18C", b"SERIAL"), ask("22 F1A5", "7F 22 31"), FAULTS_READ])
def test_a_reading_that_only_one_session_made_is_not_where_they_part(extra: Talk) -> None:
    bad: list[Talk] = [*SESSION[:2], ask("31 01 FF00", "71 01 FF00 00"), request(), block(1, IMAGE[:32], "7F 36 72")]
    for good, other, kind in (
        (SESSION, [SESSION[0], extra, *bad[1:]], Kind.ADDED),
        ([SESSION[0], extra, *SESSION[1:]], bad, Kind.MISSING),
    ):
        found = compared(list(good), list(other))
        assert found.parting is not None
        assert found.parting.kind is Kind.ANSWER
        assert found.differences[0].kind is kind
        assert not found.differences[0].matters


def test_an_identification_of_an_older_dialect_is_a_reading_too() -> None:
    older: list[Talk] = [ask("10 85", "50 85"), ask("1A 91", "5A 91 41"), ask("3B 20 01020304", "7B 20")]
    found = compared(older, [*older, ask("1A 90", "5A 90 42")])
    assert found.parting is None
    assert [one.kind for one in found.differences] == [Kind.ADDED]


def test_sessions_that_differ_in_a_reading_alone_do_not_part() -> None:
    found = compared(SESSION, [*SESSION, FAULTS_READ])
    assert found.parting is None
    assert [one.kind for one in found.differences] == [Kind.ADDED]
    text = " ".join(render_comparison(found, "good", "bad", 200, color=False).split())
    assert "DO NOT PART every act of both is there" in text
    assert "NOT BY ITSELF A FAULT readings that only one session made" in text


def test_a_reading_that_found_no_answer_is_where_they_part() -> None:
    """Look-alike: only the bad session asks, and the module is silent."""
    found = compared(SESSION[:1], [SESSION[0], tester("22 F18C"), gap(7)])
    assert found.parting is not None
    assert found.parting.kind is Kind.ADDED


def test_a_retry_is_added_and_what_follows_still_matches() -> None:
    begun: list[Talk] = [ask("31 01 FF00", "71 01 FF00 00"), request(), block(1, IMAGE[:32], "7F 36 72")]
    found = compared(SESSION, [*SESSION[:2], *begun, *SESSION[1:]])
    assert found.parting is not None
    assert found.parting.kind is Kind.ANSWER
    assert all(one.kind is Kind.ADDED for one in found.differences[1:])


def test_another_written_value_is_told() -> None:
    (found,) = compared([write("4A10", "0102")], [write("4A10", "0103")]).differences
    assert found.kind is Kind.WRITTEN


def test_an_answer_far_later_than_any_is_told_apart_from_faults() -> None:
    slow: list[Talk] = [tester("22 F188"), gap(2), ask("22 F188", "62 F188 58")[1]]
    found = compared([read("F188", b"X")], slow)
    assert found.parting is None
    assert [one.kind for one in found.differences] == [Kind.LATE]


def test_the_same_module_at_other_ids_is_the_same_part() -> None:
    assert compared([read("F188", b"X")], [read("F188", b"X", on=KEEPER)]).differences == ()


@pytest.mark.parametrize(
    ("name", "kind", "service"),
    [
        ("uds11-transfer-refused", Kind.ANSWER, 0x36),
        ("uds11-check-bad", Kind.ANSWER, 0x31),
        ("uds11-erase-refused", Kind.ANSWER, 0x31),
        ("uds11-exit-refused", Kind.ANSWER, 0x37),
        ("uds11-wrong-key", Kind.ANSWER, 0x27),
        ("uds11-module-silent", Kind.ANSWER, 0x36),
        ("uds11-write-refused", Kind.ANSWER, 0x2E),
        ("uds11-no-check", Kind.MISSING, 0x31),
    ],
)
def test_shipped_sessions_part_where_the_fault_was_planted(name: str, kind: Kind, service: int) -> None:
    parting = compare(opened("uds11-all-good"), opened(name)).parting
    assert parting is not None
    assert parting.good is not None
    assert (parting.kind, parting.good.exchange.service) == (kind, service)


def test_blocks_laid_out_anew_are_compared_by_their_marks() -> None:
    assert compared([ENTER, request(), blocks()], [ENTER, request(), blocks()]).differences == ()


def test_the_command_prints_where_they_part() -> None:
    good, bad = (str(FIXTURES / name / "capture.log") for name in ("uds11-all-good", "uds11-check-bad"))
    result = CliRunner().invoke(main, ["compare", good, bad, "--names", str(FIXTURES / "uds11_names.toml")])
    assert result.exit_code == 0
    assert "THE SESSIONS PART HERE" in result.stdout
    assert "lines 273-277" in " ".join(result.stdout.split())


def test_a_session_without_steps_is_no_session_that_agrees() -> None:
    empty = str(FIXTURES / "uds11-no-diagnostics" / "capture.log")
    for pair in ((empty, empty), (str(FIXTURES / "uds11-all-good" / "capture.log"), empty)):
        text = CliRunner().invoke(main, ["compare", *pair]).stdout
        assert "NOTHING TO COMPARE" in text
        assert "DO NOT PART" not in text


def test_two_values_written_stand_side_by_side() -> None:
    for good, bad in (("01020304", "01020305"), ("01" * 40 + "22", "01" * 40 + "23")):
        found = compared([write("3A01", good)], [write("3A01", bad)])
        page = " ".join(render_comparison(found, "good.log", "bad.log", 100, color=False).split())
        for value in (good, bad):
            assert value in page.replace(" ", "")
        assert "differs in byte" in page


WROTE: list[Talk] = [read("4A10", "00000000"), write("4A10", "01020304")]


def test_a_value_that_reads_as_written_in_one_session_alone_is_where_they_part() -> None:
    found = compared([*WROTE, read("4A10", "01020304")], [*WROTE, read("4A10", "00000000")])
    assert found.parting is not None and found.parting.kind is Kind.VALUE
    assert "THE SESSIONS PART HERE  value read" in page_of(found)


def test_values_that_differ_are_not_said_to_be_of_another_vehicle() -> None:
    found = compared([read("4A10", "01020304"), *WROTE], [read("4A10", "05060708"), *WROTE])
    assert found.parting is None
    assert "values read" in page_of(found) and "vehicle" not in page_of(found)


def test_readings_that_both_show_what_each_session_wrote_are_not_where_they_part() -> None:
    other: list[Talk] = [read("4A10", "00000000"), write("4A10", "05060708"), read("4A10", "05060708")]
    found = compared([*WROTE, read("4A10", "01020304")], other)
    assert [(one.kind, one.matters) for one in found.differences] == [(Kind.WRITTEN, True), (Kind.VALUE, False)]


def page_of(found: Comparison) -> str:
    return render_comparison(found, "good.log", "bad.log", 80, color=False)


def test_many_steps_of_one_meaning_that_stand_elsewhere_are_aligned_as_quickly() -> None:
    """Four times as many take about four times as long; where each is compared with each it is sixteen times."""

    def taken_s(times: int) -> float:
        live = [("module", ("read", number % 2)) for number in range(2 * times)]
        ours = [Step((*key, number), "module", exchange, "") for number, key in enumerate(live)]
        theirs = [Step((*key, -1 - number), "module", exchange, "") for number, key in enumerate(live)]
        begin = time.process_time()
        assert len(list(_gap(ours, theirs))) == 2 * times
        return time.process_time() - begin

    exchange = heard(read("F188", b"A")).record.exchanges[0]
    short, long = (min(taken_s(times) for _ in range(3)) for times in (4000, 16000))
    assert long < 8 * short
