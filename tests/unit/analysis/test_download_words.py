"""Downloads: what is begun, ended, refused and proved. ISO 14229-1:2020, 15 and 17 (M); the words are ours."""

from __future__ import annotations

import pytest
from talk import (
    ADDRESS,
    APPLICATION_START,
    BLOCK,
    BOOT_START,
    CHECK,
    ERASE,
    IMAGE,
    KEEPER,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    block,
    blocks,
    download,
    enter,
    everybody,
    frame,
    gap,
    heard,
    judged,
    log_of,
    module,
    of_kind,
    only,
    programming,
    read,
    request,
    reset,
    state,
    tester,
    without,
    word_of,
    words,
    write,
)  # fmt: skip

from analysis.operations.model import Part

NEW = b"PCU-SW-1207"
CALIBRATION = 0x00020000
FIT = ("31 01 FF01", "71 01 FF01 00")
BEFORE: list[Talk] = [read("F188", SOFTWARE), read("F1A0", "3331"), enter()]
GOOD = ask(CHECK, "71 01 0266 00")
CHANGED: list[Talk] = [reset(), read("F188", NEW)]


def download_word(*talk: Talk, names: str = "") -> tuple[str, str]:
    return word_of(heard(BEFORE, *talk, names=names), "download")


# proofs


def test_a_check_that_names_call_good_confirms() -> None:
    assert download_word(programming(), GOOD, names=NAMES) == ("confirmed", "high")


def test_a_check_whose_status_no_names_explain_is_not_proven() -> None:
    assert download_word(programming(), GOOD) == ("unproven", "medium")


def test_a_status_that_names_do_not_hold_is_not_proven() -> None:
    assert download_word(programming(), ask(CHECK, "71 01 0266 7A"), names=NAMES)[0] == "unproven"


def test_a_check_accepted_without_a_status_is_not_proven() -> None:
    assert download_word(programming(), ask(CHECK, "71 01 0266"), names=NAMES)[0] == "unproven"


def test_a_download_that_nothing_proves_is_not_proven_and_names_the_missing_proof() -> None:
    report = heard(BEFORE, programming())
    assert word_of(report, "download") == ("unproven", "high")
    wish = "read 7E0>7E8's software identification (F188, F1A0) after an ignition cycle and capture it"
    assert only(report, "download").outcome.would_change == wish


def test_the_positive_exit_alone_proves_nothing() -> None:
    report = heard(BEFORE, programming(), reset())
    assert only(report, "download").details["ended"] is True
    assert word_of(report, "download")[0] == "unproven"


def test_an_identity_changed_after_the_restart_confirms_the_only_part() -> None:
    assert download_word(programming(), CHANGED) == ("confirmed", "high")


def test_an_unchanged_identity_proves_nothing() -> None:
    assert download_word(programming(), reset(), read("F188", SOFTWARE))[0] == "unproven"


def test_an_identity_never_read_before_proves_nothing() -> None:
    report = heard(read("F190", "41"), enter(), programming(), CHANGED)
    assert word_of(report, "download")[0] == "unproven"


def test_an_identity_read_before_the_reset_proves_nothing() -> None:
    assert download_word(programming(), read("F188", NEW))[0] == "unproven"
    assert download_word(programming(), read("F188", NEW), reset())[0] == "unproven"


def test_an_identity_read_before_the_reset_proves_nothing_in_any_session() -> None:
    extended = [read("F188", SOFTWARE), ask("10 03", "50 03 0032 01F4"), programming(), read("F188", NEW), reset()]
    assert word_of(heard(extended), "download")[0] == "unproven"


def test_an_identity_read_while_the_boot_loader_ran_proves_nothing() -> None:
    talk = [programming(), reset(), BOOT_START, gap(1), read("F188", NEW), gap(1), APPLICATION_START, gap(1)]
    assert download_word(talk, names=NAMES)[0] == "unproven"


def test_an_identity_read_after_a_mere_border_of_captures_proves_nothing() -> None:
    first, second = log_of(BEFORE, programming()), log_of(read("F188", NEW), start_ns=1_795_009_999 * 10**9)
    assert word_of(judged(first, second), "download")[0] == "unproven"


def test_an_identity_read_in_the_programming_session_proves_nothing() -> None:
    again = [reset(), ask("10 02", "50 02 0032 01F4"), read("F188", NEW)]
    assert download_word(programming(), again)[0] == "unproven"


def test_an_identity_the_tester_wrote_proves_nothing() -> None:
    assert download_word(programming(), write("F188", NEW), CHANGED)[0] == "unproven"


def test_a_blank_identity_proves_nothing() -> None:
    assert download_word(programming(), reset(), read("F188", "FFFFFFFFFFFFFFFFFFFFFF"))[0] == "unproven"


def test_an_identity_that_names_tie_to_another_part_proves_nothing() -> None:
    assert download_word(programming(address=CALIBRATION), CHANGED, names=NAMES)[0] == "unproven"


def test_an_identity_that_names_tie_to_the_part_confirms_it_among_several() -> None:
    talk = [programming(), programming(address=CALIBRATION), CHANGED]
    assert words(heard(BEFORE, talk, names=NAMES), "download") == ["confirmed", "unproven"]


