"""The same five words on the same footing in the older dialects.

KWP2000: ISO 14230-3 (M), layouts as scapy 2.8.0 has them. GMW3110: edition 1.6, likewise. The words are ours.
"""

from __future__ import annotations

import pytest
from talk import (
    ERASE,
    IMAGE,
    Side,
    Talk,
    ask,
    blocks,
    enter,
    frame,
    gap,
    heard,
    item,
    of_kind,
    only,
    raw,
    request,
    state,
    tester,
    word_of,
)

from analysis.operations.model import Part

# -- GMW3110 ------------------------------------------------------------------------------------------


def g_block(at: int, data: bytes, answer: str = "76", sub: int = 0x00) -> Talk:
    return ask(bytes([0x36, sub]) + (0x010000 + at).to_bytes(3, "big") + data, *([answer] if answer else []))


def g_blocks(upto: int = len(IMAGE), size: int = 32) -> list[Talk]:
    return [g_block(at, IMAGE[at : at + size]) for at in range(0, upto, size)]


G_ENTER: list[Talk] = [
    ask("28", "68"), ask("A2", "E2 00"), ask("A5 01", "E5"), tester("A5 03"), gap(0.1),
    ask("27 01", "67 01 A1B2"), ask("27 02 0C0D", "67 02"),
]  # fmt: skip
G_REQUEST = ask("34 00 000060", "7F 34 78", "74")
G_NORMAL: list[Talk] = [ask("20", "60"), gap(1.0)]
G_OLD, G_NEW = ask("1A C1", "5A C1 00123456"), ask("1A C1", "5A C1 00123499")
G_READY = ask("A2", "E2 00")


def gmw(*talk: Talk) -> tuple[str, str]:
    report = heard(G_OLD, G_ENTER, *talk)
    assert {guess.dialect for guess in report.record.dialects.values()} == {"gmw3110"}
    return word_of(report, "download")


def test_the_state_after_the_return_to_normal_mode_proves_a_download() -> None:
    assert gmw(G_REQUEST, g_blocks(), G_NORMAL, G_READY) == ("confirmed", "medium")


def test_a_changed_part_number_proves_it_better() -> None:
    assert gmw(G_REQUEST, g_blocks(), G_NORMAL, G_READY, G_NEW) == ("confirmed", "high")


def test_the_return_to_normal_mode_alone_proves_nothing() -> None:
    assert gmw(G_REQUEST, g_blocks(), G_NORMAL)[0] == "unproven"


def test_a_state_told_before_the_return_to_normal_mode_proves_nothing_yet() -> None:
    assert gmw(G_REQUEST, g_blocks(), G_READY, G_NORMAL)[0] == "unproven"


def test_a_part_number_as_before_proves_nothing() -> None:
    assert gmw(G_REQUEST, g_blocks(), G_NORMAL, G_OLD)[0] == "unproven"


@pytest.mark.parametrize("said", ["E2 01", "E2 02", "E2 03", "E2 54"])
def test_a_state_that_lacks_something_is_a_failure(said: str) -> None:
    assert gmw(G_REQUEST, g_blocks(), G_NORMAL, ask("A2", said)) == ("failed", "high")


def test_the_state_told_last_counts() -> None:
    assert gmw(G_REQUEST, g_blocks(), ask("A2", "E2 02"), G_NORMAL, G_READY)[0] == "confirmed"


def test_a_refused_block_is_a_failure_in_the_dialects_own_words() -> None:
    report = heard(G_OLD, G_ENTER, G_REQUEST, g_block(0, IMAGE[:32], "7F 36 83"))
    assert word_of(report, "download") == ("failed", "high")
    assert "voltage" in only(report, "download").outcome.because[0]  # 83 is another thing in UDS


def test_bytes_short_of_what_was_announced_are_an_interruption() -> None:
    assert gmw(G_REQUEST, g_blocks(64))[0] == "interrupted"
    assert gmw(G_REQUEST, g_blocks(64), g_block(64, IMAGE[64:], ""))[0] == "interrupted"


