"""The sheet's items: each has a word of its own beside the word of the act."""

from __future__ import annotations

import pytest
from talk import (
    CHECK,
    ERASE,
    KEEPER,
    NAMES,
    SOFTWARE,
    START_NS,
    Side,
    Talk,
    ask,
    enter,
    everybody,
    gap,
    heard,
    item,
    judged,
    log_of,
    module,
    only,
    programming,
    read,
    reset,
    tester,
    word_of,
    write,
)  # fmt: skip

from analysis.answer.advice import starts_with_a_verb
from analysis.operations.model import Part

VIN = "E0VLK3P06SM018931"
WRONG = "E0VLK3P00SM018932"
NEW = "01264031"
EXTENDED = ask("10 03", "50 03 0032 01F4")
GOOD = ask(CHECK, "71 01 0266 00")


def sheet(items: str, vin: str = VIN) -> str:
    return f"""
[vehicle]
vin = "{vin}"
[[module]]
label = "PCU"
link = "7E0:7E8"
{items}
[[module]]
label = "PMU"
link = "7E1:7E9"
"""


SOFTWARE_ASKED = sheet('programming = { software = "PCU-SW-1207" }')
CALIBRATION_ASKED = sheet('programming = { calibration = "PCU-CA-34" }')
CVN_ASKED = sheet('programming = { cvn = "55667788" }')
VALUE_ASKED = sheet(f'configuration = [ {{ identifier = "3A01", value = "{NEW}" }} ]')
COPY_ASKED = sheet('trims = [ { identifier = "3A01", copied_from = "PMU" } ]')
VIN_WRITTEN, VIN_READ = sheet('vin = "write"'), sheet('vin = "read"')
LEARN_ASKED = sheet('learn = [ "0270" ]')
CLEAR_ASKED = sheet("clear_faults = true")


def said(asked: str, what: str, *talk: Talk, names: str = "") -> tuple[str, str]:
    report = heard(*talk, sheet=asked, names=names)
    found = item(report, what)
    return str(found.word), str(found.confidence)


# programming

OLD_ID = read("F188", SOFTWARE)
NEW_ID = read("F188", b"PCU-SW-1207")


def test_the_software_asked_for_that_was_read_before_as_well_is_as_sure_as_the_download() -> None:
    """The old application may still run; a good check says that it does not."""
    before: list[Talk] = [NEW_ID, enter(), programming()]
    assert said(SOFTWARE_ASKED, "software", before, reset(), NEW_ID)[0] == "unproven"
    checked = ask(CHECK, "71 01 0266 00")
    assert said(SOFTWARE_ASKED, "software", before, checked, reset(), NEW_ID, names=NAMES)[0] == "confirmed"


def test_the_software_asked_for_and_read_after_the_restart_is_confirmed() -> None:
    assert said(SOFTWARE_ASKED, "software", OLD_ID, enter(), programming(), reset(), NEW_ID) == ("confirmed", "high")


def test_other_software_after_the_restart_is_failed_while_the_act_keeps_its_own_word() -> None:
    other = read("F188", b"PCU-SW-1206")
    report = heard(OLD_ID, enter(), programming(), reset(), other, sheet=SOFTWARE_ASKED)
    assert word_of(report, "download")[0] == "confirmed"
    assert item(report, "software").word == "failed"
    assert item(report, "software").found == "PCU-SW-1206"
    assert report.verdict.overall == "failed"


def test_software_read_only_before_the_restart_is_not_proven() -> None:
    assert said(SOFTWARE_ASKED, "software", OLD_ID, enter(), programming(), NEW_ID)[0] == "unproven"
    assert said(SOFTWARE_ASKED, "software", NEW_ID, enter(), programming(), reset())[0] == "unproven"


def test_software_that_a_boot_loader_names_is_not_proven() -> None:
    again = [reset(), ask("10 02", "50 02 0032 01F4"), NEW_ID]
    assert said(SOFTWARE_ASKED, "software", OLD_ID, enter(), programming(), again)[0] == "unproven"


@pytest.mark.parametrize(("answer", "word"), [("7F 31 72", "failed"), ("7F 31 78", "interrupted")])
def test_a_broken_download_breaks_the_item_whatever_is_read(answer: str, word: str) -> None:
    talk = [NEW_ID, enter(), ask(ERASE[0], answer), gap(9), reset(), NEW_ID]
    assert said(SOFTWARE_ASKED, "software", *talk)[0] == word