def test_without_names_an_identity_proves_none_of_several_parts() -> None:
    talk = [programming(), programming(address=CALIBRATION), CHANGED]
    assert words(heard(BEFORE, talk), "download") == ["unproven", "unproven"]


def test_a_file_beside_the_download_leaves_open_what_changed_the_identity() -> None:
    file = [ask("38 01 0005 612E62696E 00 01 20 20", "78 01 01 22 00"), block(1, IMAGE[:BLOCK]), ask("37", "77")]
    assert words(heard(BEFORE, programming(), file, CHANGED), "download") == ["unproven"]


def test_an_identity_of_the_boot_loader_before_is_no_value_that_changed() -> None:
    report = heard(
        read("F188", SOFTWARE), enter(), read("F188", b"BOOTLOADER1"), programming(), reset(), read("F188", SOFTWARE)
    )  # fmt: skip
    assert word_of(report, "download")[0] == "unproven"


def test_a_boot_loader_that_names_itself_after_the_restart_is_a_failure() -> None:
    loader = read("F188", b"BOOTLOADER1")
    report = heard(read("F188", SOFTWARE), enter(), loader, programming(), reset(), loader)
    assert word_of(report, "download")[0] == "failed"
    assert state(report).now == "boot"
    unknown = heard(enter(), loader, programming(), reset(), loader)  # who spoke first is not known
    assert word_of(unknown, "download")[0] == "unproven"
    assert state(unknown).now == "unknown"
    kept = heard(
        read("F188", SOFTWARE), enter(), read("F188", SOFTWARE), programming(), reset(), read("F188", SOFTWARE)
    )
    assert word_of(kept, "download")[0] == "unproven"
    assert state(kept).now != "boot"


def test_an_identity_read_from_a_boot_loader_that_said_so_proves_nothing() -> None:
    before, after = read("F188", SOFTWARE), read("F188", b"BOOTLOADER1")
    talk = [before, enter(), programming(), gap(1), BOOT_START, gap(1), after]
    assert words(heard(talk, names=NAMES), "download")[0] != "confirmed"
    stuck = [before, enter(), programming(), reset(), ask("22 F186", "62 F186 02"), after]
    assert words(heard(stuck), "download")[0] == "failed"


def test_a_calibration_verification_number_that_changed_confirms() -> None:
    number = "0906"
    old, new = ask(number, "49 06 01 11223344"), ask(number, "49 06 01 55667788")
    assert word_of(heard(old, enter(), programming(), reset(), new), "download")[0] == "confirmed"
    assert word_of(heard(old, enter(), programming(), reset(), old), "download")[0] == "unproven"


def test_the_date_of_programming_that_the_module_changed_itself_confirms_an_unchanged_identity() -> None:
    before: list[Talk] = [read("F188", SOFTWARE), read("F199", "260101"), enter()]
    after = [reset(), read("F188", SOFTWARE), read("F199", "261124")]
    assert word_of(heard(before, programming(), after), "download") == ("confirmed", "medium")
    written = heard(before, write("F199", "261124"), programming(), after)
    assert word_of(written, "download")[0] == "unproven"
    no_identity = heard(before, programming(), reset(), read("F199", "261124"))
    assert word_of(no_identity, "download")[0] == "unproven"


def read_out(data: bytes = IMAGE, address: int = ADDRESS) -> list[Talk]:
    return [
        ask(bytes([0x23, 0x14]) + (address + at).to_bytes(4, "big") + bytes([len(part)]), b"\x63" + part)
        for at, part in ((at, data[at : at + BLOCK]) for at in range(0, len(data), BLOCK))
    ]


def test_memory_read_out_equal_confirms() -> None:
    assert download_word(programming(), read_out()) == ("confirmed", "high")


@pytest.mark.parametrize(
    "seen", [read_out(IMAGE[:-1]), read_out(IMAGE[:-1] + b"\x99"), read_out()[1:], read_out(address=ADDRESS + 0x100)]
)
def test_memory_read_out_in_part_or_otherwise_proves_nothing(seen: list[Talk]) -> None:
    assert download_word(programming(), seen)[0] == "unproven"


def test_bytes_that_were_not_read_out_are_not_taken_for_zeros() -> None:
    image = IMAGE[:64] + bytes(32)
    assert download_word(programming(image), read_out(image)[:2])[0] == "unproven"
    assert download_word(programming(image), read_out(image))[0] == "confirmed"


def test_the_dependency_check_by_custom_needs_the_application_after_the_reset() -> None:
    assert download_word(programming(), ask(*FIT))[0] == "unproven"
    assert download_word(programming(), ask(*FIT), reset())[0] == "unproven"
    answering = download_word(programming(), ask(*FIT), reset(), read("F188", SOFTWARE))
    assert answering == ("confirmed", "medium")
    report = heard(BEFORE, programming(), ask(*FIT), reset(), read("F188", SOFTWARE))
    assert any("custom" in text for text in only(report, "download").outcome.because)


def test_the_dependency_check_with_another_status_is_not_proven() -> None:
    talk = [programming(), ask("31 01 FF01", "71 01 FF01 01"), reset(), read("F188", SOFTWARE)]
    assert download_word(talk)[0] == "unproven"