def test_a_block_sent_again_after_a_lost_answer_counts_once() -> None:
    again = [g_block(0, IMAGE[:32], ""), g_block(0, IMAGE[:32]), *g_blocks()[1:]]
    report = heard(G_OLD, G_ENTER, G_REQUEST, again, G_NORMAL, G_READY)
    assert only(report, "download").details["size_carried"] == len(IMAGE)
    assert word_of(report, "download")[0] == "confirmed"


def test_other_bytes_to_the_same_address_leave_the_account_open() -> None:
    twice = [*g_blocks(64), g_block(32, IMAGE[:32]), g_block(64, IMAGE[64:])]
    report = heard(G_OLD, G_ENTER, G_REQUEST, twice, G_NORMAL, G_NEW)
    assert word_of(report, "download")[0] == "unproven"


def test_a_program_run_in_ram_is_a_step_and_no_part() -> None:
    helper = [ask("34 00 000020", "74"), g_block(0x8000, bytes(range(32)), sub=0x80)]
    report = heard(G_OLD, G_ENTER, helper, G_REQUEST, g_blocks(), G_NORMAL, G_READY, G_NEW)
    first, second = of_kind(report, "download")
    assert (first.part, second.part) == (None, Part.PROGRAMMING)
    assert str(second.outcome.word) == "confirmed"


def test_each_download_has_its_address_and_size() -> None:
    details = only(heard(G_OLD, G_ENTER, G_REQUEST, g_blocks(), G_NORMAL), "download").details
    assert (details["address"], details["size_asked"], details["size_carried"]) == ("00010000", 96, 96)


def test_the_vin_is_written_and_read_by_one_byte() -> None:
    vin = b"E0VLK3PS3SM018855"
    wrote = ask(raw("3B 90") + vin, "7B 90")
    report = heard(G_ENTER, wrote, ask("1A 90", raw("5A 90") + vin))
    found = only(report, "write")
    assert (found.part, found.details["identifier"]) == (Part.VIN, "90")
    assert word_of(report, "write") == ("confirmed", "medium")
    assert word_of(heard(G_ENTER, wrote), "write") == ("unproven", "high")


def test_configuration_that_reads_differently_failed() -> None:
    report = heard(G_ENTER, ask("3B A1 0102", "7B A1"), ask("1A A1", "5A A1 0103"))
    assert word_of(report, "write") == ("failed", "high")
    assert only(report, "write").part is Part.TRIMS


def test_a_shop_code_is_no_trim() -> None:
    report = heard(G_ENTER, ask("3B 98 30313233", "7B 98"))
    assert only(report, "write").part is None


# -- KWP2000 ------------------------------------------------------------------------------------------

K_ENTER: list[Talk] = [
    ask("1A 91", "5A 91 41313233"), ask("10 85", "50 85"), ask("27 01", "67 01 A1B2C3D4"),
    ask("27 02 01020304", "67 02 34"),
]  # fmt: skip
K_ERASE = ask("31 E0", "7F 31 78", "71 E0")
K_REQUEST = ask("34 010000 00 000060", "74 22")
K_EXIT = ask("37", "77")
K_RESET: list[Talk] = [ask("11 01", "51"), gap(1.5)]
K_NEW = ask("1A 91", "5A 91 41313234")


def k_blocks(upto: int = len(IMAGE), *, counted: bool = True) -> list[Talk]:
    found: list[Talk] = []
    for number, at in enumerate(range(0, upto, 32), start=1):
        mark = bytes([number]) if counted else b""
        found.append(ask(b"\x36" + mark + IMAGE[at : at + 32], b"\x76" + mark))
    return found


def kwp(*talk: Talk) -> tuple[str, str]:
    report = heard(K_ENTER, *talk)
    assert {guess.dialect for guess in report.record.dialects.values()} == {"kwp2000"}
    return word_of(report, "download")