def test_software_already_there_and_never_programmed_is_not_shown_and_its_recording_asked_for() -> None:
    report = heard(NEW_ID, sheet=SOFTWARE_ASKED)
    assert item(report, "software").word == "not-shown"
    assert "reads as asked" in item(report, "software").note
    assert report.verdict.parts[Part.PROGRAMMING].word == "not-shown"
    assert any("together with the one in which the job was done" in step for step in report.verdict.next_steps)
    assert not any(step.startswith(("Program", "Do what")) for step in report.verdict.next_steps)


def test_software_neither_programmed_nor_read_is_not_shown() -> None:
    report = heard(read("F18C", "41"), sheet=SOFTWARE_ASKED)
    assert item(report, "software").word == "not-shown"
    assert item(report, "software").would_change
    assert report.verdict.overall == "not-shown"


def test_the_calibration_is_told_by_names_or_by_its_standard_identifiers() -> None:
    after = read("F1A0", b"PCU-CA-34")
    talk = [read("F1A0", b"PCU-CA-31"), enter(), programming(address=0x20000), GOOD, reset()]
    assert said(CALIBRATION_ASKED, "calibration", talk, after, names=NAMES) == ("confirmed", "high")
    assert said(CALIBRATION_ASKED, "calibration", talk, read("F182", b"PCU-CA-34"))[0] == "confirmed"
    assert said(CALIBRATION_ASKED, "calibration", talk, read("F1A0", b"PCU-CA-33"), names=NAMES)[0] == "failed"


def test_a_verification_number_is_compared_as_bytes() -> None:
    talk = [ask("0906", "49 06 01 11223344"), enter(), programming(), reset()]
    assert said(CVN_ASKED, "CVN", talk, ask("0906", "49 06 01 55667788"))[0] == "confirmed"
    assert said(CVN_ASKED, "CVN", talk, ask("0906", "49 06 01 11223344"))[0] == "failed"
    assert said(CVN_ASKED, "CVN", talk)[0] == "unproven"


def test_another_modules_identity_fulfils_nothing() -> None:
    other = read("F188", b"PCU-SW-1207", on=KEEPER)
    assert said(SOFTWARE_ASKED, "software", OLD_ID, enter(), programming(), reset(), other)[0] == "unproven"


# values

BLANK = read("3A01", "FFFFFFFF")


@pytest.mark.parametrize(
    ("talk", "word", "sure"),
    [
        ([BLANK, EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)], "confirmed", "high"),
        ([BLANK, EXTENDED, write("3A01", NEW), read("3A01", NEW)], "confirmed", "medium"),
        ([BLANK, EXTENDED, write("3A01", NEW)], "unproven", "high"),
        ([BLANK, EXTENDED, write("3A01", NEW, "7F 2E 22")], "failed", "high"),
        ([BLANK, EXTENDED, write("3A01", NEW), reset(), BLANK], "failed", "high"),
        ([BLANK, EXTENDED, write("3A01", "55667788"), reset(), read("3A01", "55667788")], "failed", "high"),
        ([BLANK, EXTENDED, tester(f"2E 3A01 {NEW}"), gap(9)], "interrupted", "high"),
        ([BLANK], "failed", "high"),
        ([read("3A01", NEW), enter(), programming(), reset()], "unproven", "high"),
        ([BLANK, enter(), programming(), reset()], "not-shown", "high"),
        ([read("3A01", NEW), EXTENDED, write("3A01", "55667788", "7F 2E 22"), read("3A01", NEW)], "confirmed", "high"),
        ([read("F190", "41")], "not-shown", "high"),
        ([read("3A01", NEW)], "confirmed", "high"),
        ([read("3A01", NEW), EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)], "confirmed", "high"),
    ],
    ids=["after restart", "same cycle", "not read", "refused", "lost", "other value", "unanswered", "only blank read",
         "read before an erase", "blank before an erase", "another refused",
         "nothing", "only read", "already so"],
)  # fmt: skip
def test_a_value_asked_for(talk: list[Talk], word: str, sure: str) -> None:
    assert said(VALUE_ASKED, "3A01", *talk) == (word, sure)