def test_the_dependency_check_without_a_status_is_not_proven() -> None:
    talk = [programming(), ask("31 01 FF01", "71 01 FF01"), reset(), read("F188", SOFTWARE)]
    assert download_word(talk)[0] == "unproven"


def test_the_dependency_check_before_the_last_download_proves_nothing() -> None:
    talk = [programming(), ask(*FIT), programming(address=CALIBRATION), reset(), read("F188", SOFTWARE)]
    assert words(heard(BEFORE, talk), "download") == ["unproven", "unproven"]


def test_the_dependency_check_before_the_download_proves_nothing() -> None:
    assert download_word(ask(*FIT), programming(), reset(), read("F188", SOFTWARE))[0] == "unproven"


def test_the_dependency_check_and_a_boot_loader_that_opens_the_extended_session_prove_nothing() -> None:
    assert download_word(programming(), ask(*FIT), reset(), ask("10 03", "50 03 0032 01F4"))[0] == "unproven"


def test_a_dependency_check_of_the_past_does_not_speak_for_a_second_download() -> None:
    talk = [programming(), ask(*FIT), reset(), read("F188", SOFTWARE), enter(), programming(), reset()]
    report = heard(BEFORE, talk, read("F188", SOFTWARE))
    assert [item.outcome.word for item in of_kind(report, "download")] == ["confirmed", "unproven"]
    assert of_kind(report, "download")[0].superseded_by is not None


# checks that look like proof


def test_a_check_answered_before_the_download_proves_nothing() -> None:
    assert download_word(ask(*ERASE), GOOD, download(), names=NAMES)[0] == "unproven"


def test_a_check_of_another_named_block_proves_nothing() -> None:
    other = ask("31 01 0266 02", "71 01 0266 00")
    assert download_word(programming(), other, names=NAMES)[0] == "unproven"


def test_a_check_of_a_named_block_proves_nothing_of_memory_without_a_name() -> None:
    other = ask("31 01 0266 02", "71 01 0266 00")
    assert download_word(programming(address=0x00090000), other, names=NAMES)[0] == "unproven"


def test_a_check_of_its_own_block_confirms_also_behind_another_part() -> None:
    own = ask("31 01 0266 01", "71 01 0266 00")
    report = heard(BEFORE, programming(), programming(address=CALIBRATION), own, names=NAMES)
    assert words(report, "download") == ["confirmed", "unproven"]


def test_a_check_without_a_block_speaks_only_for_the_part_before_it() -> None:
    report = heard(BEFORE, programming(), programming(address=CALIBRATION), GOOD, names=NAMES)
    assert words(report, "download") == ["unproven", "confirmed"]


def test_a_result_of_a_check_that_was_not_started_since_proves_nothing() -> None:
    old = ask("31 03 0266", "71 03 0266 00")
    assert download_word(GOOD, programming(), old, names=NAMES)[0] == "unproven"


def test_a_result_behind_a_start_that_was_refused_proves_nothing() -> None:
    talk = [programming(), ask(CHECK, "7F 31 22"), ask("31 03 0266", "71 03 0266 00")]
    assert download_word(talk, names=NAMES)[0] != "confirmed"


def test_a_result_behind_its_start_decides() -> None:
    started = [programming(), ask(CHECK, "71 01 0266 02")]
    assert download_word(started, ask("31 03 0266", "71 03 0266 00"), names=NAMES)[0] == "confirmed"
    assert download_word(started, ask("31 03 0266", "71 03 0266 01"), names=NAMES)[0] == "failed"
    assert download_word(started, names=NAMES)[0] == "unproven"


@pytest.mark.parametrize("code", ["11", "12", "22", "24", "31", "33", "7F", "93"])
def test_a_check_that_was_not_carried_out_says_nothing_of_the_memory(code: str) -> None:
    refused = ask(CHECK, f"7F 31 {code}")
    alone = heard(BEFORE, programming(), refused, names=NAMES)
    assert word_of(alone, "download") == ("unproven", "medium")
    assert "was not carried out" in " ".join(only(alone, "download").outcome.because)
    assert not [one for one in alone.findings if one.id == "check-failed"]
    assert download_word(programming(), refused, CHANGED, names=NAMES) == ("confirmed", "medium")


@pytest.mark.parametrize("code", ["70", "71", "72", "73"])
def test_a_check_refused_for_the_memory_says_no(code: str) -> None:
    report = heard(BEFORE, programming(), ask(CHECK, f"7F 31 {code}"), CHANGED, names=NAMES)
    assert word_of(report, "download") == ("failed", "high")
    assert [one for one in report.findings if one.id == "check-failed"]


def test_a_check_repeated_with_success_counts() -> None:
    talk = [programming(), ask(CHECK, "7F 31 21"), GOOD]
    assert download_word(talk, names=NAMES)[0] == "confirmed"


def test_a_bad_check_of_one_block_is_not_hidden_by_a_good_one_of_another() -> None:
    names = NAMES.replace('block = "01"', "").replace('block = "02"', "")
    talk = [programming(), ask("31 01 0266 0A", "71 01 0266 01"), ask("31 01 0266 0B", "71 01 0266 00")]
    assert download_word(talk, names=names)[0] == "failed"