@pytest.mark.parametrize("counted", [True, False])
def test_a_download_in_kwp2000_closes_its_account(counted: bool) -> None:
    report = heard(K_ENTER, K_ERASE, K_REQUEST, k_blocks(counted=counted), K_EXIT)
    details = only(report, "download").details
    assert (details["size_carried"], details["blocks"], details["ended"]) == (96, 3, True)
    assert word_of(report, "download")[0] == "unproven"


@pytest.mark.parametrize("counted", [True, False])
def test_changed_identification_after_the_reset_proves_it(counted: bool) -> None:
    assert kwp(K_ERASE, K_REQUEST, k_blocks(counted=counted), K_EXIT, K_RESET, K_NEW) == ("confirmed", "medium")


def test_identification_without_a_restart_proves_nothing() -> None:
    assert kwp(K_ERASE, K_REQUEST, k_blocks(), K_EXIT, K_NEW)[0] == "unproven"


def test_a_refused_erase_is_a_failure() -> None:
    assert kwp(ask("31 E0", "7F 31 22")) == ("failed", "high")


def test_a_transfer_without_end_is_an_interruption() -> None:
    assert kwp(K_ERASE, K_REQUEST, k_blocks(64))[0] == "interrupted"


def test_an_exit_of_kwp2000_sent_again_and_refused_as_not_due_is_no_failure() -> None:
    """22 is "condition not met, or step not due" there. ISO 14230-3 (M)."""
    again = [tester("37"), gap(3), ask("37", "7F 37 22")]
    assert kwp(K_ERASE, K_REQUEST, k_blocks(), again, K_RESET, K_NEW)[0] == "unproven"
    assert kwp(K_ERASE, K_REQUEST, k_blocks(), ask("37", "7F 37 22"), K_RESET, K_NEW)[0] == "failed"


def test_a_session_of_kwp2000_is_the_whole_byte() -> None:
    report = heard(K_ENTER, K_ERASE)
    assert only(report, "session").details["session"] == "02"  # programming, as UDS numbers it
    assert word_of(report, "session")[0] == "confirmed"
    assert word_of(report, "unlock")[0] == "confirmed"


def test_local_data_is_read_back_by_its_own_service() -> None:
    wrote = [K_ENTER, ask("3B 20 0102", "7B 20")]
    assert word_of(heard(*wrote, ask("21 20", "61 20 0102")), "write")[0] == "confirmed"
    assert word_of(heard(*wrote, ask("21 20", "61 20 0103")), "write")[0] == "failed"
    # 1A of the same number is another thing: it cannot say that the write failed.
    assert word_of(heard(*wrote, ask("1A 20", "5A 20 0103")), "write")[0] == "unproven"


def test_a_routine_of_kwp2000_that_still_runs_when_last_asked_has_not_failed() -> None:
    """23 is routineNotComplete there, and no final answer. ISO 14230-3 (M)."""
    learn = '[[routine]]\nid = "40"\nname = "prime"\nkind = "learn"\nstatus = { "00" = "good: learned" }\n'
    runs = [ask("1A 91", "5A 91 41313233"), ask("31 40", "71 40"), ask("33 40", "7F 33 23")]
    report = heard(*runs, names=learn)
    assert word_of(report, "routine")[0] == "interrupted"
    assert not [step for step in report.verdict.next_steps if "run it again" in str(step)]
    assert word_of(heard(*runs, ask("33 40", "73 40 00"), names=learn), "routine")[0] == "confirmed"


def test_a_dtc_like_refusal_of_another_dialect_is_not_read_as_uds() -> None:
    report = heard(K_ENTER, ask("34 010000 00 000060", "7F 34 40"))
    assert "download" in only(report, "download").outcome.because[0]
    assert word_of(report, "download") == ("failed", "high")


def test_a_module_of_an_older_dialect_is_not_called_dead() -> None:
    report = heard(K_ENTER, K_ERASE, K_REQUEST, k_blocks(), K_EXIT, K_RESET, K_NEW)
    assert str(state(report).now) != "silent"


# -- fault memory -------------------------------------------------------------------------------------