def test_an_accepted_write_whose_bytes_are_not_in_the_capture_is_not_proven() -> None:
    assert said(VALUE_ASKED, "3A01", BLANK, EXTENDED, module("6E 3A01"))[0] == "unproven"


def test_a_value_with_ignored_fields_is_fulfilled_where_they_differ() -> None:
    asked = sheet('configuration = [ { identifier = "3A10", value = "123400" } ]')
    talk = [read("3A10", "000101"), EXTENDED, write("3A10", "123405"), reset(), read("3A10", "123406")]
    assert said(asked, "3A10", *talk, names=NAMES)[0] == "confirmed"


def test_a_value_read_and_the_write_not_shown_says_both() -> None:
    report = heard(read("3A01", NEW), sheet=VALUE_ASKED)
    assert "no write is in the capture" in item(report, "3A01").note
    assert report.verdict.parts["trims"].word == "confirmed"


@pytest.mark.parametrize(
    ("talk", "word"),
    [
        ([read("3A01", NEW, on=KEEPER), BLANK, EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)], "confirmed"),
        ([read("3A01", "55667788", on=KEEPER), BLANK, EXTENDED, write("3A01", NEW), read("3A01", NEW)], "failed"),
        ([BLANK, EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)], "unproven"),
        ([read("3A01", NEW, on=KEEPER), BLANK], "not-shown"),
        ([read("3A01", NEW, on=KEEPER), read("3A01", NEW)], "not-shown"),
        ([read("3A01", NEW, on=KEEPER), BLANK, EXTENDED, write("3A01", NEW, "7F 2E 22")], "failed"),
        ([read("3A01", NEW, on=KEEPER), BLANK, EXTENDED, write("3A01", NEW)], "unproven"),
    ],
    ids=["copied", "other source", "source not read", "not written", "read alone", "refused", "not read back"],
)
def test_a_copy_asked_for(talk: list[Talk], word: str) -> None:
    assert said(COPY_ASKED, "3A01", *talk)[0] == word


# VIN


def test_a_vin_to_be_written() -> None:
    old = read("F190", b"\xff" * 17)
    right, wrong = write("F190", VIN.encode()), write("F190", WRONG.encode())
    assert said(VIN_WRITTEN, "VIN", old, EXTENDED, right, reset(), read("F190", VIN.encode())) == ("confirmed", "high")
    assert said(VIN_WRITTEN, "VIN", old, EXTENDED, wrong, reset(), read("F190", WRONG.encode()))[0] == "failed"
    assert said(VIN_WRITTEN, "VIN", old, EXTENDED, right)[0] == "unproven"
    assert said(VIN_WRITTEN, "VIN", read("F190", VIN.encode()))[0] == "not-shown"


def test_a_vin_to_be_there() -> None:
    assert said(VIN_READ, "VIN", read("F190", VIN.encode()))[0] == "confirmed"
    assert said(VIN_READ, "VIN", read("F190", WRONG.encode()))[0] == "failed"
    assert said(VIN_READ, "VIN", read("F18C", "41"))[0] == "not-shown"


VEHICLE = sheet("")
PUMP_SAYS, KEEPER_SAYS = read("F190", VIN.encode()), read("F190", VIN.encode(), on=KEEPER)
KEEPER_DIFFERS = read("F190", WRONG.encode(), on=KEEPER)
OTHER_MODULES = VEHICLE.replace("7E0:7E8", "7A0:7A8").replace("7E1:7E9", "7A1:7A9")