def test_the_result_of_the_check_of_one_block_does_not_hide_the_bad_one_of_another() -> None:
    """Both checks run at a time, and the result of the first block is asked for last."""
    started = [ask(f"{CHECK} 01", "71 01 0266 02"), ask(f"{CHECK} 02", "71 01 0266 02")]
    results = [ask("31 03 0266 02", "71 03 0266 01"), ask("31 03 0266 01", "71 03 0266 00")]
    report = heard(programming(), programming(address=0x20000), started, results, names=NAMES)
    assert words(report, "download") == ["confirmed", "failed"]


def test_a_second_download_after_the_check_is_judged_without_it() -> None:
    report = heard(BEFORE, programming(), GOOD, programming(), names=NAMES)
    assert words(report, "download") == ["confirmed", "unproven"]
    assert report.verdict.overall == "unproven"


@pytest.mark.parametrize("again", ["71 01 FF01 01", "71 01 FF01"])
def test_the_dependency_check_asked_again_counts_as_it_answered_last(again: str) -> None:
    fits, started = ask("31 01 FF01", "71 01 FF01 00"), [reset(), read("F188", SOFTWARE)]
    assert download_word(programming(), fits, started) == ("confirmed", "medium")
    assert download_word(programming(), fits, ask("31 01 FF01", again), started)[0] == "unproven"
    assert download_word(programming(), fits, started, ask("31 01 FF01", again))[0] == "unproven"
    not_done = ask("31 01 FF01", "7F 31 22")
    assert download_word(programming(), fits, not_done, started) == ("confirmed", "medium")


def test_a_routine_of_another_kind_decides_nothing() -> None:
    names = NAMES.replace('kind = "check"', 'kind = "other"')
    for status in ("00", "01"):
        assert download_word(programming(), ask(CHECK, f"71 01 0266 {status}"), names=names)[0] == "unproven"


def test_a_check_by_another_module_proves_nothing() -> None:
    talk = [read("F190", "41", on=KEEPER), programming(), ask(CHECK, "71 01 0266 00", on=KEEPER)]
    names = NAMES.replace('modules = ["PCU"]', "modules = []")
    assert download_word(talk, names=names)[0] == "unproven"


def test_silence_after_the_restart_takes_the_confirmation_away() -> None:
    talk = [programming(), GOOD, reset(), tester("22 F188"), gap(6), tester("22 F188"), gap(6)]
    assert download_word(talk, read("F190", "41", on=KEEPER), names=NAMES)[0] == "unproven"


# failures


@pytest.mark.parametrize(
    "talk",
    [
        [ask(ERASE[0], "7F 31 72")],
        [ask(*ERASE), request(answer="7F 34 70")],
        [ask(*ERASE), request(), block(1, IMAGE[:BLOCK]), block(2, IMAGE[BLOCK:64], "7F 36 72")],
        [ask(*ERASE), request(), *blocks(), ask("37", "7F 37 24")],
        [programming(), ask(CHECK, "7F 31 72")],
    ],
    ids=["erase", "request", "block", "exit", "check"],
)
def test_a_final_refusal_is_a_failure(talk: list[Talk]) -> None:
    report = heard(BEFORE, talk)
    assert word_of(report, "download") == ("failed", "high")
    assert only(report, "download").outcome.would_change


def test_a_check_that_names_call_bad_is_a_failure() -> None:
    assert download_word(programming(), ask(CHECK, "71 01 0266 01"), names=NAMES) == ("failed", "high")


def test_a_bad_check_outweighs_a_changed_identity() -> None:
    assert download_word(programming(), ask(CHECK, "71 01 0266 01"), CHANGED, names=NAMES)[0] == "failed"


def test_only_the_boot_loader_after_the_reset_is_a_failure() -> None:
    by_session = [programming(), GOOD, reset(), ask("22 F186", "62 F186 02")]
    assert download_word(by_session, names=NAMES)[0] == "failed"
    by_start = [programming(), GOOD, reset(), BOOT_START, gap(1), read("F190", "41")]
    assert download_word(by_start, names=NAMES)[0] == "failed"


def test_a_block_refused_as_busy_and_repeated_is_no_failure() -> None:
    parts = [IMAGE[at : at + BLOCK] for at in range(0, 96, BLOCK)]
    talk = [block(1, parts[0]), block(2, parts[1], "7F 36 21"), block(2, parts[1]), block(3, parts[2])]
    assert download_word(ask(*ERASE), request(), talk, ask("37", "77"), GOOD, names=NAMES) == ("confirmed", "high")


def test_an_erase_refused_as_busy_and_repeated_is_superseded() -> None:
    report = heard(BEFORE, ask(ERASE[0], "7F 31 21"), programming(), GOOD, names=NAMES)
    assert words(report, "download") == ["failed", "confirmed"]
    assert report.verdict.overall == "confirmed"