OBD_TWO, OBD_NONE = ask("03", "43 02 0101 0203"), ask("03", "43 00")
OBD_CLEAR = ask("04", "44")
K_TWO, K_NONE = ask("18 00 FF00", "58 02 0101 60 0203 40"), ask("18 00 FF00", "58 00")
K_CLEAR = ask("14 FF00", "54 FF00")


def clear_word(*talk: Talk) -> tuple[str, str]:
    return word_of(heard(*talk), "clear")


def test_emission_codes_gone_after_an_emission_clear_prove_it() -> None:
    assert clear_word(OBD_TWO, OBD_CLEAR, OBD_NONE) == ("confirmed", "high")
    assert clear_word(OBD_TWO, OBD_CLEAR)[0] == "unproven"
    assert clear_word(OBD_TWO, OBD_CLEAR, OBD_TWO)[0] == "unproven"


def test_pending_codes_are_no_list_of_what_was_stored() -> None:
    assert clear_word(OBD_TWO, OBD_CLEAR, ask("07", "47 00"))[0] == "unproven"


def test_emission_codes_say_nothing_of_all_that_uds_clears() -> None:
    listed = ask("19 02 FF", "59 02 FF 1B2354 2F")
    assert clear_word(listed, ask("14 FFFFFF", "54"), OBD_NONE)[0] == "unproven"


def test_codes_gone_after_a_clear_of_kwp2000_prove_it() -> None:
    assert clear_word(K_ENTER, K_TWO, K_CLEAR, K_NONE) == ("confirmed", "high")
    assert clear_word(K_ENTER, K_TWO, K_CLEAR, K_TWO)[0] == "unproven"


def test_another_question_to_kwp2000_is_no_comparison() -> None:
    assert clear_word(K_ENTER, K_TWO, K_CLEAR, ask("18 02 0000", "58 00"))[0] == "unproven"


def test_codes_of_two_bytes_are_written_as_people_write_them() -> None:
    details = only(heard(OBD_TWO, OBD_CLEAR, OBD_NONE), "clear").details
    assert details["before"] == ["P0101", "P0203"]


# -- everything else keeps quiet ----------------------------------------------------------------------

G_GOOD: list[Talk] = [G_OLD, G_ENTER, G_REQUEST, g_blocks(), G_NORMAL, G_READY, G_NEW]
K_GOOD: list[Talk] = [K_ENTER, K_ERASE, K_REQUEST, k_blocks(), K_EXIT, K_RESET, K_NEW]


@pytest.mark.parametrize("talk", [G_GOOD, K_GOOD], ids=["gmw3110", "kwp2000"])
def test_no_check_breaks_or_cries_on_a_good_session(talk: list[Talk]) -> None:
    report = heard(*talk, gap(20), tester("3E" if talk is G_GOOD else "3E 02"))
    assert [one.id for one in report.findings if str(one.severity) != "note"] == []
    assert not any("broken" in one.title for one in report.findings)


@pytest.mark.parametrize("cut", range(3, 6))
@pytest.mark.parametrize("talk", [G_GOOD, K_GOOD], ids=["gmw3110", "kwp2000"])
def test_no_check_breaks_on_a_session_cut_short(talk: list[Talk], cut: int) -> None:
    report = heard(*talk[:cut], gap(20), tester("3E" if talk is G_GOOD else "3E 02"))
    assert not any("broken" in one.title for one in report.findings)


def test_a_module_without_software_has_only_its_boot_loader() -> None:
    assert str(state(heard(G_OLD, G_ENTER, G_REQUEST, g_blocks(64), G_NORMAL, ask("A2", "E2 01"))).now) == "boot"
    assert str(state(heard(*G_GOOD)).now) == "application"