@pytest.mark.parametrize(
    ("asked", "talk", "word", "sure"),
    [
        (VEHICLE, [PUMP_SAYS], "confirmed", "high"),
        (VEHICLE, [PUMP_SAYS, KEEPER_DIFFERS], "failed", "high"),
        (VEHICLE, [read("F18C", "41")], "not-shown", "high"),
        (VEHICLE, [read("F190", b"\xff" * 17)], "not-shown", "high"),
        (VEHICLE, [ask("09 02", b"\x49\x02\x01" + VIN.encode())], "confirmed", "high"),
        (OTHER_MODULES, [PUMP_SAYS], "confirmed", "medium"),
        (OTHER_MODULES, [PUMP_SAYS, KEEPER_DIFFERS], "not-shown", "high"),
        (OTHER_MODULES, [KEEPER_DIFFERS], "failed", "high"),
        (OTHER_MODULES, [write("F190", VIN.encode()), reset(), KEEPER_DIFFERS], "failed", "high"),
        (OTHER_MODULES, [write("F190", WRONG.encode()), reset(), read("F190", WRONG.encode())], "failed", "high"),
        (f'[vehicle]\nvin = "{VIN}"\n', [PUMP_SAYS], "confirmed", "medium"),
        (f'[vehicle]\nvin = "{VIN}"\n', [read("F18C", "41")], "not-shown", "high"),
    ],
)
def test_the_vin_of_the_vehicle_always_has_an_item(asked: str, talk: list[Talk], word: str, sure: str) -> None:
    report = heard(*talk, sheet=asked)
    found = item(report, "vehicle")
    assert (found.word, found.confidence) == (word, sure)
    assert report.verdict.parts["vin"].word == word


def test_a_sheet_of_another_vehicle_gets_no_answer_from_modules_that_are_called_alike() -> None:
    asked = sheet('clear_faults = true\nvin = "write"')
    other = [read("F190", WRONG.encode()), KEEPER_DIFFERS]
    cleared = [ask("14 FFFFFF", "54"), ask("19 02 FF", "59 02 FF")]
    report = heard(other, cleared, sheet=asked)
    assert only(report, "clear").outcome.word == "confirmed"
    assert {one.item: str(one.word) for one in report.expectations} == {
        "PCU: VIN": "not-shown", "PCU: faults cleared": "not-shown", "vehicle: VIN": "failed",
    }  # fmt: skip
    assert "another vehicle" in item(report, "faults").note


@pytest.mark.parametrize("is_first", [True, False])
def test_captures_of_two_vehicles_confirm_nothing_of_the_sheets(is_first: bool) -> None:
    scan = [PUMP_SAYS, KEEPER_SAYS]
    job = [read("F190", WRONG.encode()), KEEPER_DIFFERS, ask("14 FFFFFF", "54"), ask("19 02 FF", "59 02 FF")]
    talks = [job, scan] if is_first else [scan, job]
    logs = [log_of(*talk, start_ns=START_NS + at * 10**12) for at, talk in enumerate(talks)]
    report = judged(*logs, sheet=CLEAR_ASKED)
    assert "confirmed" not in {str(report.verdict.parts[part].word) for part in ("fault_memory", "vin")}
    assert report.verdict.overall != "confirmed"


def test_two_used_modules_that_are_given_the_vin_are_of_the_vehicle() -> None:
    used = [read("F190", WRONG.encode()), KEEPER_DIFFERS, EXTENDED, write("F190", VIN.encode())]
    report = heard(used, reset(), sheet=VIN_WRITTEN)
    assert item(report, "VIN").word == "unproven"


def test_a_module_with_another_link_is_another_module_whatever_it_is_called() -> None:
    asked = VALUE_ASKED.replace("7E0:7E8", "7A0:7A8")
    assert said(asked, "3A01", read("3A01", NEW), names=NAMES)[0] == "not-shown"
    assert said(asked.replace('link = "7A0:7A8"\n', ""), "3A01", read("3A01", NEW), names=NAMES)[0] == "confirmed"


def test_a_link_on_two_channels_is_fulfilled_only_where_both_fulfil_it() -> None:
    right, wrong = read("3A01", NEW), read("3A01", "55667788", on=Side(channel="can1"))
    found = item(heard(right, wrong, sheet=VALUE_ASKED), "3A01")
    assert found.word == "failed"
    assert "can0 and can1" in found.note
    assert said(VALUE_ASKED.replace("7E0:7E8", "can0:7E0:7E8"), "3A01", right, wrong)[0] == "confirmed"
    mirrored = read("3A01", NEW, on=Side(channel="can1"))
    assert said(VALUE_ASKED, "3A01", right, mirrored)[0] == "confirmed"


def test_a_value_that_a_second_tester_overwrote_is_not_confirmed() -> None:
    second = Side(0x7E5, 0x7E8)
    overwritten = [read("3A01", NEW), tester("2E 3A01 55667788", on=second), module("6E 3A01", on=second)]
    assert said(VALUE_ASKED, "3A01", overwritten, gap(1))[0] != "confirmed"