def test_a_second_exit_that_is_refused_undoes_nothing() -> None:
    talk = [ask(*ERASE), request(), *blocks(), ask("37", "77"), ask("37", "7F 37 24"), GOOD]
    assert words(heard(BEFORE, talk, names=NAMES), "download") == ["confirmed"]


EXIT_AGAIN: list[Talk] = [tester("37"), gap(3), ask("37", "7F 37 24")]


def test_an_exit_sent_again_after_a_lost_answer_and_refused_as_not_due_is_no_failure() -> None:
    """The module took the first one, so the second is not due: ISO 14229-1:2020, 15.5 (M)."""
    carried = [BEFORE, ask(*ERASE), request(), *blocks(), EXIT_AGAIN]
    report = heard(carried, GOOD, reset(), read("F188", b"PCU-SW-1299"), names=NAMES)
    assert word_of(report, "download") == ("confirmed", "medium")
    assert any("refused as not due (24)" in text for text in only(report, "download").outcome.because)
    assert "transfer-exit-refused" not in {one.id for one in report.findings}
    assert word_of(heard(carried, reset(), read("F188", b"PCU-SW-1299"), names=NAMES), "download")[0] == "unproven"
    assert word_of(heard(carried, gap(1), read("F190", "41"), names=NAMES), "download")[0] == "interrupted"


@pytest.mark.parametrize(
    "talk",
    [
        [request(), *blocks()[:2], EXIT_AGAIN],
        [request(), *blocks(), ask("37", "7F 37 24"), gap(3), ask("37", "7F 37 24")],
        [request(), *blocks(), tester("37"), gap(3), ask("37", "7F 37 72")],
    ],
    ids=["blocks are missing", "refused at once", "refused for the memory"],
)
def test_any_other_exit_that_is_refused_is_a_failure(talk: Talk) -> None:
    assert download_word(ask(*ERASE), talk, GOOD, names=NAMES)[0] == "failed"


# interruptions


@pytest.mark.parametrize(
    "talk",
    [
        [ask(*ERASE)],
        [ask(*ERASE), request()],
        [ask(*ERASE), request(), block(1, IMAGE[:BLOCK])],
        [ask(*ERASE), request(), block(1, IMAGE[:BLOCK]), block(2, IMAGE[BLOCK:64], "")],
        [ask(*ERASE), request(), *blocks(), tester("37")],
        [ask(*ERASE), request(), *blocks(), ask("37", "7F 37 78")],
        [ask(*ERASE), request(answer="")],
        [ask(ERASE[0], "7F 31 78")],
    ],
    ids=["erase alone", "request", "a block", "a block unanswered", "exit unanswered", "exit pending",
         "request unanswered", "erase pending"],
)  # fmt: skip
def test_begun_and_neither_ended_nor_refused_is_interrupted(talk: list[Talk]) -> None:
    report = heard(BEFORE, talk, gap(10))
    assert word_of(report, "download")[0] == "interrupted"


@pytest.mark.parametrize(
    ("break_of", "why"),
    [
        (reset(), "started anew"),
        (ask("10 01", "50 01 0032 01F4"), "session was changed"),
        (everybody("10 81"), "session was changed"),
    ],
)
def test_a_reset_or_a_session_change_ends_what_is_open(break_of: Talk, why: str) -> None:
    talk = [ask(*ERASE), request(), block(1, IMAGE[:BLOCK]), break_of, read("F18C", "41")]
    report = heard(BEFORE, talk)
    assert word_of(report, "download")[0] == "interrupted"
    assert why in only(report, "download").outcome.because[0]


def test_a_good_check_behind_a_transfer_that_was_broken_off_confirms_nothing() -> None:
    broken = [ask(*ERASE), request(), block(1, IMAGE[:BLOCK]), ask("10 02", "50 02 0032 01F4"), GOOD]
    assert download_word(broken, names=NAMES)[0] == "interrupted"


def test_another_request_without_an_exit_leaves_the_first_unfinished() -> None:
    talk = [ask(*ERASE), request(), block(1, IMAGE[:BLOCK]), download(address=CALIBRATION)]
    report = heard(BEFORE, talk)
    assert words(report, "download") == ["interrupted", "unproven"]
    assert "another transfer" in of_kind(report, "download")[0].outcome.because[0]


def test_the_end_of_a_capture_ends_what_is_open() -> None:
    first = log_of(BEFORE, ask(*ERASE), request(), block(1, IMAGE[:BLOCK]))
    second = log_of(block(3, IMAGE[64:]), ask("37", "77"), start_ns=1_795_009_999 * 10**9)
    assert words(judged(first, second), "download")[0] == "interrupted"  # 02 was due


def test_without_a_request_there_is_no_download() -> None:
    assert words(heard(BEFORE, reset(), read("F188", SOFTWARE)), "download") == []


# account


def test_all_blocks_without_the_exit_are_not_proven_when_the_module_went_on() -> None:
    talk = [ask(*ERASE), request(), *blocks(), reset(), read("F188", NEW)]
    assert download_word(talk)[0] == "unproven"


@pytest.mark.parametrize("left", [tester("37"), []], ids=["exit unanswered", "no exit"])
def test_a_module_that_is_only_read_did_not_go_on(left: Talk) -> None:
    """A tester that got no answer looks what is left: that it can be read says nothing of the end."""
    talk = [ask(*ERASE), request(), *blocks(), left, gap(6), read("F180", "01"), ask("3E 00", "7E 00")]
    assert download_word(talk)[0] == "interrupted"