@pytest.mark.parametrize("talk", [G_ENTER, K_ENTER], ids=["gmw3110", "kwp2000"])
def test_nobody_asks_for_a_check_of_the_parts_that_the_dialect_has_not(talk: list[Talk]) -> None:
    gmw_parts = [ask("34 00 000060", "74"), g_blocks(), ask("34 00 000020", "74"), g_block(0x8000, bytes(range(32)))]
    kwp_parts = [K_ERASE, K_REQUEST, k_blocks(), K_EXIT, ask("34 020000 00 000060", "74 22"), k_blocks(), K_EXIT]
    report = heard(G_OLD if talk is G_ENTER else (), talk, gmw_parts if talk is G_ENTER else kwp_parts)
    assert len(of_kind(report, "download")) == 2
    assert "dependency-check-missing" not in [one.id for one in report.findings]


def test_the_order_to_run_a_program_is_no_gap_in_it() -> None:
    run = [ask("34 00 000020", "74"), g_block(0x8000, bytes(range(32))), g_block(0x8000, b"", sub=0x80)]
    found = of_kind(heard(G_OLD, G_ENTER, run, G_NORMAL), "download")[0]
    assert found.details["blocks"] == 1
    assert not any("does not continue" in one for one in found.outcome.because)


def test_a_block_to_another_address_in_the_place_of_one_leaves_the_transfer_open() -> None:
    astray = [g_block(0, IMAGE[:32]), g_block(0x2000, IMAGE[32:64]), g_block(0x40, IMAGE[64:])]
    found = only(heard(G_OLD, G_ENTER, G_REQUEST, astray, G_NORMAL, G_NEW), "download")
    assert found.outcome.word == "unproven"
    assert "the block to 00012000 stands where 00010020 was due" in found.outcome.because


def test_one_that_begins_another_piece_of_memory_does_not() -> None:
    apart = [g_block(0, IMAGE[:32]), g_block(0x2000, IMAGE[32:64]), g_block(0x2020, IMAGE[64:])]
    found = only(heard(G_OLD, G_ENTER, G_REQUEST, apart, G_NORMAL, G_NEW), "download")
    assert found.outcome.word == "confirmed"


def test_an_order_to_all_of_one_dialect_is_none_to_modules_of_another() -> None:
    """101 with FE reaches modules that speak GMW3110; a download in UDS goes on meanwhile."""
    uds = [enter(), ask(*ERASE), request()]
    lift = Side(0x24B, 0x64B)
    to_all = [frame(0x101, text) for text in ("FE 01 28", "FE 02 A5 01", "FE 02 A5 03", "FE 01 20")]
    other = [ask("1A C1", "5A C1 00123456", on=lift), ask("A2", "E2 00", on=lift), *to_all, ask("28", "68", on=lift)]
    report = heard(other, uds, blocks()[0], other, blocks()[1:], ask("37", "77"))
    details = only(report, "download", "7E0>7E8").details
    assert (details["ended"], details["size_carried"]) == (True, len(IMAGE))


def test_a_break_is_told_in_the_words_of_its_dialect() -> None:
    refused = heard(G_OLD, G_ENTER, G_REQUEST, g_block(0, IMAGE[:32], "7F 36 83")).post_mortem
    assert refused is not None and refused.first_bad is not None
    assert "voltage" in refused.first_bad.text  # 83 is "engine is running" in UDS
    lacking = heard(G_OLD, G_ENTER, G_REQUEST, g_blocks(), G_NORMAL, ask("A2", "E2 03")).post_mortem
    assert lacking is not None and lacking.first_bad is not None
    assert "03 software present, default or no-start calibration" in lacking.first_bad.text
    assert lacking.stage == "after-reset"


SHEET = """
[[module]]
label = "A"
link = "7E0:7E8"
programming = {{ software = "{software}" }}
trims = [ {{ identifier = "{trim}", value = "0102" }} ]
"""