# a copy is of the vehicle's own module

COPIED = [BLANK, EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)]


def test_a_copy_from_a_module_of_another_vehicle_is_not_proven_and_says_whose() -> None:
    source = read("3A01", NEW, on=KEEPER)
    report = heard(PUMP_SAYS, KEEPER_DIFFERS, source, COPIED, sheet=COPY_ASKED)
    assert only(report, "write").outcome.word == "confirmed"
    found = item(report, "3A01")
    assert (found.word, found.confidence) == ("unproven", "medium")
    assert WRONG in found.note and WRONG in found.would_change
    assert said(COPY_ASKED, "3A01", PUMP_SAYS, KEEPER_SAYS, source, COPIED) == ("confirmed", "high")


def test_a_copy_of_nothing_is_not_proven() -> None:
    source = read("3A01", "FFFFFFFF", on=KEEPER)
    copied = [read("3A01", NEW), EXTENDED, write("3A01", "FFFFFFFF"), reset(), BLANK]
    found = item(heard(PUMP_SAYS, source, copied, sheet=COPY_ASKED), "3A01")
    assert found.word == "unproven"
    assert "holds nothing" in found.note
    assert found.found == "blank"


# what the items say


def test_asked_and_found_are_said_in_one_form() -> None:
    asked = sheet('configuration = [ { identifier = "3A01", value = "41424344" } ]')
    found = item(heard(read("3A01", b"ABCE"), sheet=asked), "3A01")
    assert (found.asked, found.found) == ("41424344", "41424345")
    cvn = sheet('programming = { cvn = "6A63 7c59" }')
    found = item(heard(ask("0906", b"\x49\x06\x01jc|Z"), sheet=cvn), "CVN")
    assert (found.asked, found.found) == ("6A637C59", "6A637C5A")


def test_an_act_that_is_not_in_the_capture_says_so_where_the_value_is_right() -> None:
    found = item(heard(read("F190", VIN.encode()), sheet=VIN_WRITTEN), "VIN")
    assert found.note == "not written in this capture; reads as asked"
    assert found.would_change.startswith("capture the write of F190")


def test_wishes_begin_with_a_verb_and_are_said_once_for_values_of_one_kind() -> None:
    asked = sheet(
        'programming = { software = "PCU-SW-1207", calibration = "PCU-CA-34", cvn = "55667788" }\nvin = "write"\n'
        'trims = [ { identifiers = "3A01-3A03, 3A05", value = "41424344" } ]\nlearn = [ "0270" ]\nclear_faults = true'
    )
    report = heard(read("F18C", "41"), sheet=asked)
    wishes = {one.would_change for one in report.expectations}
    assert all(starts_with_a_verb(one) for one in wishes)
    assert len(wishes) == 5
    assert any("3A01-3A03, 3A05" in one for one in wishes)
    assert not any("program" in one and "55667788" in one for one in wishes)


# memory erased behind the last reading


def test_a_value_read_only_before_memory_was_erased_is_not_proven() -> None:
    flashed = [enter(), programming(), reset()]
    assert said(VALUE_ASKED, "3A01", read("3A01", NEW), flashed)[0] == "unproven"
    assert said(VALUE_ASKED, "3A01", read("3A01", NEW), flashed, read("3A01", NEW))[0] == "confirmed"
    already = [read("3A01", NEW), EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)]
    assert said(VALUE_ASKED, "3A01", already, flashed)[0] == "unproven"
    assert said(VIN_READ, "VIN", read("F190", VIN.encode()), flashed)[0] == "unproven"
    assert said(VIN_READ, "VIN", read("F190", VIN.encode()), flashed, read("F190", VIN.encode()))[0] == "confirmed"
    assert said(sheet(""), "vehicle", read("F190", VIN.encode()), flashed)[0] == "confirmed"  # which vehicle it was


def test_an_erase_that_was_refused_takes_nothing_away() -> None:
    assert said(VALUE_ASKED, "3A01", read("3A01", NEW), enter(), ask(ERASE[0], "7F 31 22"))[0] == "confirmed"


# learning, clearing