def test_an_exit_whose_answer_is_not_in_the_capture_is_not_called_missing() -> None:
    report = heard(BEFORE, ask(*ERASE), request(), *blocks(), tester("37"), reset(), read("F188", NEW))
    outcome = only(report, "download").outcome
    assert outcome.word == "unproven"
    assert "the answer to the transfer exit is not in the capture" in outcome.because
    assert "the transfer exit is not in the capture" not in outcome.because


def test_the_missing_exit_is_made_good_by_the_modules_own_check() -> None:
    talk = [ask(*ERASE), request(), *blocks(), GOOD]
    assert download_word(talk, names=NAMES) == ("confirmed", "medium")


@pytest.mark.parametrize("size", [95, 97, 192])
def test_a_size_that_does_not_fit_is_not_proven_by_an_identity(size: int) -> None:
    talk = [ask(*ERASE), request(size), *blocks(), ask("37", "77"), CHANGED]
    report = heard(BEFORE, talk)
    assert word_of(report, "download")[0] == "unproven"
    assert any(f"{size} were asked for" in text for text in only(report, "download").outcome.because)


def test_a_size_that_does_not_fit_lowers_a_good_check_to_medium() -> None:
    talk = [ask(*ERASE), request(95), *blocks(), ask("37", "77"), GOOD]
    assert download_word(talk, names=NAMES) == ("confirmed", "medium")


def test_a_check_proves_no_download_whose_request_may_be_none() -> None:
    """Frames out of place make requests of any size: nobody accepted it, and what was carried is something else."""
    stray = request(size=445_924_405, answer="")
    talk = [ask(*ERASE), stray, block(2, IMAGE[BLOCK:64]), block(3, IMAGE[64:]), ask("37", "77"), ask(*FIT)]
    assert download_word(talk, CHANGED)[0] == "unproven"


def test_a_compressed_size_is_not_compared_with_the_bytes_carried() -> None:
    talk = [ask(*ERASE), request(4096, dfi=0x10), *blocks(), ask("37", "77")]
    assert download_word(talk, CHANGED) == ("confirmed", "high")


def test_a_compressed_transfer_without_its_exit_is_made_good_by_the_check_alone() -> None:
    talk = [ask(*ERASE), request(4096, dfi=0x10), *blocks()]
    assert download_word(talk, GOOD, names=NAMES) == ("confirmed", "medium")
    assert download_word(talk, CHANGED)[0] == "unproven"


def test_a_compressed_transfer_whose_last_block_has_no_answer_is_not_proven_by_an_identity() -> None:
    talk = [ask(*ERASE), request(4096, dfi=0x10), *blocks()[:2], block(3, IMAGE[64:], ""), ask("37", "77")]
    assert download_word(talk, CHANGED)[0] == "unproven"


def test_the_counter_runs_from_ff_to_00() -> None:
    image = bytes(range(256)) * 33
    report = heard(BEFORE, programming(image), CHANGED)
    assert word_of(report, "download") == ("confirmed", "high")
    assert only(report, "download").details["blocks"] == 264


def test_a_counter_from_ff_to_01_is_a_gap() -> None:
    parts = [block(number, b"\x5a" * 8) for number in (*range(1, 256), 1, 2)]
    talk = [ask(*ERASE), request(257 * 8), parts, ask("37", "77"), CHANGED]
    assert download_word(talk)[0] == "unproven"


def test_a_skipped_counter_is_a_gap() -> None:
    parts = [block(1, IMAGE[:32]), block(3, IMAGE[32:64]), block(4, IMAGE[64:])]
    assert download_word(ask(*ERASE), request(), parts, ask("37", "77"), CHANGED)[0] == "unproven"


def test_a_legal_repeat_counts_its_bytes_once() -> None:
    parts = [block(1, IMAGE[:32]), block(2, IMAGE[32:64]), block(2, IMAGE[32:64]), block(3, IMAGE[64:])]
    report = heard(BEFORE, ask(*ERASE), request(), parts, ask("37", "77"), CHANGED)
    assert word_of(report, "download") == ("confirmed", "medium")
    assert only(report, "download").details["size_carried"] == 96


def test_a_block_repeated_after_a_lost_answer_counts_once() -> None:
    parts = [block(1, IMAGE[:32]), block(2, IMAGE[32:64], ""), gap(2), block(2, IMAGE[32:64]), block(3, IMAGE[64:])]
    report = heard(BEFORE, ask(*ERASE), request(), parts, ask("37", "77"), CHANGED)
    assert word_of(report, "download")[0] == "confirmed"
    assert only(report, "download").details["size_carried"] == 96


def test_a_repeat_with_other_bytes_opens_the_account() -> None:
    parts = [block(1, IMAGE[:32]), block(2, IMAGE[32:64]), block(2, IMAGE[:32]), block(3, IMAGE[64:])]
    assert download_word(ask(*ERASE), request(), parts, ask("37", "77"), CHANGED)[0] == "unproven"