def test_the_sheets_software_is_known_by_its_value_in_older_dialects_too() -> None:
    kwp_report = heard(K_ENTER, K_ERASE, K_REQUEST, k_blocks(), K_EXIT, K_RESET, K_NEW,
                       sheet=SHEET.format(software="A124", trim="21"))  # fmt: skip
    assert (item(kwp_report, "software").word, item(kwp_report, "software").confidence) == ("confirmed", "medium")
    gmw_report = heard(G_OLD, G_ENTER, G_REQUEST, g_blocks(), G_NORMAL, G_READY, G_NEW,
                       sheet=SHEET.format(software="00123499", trim="A1"))  # fmt: skip
    assert item(gmw_report, "software").word == "confirmed"


def test_a_value_read_before_a_download_erased_the_memory_is_not_known_to_be_there() -> None:
    """GMW3110 has no erase of its own: 34 erases (M)."""
    sheet = SHEET.format(software="x", trim="A1")
    other, asked = (ask("1A A1", f"5A A1 {value}") for value in ("0103", "0102"))
    assert item(heard(G_OLD, other, G_ENTER, G_REQUEST, sheet=sheet), "trim").word == "not-shown"
    assert item(heard(G_OLD, asked, G_ENTER, G_REQUEST, sheet=sheet), "trim").word == "unproven"
    refused = ask("34 00 000060", "7F 34 22")
    assert item(heard(G_OLD, other, G_ENTER, refused, sheet=sheet), "trim").word == "failed"


def test_an_order_to_keep_quiet_is_told_as_one() -> None:
    (order,) = of_kind(heard(G_OLD, ask("28", "68"), ask("A2", "E2 00")), "communication")
    assert order.details["stops"] is True
    off, on = of_kind(heard(K_ENTER, ask("28 01", "68"), ask("29 01", "69")), "communication")
    assert (off.details["stops"], on.details["stops"]) == (True, False)


def test_faults_and_local_data_outside_programming_are_signs_of_the_application() -> None:
    bare = state(heard(*K_GOOD))
    assert (str(bare.now), str(bare.may_retry)) == ("unknown", "not-needed")
    assert str(state(heard(*K_GOOD, ask("21 20", "61 20 0102"))).now) == "application"
    assert str(state(heard(*K_GOOD, ask("18 00 FF00", "58 00"))).now) == "application"
    assert str(state(heard(*K_GOOD, ask("10 85", "50 85"), ask("21 20", "61 20 0102"))).now) != "application"


def g_faults(*frames: str) -> Talk:
    """A9 81 and the frames that answer it on 5E8, outside the transport."""
    return (tester("A9 81 12"), *(frame(0x5E8, text) for text in frames))


G_TWO = g_faults("81 123456 2F 000000", "81 0A0B0C 2F 000000", "81 000000 00 000000")
G_NONE = g_faults("81 000000 00 000000")


def test_faults_told_outside_the_transport_prove_a_clear() -> None:
    assert clear_word(G_OLD, G_READY, G_TWO, OBD_CLEAR, G_NONE) == ("confirmed", "high")
    assert clear_word(G_OLD, G_READY, G_TWO, OBD_CLEAR, G_TWO)[0] == "unproven"
    assert clear_word(G_OLD, G_READY, G_TWO, OBD_CLEAR)[0] == "unproven"


def test_a_list_without_its_end_proves_no_clear() -> None:
    cut = g_faults()
    assert clear_word(G_OLD, G_READY, G_TWO, OBD_CLEAR, cut)[0] == "unproven"


def test_faults_told_outside_the_transport_are_read_with_their_lines() -> None:
    report = heard(G_OLD, G_READY, G_TWO, OBD_CLEAR, G_NONE)
    first, last = of_kind(report, "read-faults")
    assert [one["code"] for one in first.details["codes"]] == ["P1234-56", "P0A0B-0C"]  # type: ignore[attr-defined]
    assert last.details["codes"] == []


def test_what_was_heard_before_a_download_says_nothing_of_what_runs_behind_it() -> None:
    """GMW3110 has no erase of its own: a download that was taken is one."""
    talk = [G_OLD, OBD_TWO, G_ENTER, G_REQUEST, g_blocks(), G_NORMAL, ask("A2", "E2 03")]
    assert str(state(heard(*talk)).now) != "application"
