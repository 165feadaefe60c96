"""What a module is at the end of the job, and whether it may be tried again. Common practice, no source."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from talk import (
    APPLICATION_START,
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
    cyclic,
    enter,
    flat,
    gap,
    heard,
    programming,
    read,
    request,
    reset,
    state,
    tester,
    word_of,
    write,
)  # fmt: skip

from analysis import analyse
from analysis.modules import Now, Retry

FIXTURES = Path(__file__).parents[3] / "fixtures"

OTHERS = cyclic(0x120, 100)
BEFORE: list[Talk] = [read("F190", "41"), enter()]
GOOD = ask(CHECK, "71 01 0266 00")


def now(*talk: Talk, names: str = "") -> tuple[Now, Retry]:
    found = state(heard(*talk, names=names))
    return found.now, found.may_retry


def test_an_application_that_answers_after_a_proved_job_needs_nothing() -> None:
    found = now(BEFORE, programming(), GOOD, reset(), read("F188", SOFTWARE), names=NAMES)
    assert found == ("application", "not-needed")


def test_a_start_message_tells_application_from_boot_loader() -> None:
    talk = [BEFORE, programming(), reset()]
    assert now(talk, APPLICATION_START, gap(1), names=NAMES)[0] == "application"
    assert now(talk, BOOT_START, gap(1), names=NAMES)[0] == "boot"


def test_a_boot_loader_that_opens_the_extended_session_is_still_a_boot_loader() -> None:
    talk = [BEFORE, programming(), reset(), BOOT_START, gap(1), ask("10 03", "50 03 0032 01F4")]
    assert now(talk, read("F188", "00"), names=NAMES)[0] == "boot"


def test_the_programming_session_without_being_asked_is_boot_mode() -> None:
    found = now(BEFORE, programming(), reset(), read("F186", "02"))
    assert found == ("boot", "with-care")
    then = now(BEFORE, programming(), reset(), read("F186", "02"), read("F188", "424F4F54"))
    assert then[0] == "boot"


def test_identification_refused_and_only_the_boot_identity_answered_is_boot_mode() -> None:
    asked = [ask("22 F188", "7F 22 31"), read("F180", "01")]
    assert now(BEFORE, programming(), reset(), asked)[0] == "boot"


def test_one_weak_sign_of_boot_mode_is_not_enough() -> None:
    assert now(BEFORE, programming(), reset(), ask("22 F188", "7F 22 31"))[0] == "unknown"


def test_a_module_that_does_not_answer_is_silent_and_not_to_be_tried_again() -> None:
    talk = [BEFORE, ask(*ERASE), request(), block(1, IMAGE[:32]), [[tester("3E 00"), gap(2)] for _ in range(3)], OTHERS]
    found = state(heard(talk))
    assert (found.now, found.may_retry) == ("silent", "no")
    assert found.evidence
    assert any("switch off" in text for text in found.cautions)


def test_one_request_without_an_answer_forbids_nothing_yet() -> None:
    """Nobody asked again: whether it answers now is not shown."""
    one = [read("F188", SOFTWARE), tester("22 F190"), gap(9), OTHERS]
    assert now(*one) == ("silent", "unknown")
    assert now(read("F188", SOFTWARE), tester("22 F190"), gap(9), tester("3E 00"), gap(9), OTHERS) == ("silent", "no")


def test_a_module_erased_and_not_filled_is_in_its_boot_loader_whoever_stopped() -> None:
    found = state(heard(BEFORE, ask(*ERASE), request(), block(1, IMAGE[:32])))
    assert (found.now, found.may_retry) == ("boot", "with-care")
    assert "answered until line" in found.evidence[0].text


def test_a_transfer_that_breaks_off_without_an_erase_leaves_the_module_unknown() -> None:
    assert now(BEFORE, request(), block(1, IMAGE[:32])) == ("unknown", "with-care")


def test_what_is_only_unproven_needs_no_new_programming() -> None:
    found = state(heard(BEFORE, programming(), reset(), APPLICATION_START, gap(1), names=NAMES))
    assert (found.now, found.may_retry) == ("application", "not-needed")
    assert "first read" in found.advice


def test_a_silent_module_is_listened_to_and_measured_before_it_is_restarted() -> None:
    talk = [BEFORE, ask(*ERASE), request(), block(1, IMAGE[:32]), [[tester("3E 00"), gap(2)] for _ in range(3)], OTHERS]
    advice = state(heard(talk)).advice
    order = [advice.index(text) for text in ("leave it powered", "3E 00", "measure", "Restart")]
    assert order == sorted(order) and "ignition" not in advice


def test_of_a_module_whose_answers_were_not_recorded_nothing_is_said() -> None:
    said = [item for item in flat([BEFORE, programming(), reset(), read("F188", SOFTWARE)]) if item.frames]
    requests = [replace(item, frames=tuple(one for one in item.frames if one.can_id == 0x7E0)) for item in said]
    found = state(heard(requests, OTHERS, links=["7E0:7E8"]))
    assert (found.now, found.may_retry) == ("unknown", "unknown")
    assert "rogram" not in found.advice and "silent" not in found.advice


def test_a_request_at_the_very_end_makes_no_module_silent() -> None:
    assert now(read("F188", SOFTWARE), gap(10), tester("22 F190"))[0] != "silent"


def test_a_locked_access_must_wait() -> None:
    report = heard(read("F190", "41"), ask("10 03", "50 03 0032 01F4"), ask("27 01", "7F 27 37"))
    assert state(report).may_retry == "no"
    assert "wait" in state(report).advice


def test_a_capture_that_only_reads_says_that_nothing_was_changed() -> None:
    report = heard(ask("10 01", "50 01 0032 01F4"), read("F188", SOFTWARE))
    assert state(report).now == "application"
    assert "nothing was changed" in state(report).advice
    assert state(report).cautions == ()


@pytest.mark.parametrize("end", [[BOOT_START, gap(1)], [APPLICATION_START, gap(1)]])
def test_an_unfinished_download_carries_its_cautions(end: list[Talk]) -> None:
    talk = [BEFORE, ask(*ERASE), request(), block(1, IMAGE[:32]), reset(), end]
    found = state(heard(talk, names=NAMES))
    assert found.may_retry == "with-care"
    assert len(found.cautions) == 3


def test_each_module_has_a_state_of_its_own() -> None:
    talk = [BEFORE, read("F188", SOFTWARE, on=KEEPER), ask(*ERASE), [[tester("3E 00"), gap(2)] for _ in range(3)]]
    report = heard(talk, ask("10 01", "50 01 0032 01F4", on=KEEPER), read("F188", SOFTWARE, on=KEEPER), OTHERS)
    assert state(report).now == "silent"
    assert state(report, "7E1>7E9").now == "application"


def test_a_border_between_captures_keeps_no_session() -> None:
    from talk import judged, log_of

    first, second = log_of(BEFORE), log_of(read("F188", SOFTWARE), start_ns=1_795_009_999 * 10**9)
    story = judged(first, second).record.stories[0]
    assert story.before(story.exchanges[-1]).session is None


def test_a_written_value_leaves_the_application_running() -> None:
    extended = ask("10 03", "50 03 0032 01F4")
    assert now(read("F188", SOFTWARE), extended, write("3A01", "11"), read("3A01", "11"))[0] == "application"


@pytest.mark.parametrize("code", ["36", "37"])
def test_a_module_that_locked_access_may_not_be_tried_now_whatever_it_answers_behind(code: str) -> None:
    refused = [read("F190", "41"), enter(), ask("27 11", "67 11 01020304"), ask("27 12 AABBCCDD", f"7F 27 {code}")]
    assert now(refused, read("F180", "4243"))[1] == Retry.NO
    opened = [gap(1), ask("27 11", "67 11 01020305"), ask("27 12 AABBCCDE", "67 12"), read("F180", "4243")]
    assert now(refused, opened)[1] != Retry.NO


def test_what_was_heard_of_the_application_before_an_erase_says_nothing_of_it_behind() -> None:
    talk = [read("F190", "41"), enter(), programming(), ask("11 01", "51 01"), gap(2), read("F188", b"PCU-SW-1207")]
    assert state(heard(talk)).now == "application"
    assert state(heard(talk, ask(*ERASE))).now == "boot"


def test_a_recording_that_ends_in_the_programming_session_does_not_call_the_module_lost() -> None:
    """Every part is carried; the start message of the boot loader is only what the tester asked for."""
    talk = [read("F188", SOFTWARE), enter()[0], BOOT_START, *enter()[1:], programming(), ask(CHECK, "71 01 0266 00")]
    found = state(heard(*talk, names=NAMES))
    assert (str(found.now), "what runs afterwards is not shown" in found.evidence[0].text) == ("unknown", True)


def test_a_boot_loader_after_a_restart_nobody_asked_for_is_still_one() -> None:
    talk = [read("F188", SOFTWARE), enter(), programming(), reset(), BOOT_START, read("F180", b"BOOT")]
    assert str(state(heard(*talk, names=NAMES)).now) == "boot"


def test_a_boot_sign_in_front_of_a_hole_says_nothing_of_a_module_that_answers_behind_it(tmp_path: Path) -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text().splitlines(keepends=True)
    holed = tmp_path / "holed.log"
    holed.write_text("".join(lines[:7105] + lines[8300:]))
    report = analyse(holed, names=[FIXTURES / "coach_names.toml"])
    (unit,) = (item for item in report.modules if item.story.label == "DUC")
    assert unit.now is Now.UNKNOWN
    assert not any("Program DUC again" in step for step in report.verdict.next_steps)


LOADER: list[Talk] = [
    ask("10 03", "7F 10 12"), read("F180", "424F4F54"), ask("22 F190", "7F 22 31"), ask("22 F188", "7F 22 31"),
]  # fmt: skip
OPENED: list[Talk] = [read("F190", "41"), read("F188", SOFTWARE), ask("10 03", "50 03 0032 01F4"), enter()]


def test_what_answered_in_front_of_the_last_restart_says_nothing_of_what_runs_behind_it() -> None:
    report = heard(OPENED, programming(), GOOD, reset(), read("F188", b"PCU-SW-1207"), reset(), LOADER, names=NAMES)
    assert state(report).now == "boot"
    assert word_of(report, "download")[0] == "failed"


def test_a_session_that_the_module_has_lost_shows_its_boot_loader_whatever_else_it_reads() -> None:
    """A boot loader may know the number of the software that it holds."""
    told = [*LOADER[:3], read("F188", b"PCU-SW-1207"), ask("19 02 FF", "7F 19 11")]
    report = heard(OPENED, programming(), reset(), told)
    assert state(report).now == "boot"
    assert word_of(report, "download")[0] != "confirmed"


def test_an_application_without_an_extended_session_is_one() -> None:
    none = ask("10 03", "7F 10 12")
    report = heard(read("F188", SOFTWARE), none, enter(), programming(), GOOD, reset(), none, read("F180", "01"),
                   read("F188", b"PCU-SW-1207"), names=NAMES)  # fmt: skip
    assert state(report).now == "application"
    assert word_of(report, "download")[0] == "confirmed"


def test_one_identifier_that_is_refused_behind_the_last_restart_changes_nothing() -> None:
    report = heard(OPENED, programming(), GOOD, reset(), read("F188", SOFTWARE), reset(), ask("22 F189", "7F 22 31"),
                   names=NAMES)  # fmt: skip
    assert state(report).now == "application"