def test_a_transfer_whose_beginning_is_not_in_the_capture_is_never_proved() -> None:
    inside = [read("F188", SOFTWARE), blocks()[1:], ask("37", "77")]
    assert word_of(heard(inside, CHANGED), "download") == ("unproven", "medium")
    assert word_of(heard(inside, GOOD, names=NAMES), "download") == ("unproven", "medium")


def test_an_answer_to_the_request_without_the_request_is_no_beginning() -> None:
    talk = [read("F188", SOFTWARE), module("74 20 0022"), blocks(), ask("37", "77"), GOOD]
    assert word_of(heard(talk, names=NAMES), "download") == ("unproven", "medium")


def test_a_block_with_a_hole_in_the_capture_is_proved_only_by_the_modules_own_check() -> None:
    hole = [without(tester(bytes([0x36, 2]) + IMAGE[32:64]), 3), module("76 02")]
    parts = [block(1, IMAGE[:32]), hole, block(3, IMAGE[64:])]
    assert download_word(ask(*ERASE), request(), parts, ask("37", "77"), CHANGED)[0] == "unproven"
    talk = [ask(*ERASE), request(), parts, ask("37", "77"), GOOD]
    assert download_word(talk, names=NAMES) == ("confirmed", "medium")


# helper programs, kinds


def test_a_helper_program_in_ram_never_lowers_the_overall_word() -> None:
    talk = [download(address=0x20000000), programming(), GOOD]
    report = heard(BEFORE, talk, names=NAMES)
    assert [item.details["driver"] for item in of_kind(report, "download")] == [True, False]
    assert words(report, "download") == ["unproven", "confirmed"]
    assert report.verdict.overall == "confirmed"


def test_a_helper_program_is_not_counted_as_another_part() -> None:
    report = heard(BEFORE, download(address=0x20000000), programming(), CHANGED)
    assert words(report, "download")[1] == "confirmed"


def test_one_that_only_its_place_in_the_order_makes_a_helper_keeps_the_answer_from_being_sure() -> None:
    """Without names it may as well be a part of the software, and then nothing proves it."""
    verdict = heard(BEFORE, download(address=0x20000000), programming(), CHANGED).verdict
    programming_said = verdict.parts[Part.PROGRAMMING]
    assert (programming_said.word, programming_said.confidence) == ("confirmed", "medium")
    assert verdict.confidence == "medium"
    assert "96 bytes to 20000000" in programming_said.because[-1]


def test_one_that_names_know_as_a_helper_does_not() -> None:
    helper = '[[part]]\nname = "helper"\nmodules = ["PCU"]\naddress = "20000000"\nsize = "1000"\ndriver = true\n'
    verdict = heard(BEFORE, download(address=0x20000000), programming(), GOOD, reset(), names=NAMES + helper).verdict
    assert (verdict.overall, verdict.confidence) == ("confirmed", "high")


def test_a_small_download_without_any_erase_is_a_part() -> None:
    report = heard(BEFORE, download(address=0x20000000))
    assert only(report, "download").details["driver"] is False
    assert report.verdict.overall == "unproven"


def test_a_failed_helper_program_does_not_count_but_the_missing_part_does() -> None:
    report = heard(BEFORE, download(address=0x20000000), ask(*ERASE))
    assert words(report, "download") == ["unproven", "interrupted"]
    assert report.verdict.overall == "interrupted"


def test_an_upload_is_an_operation_that_never_counts() -> None:
    upload = [ask("35 00 44 00010000 00000040", "75 20 0022"), ask("36 01", b"\x76\x01" + IMAGE[:32])]
    report = heard(BEFORE, upload, ask("36 02", b"\x76\x02" + IMAGE[32:64]), ask("37", "77"))
    assert only(report, "upload").part is None


def test_a_file_transfer_is_an_operation_that_counts() -> None:
    file = [ask("38 01 0005 612E62696E 00 01 20 20", "78 01 01 22 00"), block(1, IMAGE[:BLOCK]), ask("37", "77")]
    report = heard(BEFORE, file)
    assert word_of(report, "file")[0] == "unproven"
    assert report.verdict.overall == "unproven"


# start messages


def test_a_start_message_of_the_application_is_the_application_answering() -> None:
    talk = [programming(), ask(*FIT), ask("11 01", "51 01"), gap(1), APPLICATION_START, gap(1)]
    assert download_word(talk, names=NAMES) == ("confirmed", "medium")


def test_a_start_message_of_the_boot_loader_outweighs_an_answered_session() -> None:
    talk = [programming(), ask(*FIT), ask("11 01", "51 01"), gap(1), BOOT_START, gap(1)]
    assert download_word(talk, ask("10 03", "50 03 0032 01F4"), read("F188", NEW), names=NAMES)[0] == "failed"


# memory read back as an upload


def upload(data: bytes = IMAGE, address: int = ADDRESS, end: str = "77") -> list[Talk]:
    asked = bytes([0x35, 0, 0x44]) + address.to_bytes(4, "big") + len(data).to_bytes(4, "big")
    parts = [data[at : at + BLOCK] for at in range(0, len(data), BLOCK)]
    carried = [ask(bytes([0x36, number]), bytes([0x76, number]) + part) for number, part in enumerate(parts, 1)]
    return [ask(asked, "75 20 0022"), *carried, ask("37", end)]