@pytest.mark.parametrize(
    ("talk", "word"),
    [
        ([ask("31 01 0270", "71 01 0270 00"), ask("31 03 0270", "71 03 0270 00")], "confirmed"),
        ([ask("31 01 0270", "71 01 0270 00")], "interrupted"),  # names say that it has a result to be asked for
        ([ask("31 01 0270", "71 01 0270 77"), ask("31 03 0270", "71 03 0270 77")], "unproven"),
        ([ask("31 01 0270", "71 01 0270 01")], "failed"),
        ([ask("31 01 0270", "71 01 0270 02")], "interrupted"),
        ([read("F190", "41")], "not-shown"),
    ],
)
def test_a_learn_routine_asked_for(talk: list[Talk], word: str) -> None:
    assert said(LEARN_ASKED, "0270", EXTENDED, *talk, names=NAMES)[0] == word


@pytest.mark.parametrize(
    ("talk", "word"),
    [
        ([ask("14 FFFFFF", "54"), ask("19 02 FF", "59 02 FF")], "confirmed"),
        ([ask("14 FFFFFF", "54")], "unproven"),
        ([ask("14 FFFFFF", "7F 14 22")], "failed"),
        ([tester("14 FFFFFF"), gap(9)], "interrupted"),
        ([ask("19 02 FF", "59 02 FF")], "not-shown"),
    ],
)
def test_faults_to_be_cleared(talk: list[Talk], word: str) -> None:
    assert said(CLEAR_ASKED, "faults", read("F190", "41"), *talk)[0] == word


# overall


def test_with_a_sheet_only_its_items_count() -> None:
    extra = [EXTENDED, write("3A02", "AA", "7F 2E 22")]
    report = heard(read("F190", VIN.encode()), read("3A01", NEW), extra, sheet=VALUE_ASKED)
    assert only(report, "write").outcome.word == "failed"
    assert report.verdict.overall == "confirmed"


def test_not_shown_outranks_not_proven_for_what_was_asked() -> None:
    asked = sheet(f'configuration = [ {{ identifier = "3A01-3A02", value = "{NEW}" }} ]')
    if "identifiers" not in asked:
        asked = asked.replace("identifier =", "identifiers =")
    report = heard(read("F190", VIN.encode()), BLANK, EXTENDED, write("3A01", NEW), sheet=asked)
    assert [one.word for one in report.expectations] == ["unproven", "not-shown", "confirmed"]
    assert report.verdict.overall == "not-shown"


def test_a_module_of_the_sheet_that_is_not_in_the_capture_is_not_shown() -> None:
    asked = VALUE_ASKED.replace("7E0:7E8", "7A0:7A8")
    assert said(asked, "3A01", read("F190", "41"))[0] == "not-shown"


def test_operations_do_not_depend_on_the_sheet() -> None:
    talk = [BLANK, EXTENDED, write("3A01", NEW), reset(), read("3A01", NEW)]
    with_sheet, without_sheet = heard(talk, sheet=VALUE_ASKED), heard(talk)
    seen = [[(one.kind, one.outcome.word, one.outcome.confidence) for one in report.operations]
            for report in (with_sheet, without_sheet)]  # fmt: skip
    assert seen[0] == seen[1]


def test_a_clear_of_all_whose_answer_is_missing_is_not_called_undone() -> None:
    cleared = [everybody("14 FFFFFF"), module("54", KEEPER)]
    report = heard(
        read("F190", "41"), read("F190", "42", on=KEEPER), cleared, ask("19 02 FF", "59 02 FF"), sheet=CLEAR_ASKED
    )
    found = item(report, "faults cleared")
    assert (found.word, found.confidence) == ("unproven", "medium")
    assert found.found == "asked of all, its answer is missing; read afterwards: no codes"
    assert not any("no capture shows" in step for step in report.verdict.next_steps)


def test_a_list_read_in_front_of_a_clear_of_all_says_nothing() -> None:
    cleared = [everybody("14 FFFFFF"), module("54", KEEPER)]
    talk = [read("F190", "42", on=KEEPER), ask("19 02 FF", "59 02 FF"), cleared]
    assert item(heard(*talk, sheet=CLEAR_ASKED), "faults cleared").word == "not-shown"