def test_an_upload_counts_the_bytes_of_its_answers() -> None:
    report = heard(BEFORE, upload())
    details = only(report, "upload").details
    assert (details["size_carried"], details["size_asked"], details["blocks"]) == (96, 96, 3)


def test_an_upload_equal_to_what_was_written_confirms() -> None:
    assert download_word(programming(), upload()) == ("confirmed", "high")


@pytest.mark.parametrize(
    "seen",
    [upload(IMAGE[:-1] + b"\x99"), upload(IMAGE[:64]), upload(address=ADDRESS + 4), upload(end="7F 37 24")],
)
def test_an_upload_of_something_else_proves_nothing(seen: list[Talk]) -> None:
    assert download_word(programming(), seen)[0] == "unproven"


def test_an_upload_before_the_download_proves_nothing() -> None:
    assert download_word(upload(), programming())[0] == "unproven"


def test_a_refusal_behind_an_erase_that_had_begun_says_what_that_left() -> None:
    """The last try alone would read as if nothing had been touched."""
    begun = ask(ERASE[0], "7F 31 78", "7F 31 72")
    outcome = of_kind(heard(BEFORE, begun, ask(ERASE[0], "7F 31 93")), "download")[-1].outcome
    assert outcome.word == "failed"
    assert outcome.because == ("an erase ended with 72: memory may be partly erased; then refused with 93",)
    assert [one.text.split(":")[0] for one in outcome.proof] == ["an erase ended with 72", "the erase was refused"]


def test_a_refusal_behind_an_erase_that_never_began_says_nothing_of_it() -> None:
    outcome = of_kind(heard(BEFORE, ask(ERASE[0], "7F 31 72"), ask(ERASE[0], "7F 31 93")), "download")[-1].outcome
    assert "erased" not in outcome.because[0]


def test_a_request_refused_behind_its_erase_says_that_the_memory_is_erased() -> None:
    talk = [BEFORE, ask(*ERASE), request(answer="7F 34 70")]
    assert "after memory was erased" in of_kind(heard(talk), "download")[-1].outcome.because[0]
    assert "erased" not in of_kind(heard(BEFORE, request(answer="7F 34 70")), "download")[-1].outcome.because[0]


def test_a_block_that_the_module_has_no_room_for_says_so() -> None:
    first = without(tester(bytes([0x36, 2]) + IMAGE[32:64]), *range(1, 9))
    talk = [read("F190", "41"), enter(), ask(*ERASE), request(), blocks()[:1], first, frame(0x7E8, "320000")]
    report = heard(talk, gap(9), frame(0x123, "00"))
    because = only(report, "download").outcome.because
    assert "the module refused the length of 36 02, 34 bytes, with flow control overflow (line" in because[0]
    assert "flow-control-overflow" in {item.id for item in report.findings}


def test_bytes_that_no_frame_brought_are_not_counted_as_seen() -> None:
    asked, answered = block(2, IMAGE[32:64])  # type: ignore[misc]
    report = heard(
        BEFORE, request(), block(1, IMAGE[:32]), without(asked, 3), answered, block(3, IMAGE[64:]), ask("37", "77")
    )
    assert "(7 of them not in the capture)" in only(report, "download").outcome.because[0]


def test_a_check_behind_another_attempt_proves_nothing_of_one_that_never_ended() -> None:
    hole = without(tester(bytes([0x36, 2]) + IMAGE[32:64]), 3)
    first = [ask(*ERASE), request(), block(1, IMAGE[:32]), hole, module("76 02")]
    report = heard(BEFORE, first, ask(*ERASE), request(address=0x20000), *blocks(), ask("37", "77"), GOOD, names=NAMES)
    words = [item.outcome.word for item in of_kind(report, "download")]
    assert words[0] == "interrupted"
    assert words[-1] == "confirmed"


def test_an_identification_that_the_boot_loader_gave_before_the_download_proves_nothing() -> None:
    talk = [read("F195", "AA01"), enter(), read("F195", "B001"), programming(), reset(), read("F195", "B001")]
    assert word_of(heard(talk), "download")[0] == "failed"
    other = [read("F195", "AA01"), enter(), read("F195", "B001"), programming(), reset(), read("F195", "AA02")]
    assert word_of(heard(other), "download")[0] == "confirmed"


def test_memory_that_reads_differently_outweighs_a_good_check() -> None:
    turned = bytes(255 - byte for byte in IMAGE)
    place = f"44 {ADDRESS:08X} {len(IMAGE):08X}"
    done = [programming(), GOOD, reset(), read("F188", SOFTWARE)]
    other = heard(done, ask(f"23 {place}", f"63 {turned.hex()}"), names=NAMES)
    assert word_of(other, "download") == ("unproven", "medium")
    assert "reads differently" in only(other, "download").outcome.because[-1]
    assert word_of(heard(done, ask(f"23 {place}", f"63 {IMAGE.hex()}"), names=NAMES), "download")[0] == "confirmed"
