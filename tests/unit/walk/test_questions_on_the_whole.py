"""Questions at the end of a session, on what was ordered, and on what people often say."""

from __future__ import annotations

import pytest
from sessions import asked, kinds, one_asked, walk_of

from analysis.walk.misconceptions import MISCONCEPTIONS
from analysis.walk.questions import chosen_questions
from analysis.words import Word

GOOD = "coach-all-good"


@pytest.mark.parametrize(
    ("name", "who"),
    [
        ("coach-module-silent", "module"),
        ("coach-tester-silent", "tester"),
        ("coach-ends-mid-transfer", "capture-ended"),
    ],
)
def test_three_sessions_with_the_same_begin_stop_for_different_reasons(name: str, who: str) -> None:
    step, one = one_asked(name, "who-stopped")
    assert one.value == who and step.number == len(walk_of(name).steps)


def test_nobody_is_asked_who_stopped_where_nothing_stopped() -> None:
    assert "who-stopped" not in kinds(GOOD)
    assert "who-stopped" not in kinds("coach-erase-low-voltage")  # refused, and the tester gave up as it should


def test_the_first_sign_is_a_reading_before_the_first_refusal() -> None:
    _, one = one_asked("coach-erase-low-voltage", "first-sign")
    line = int(one.value)
    refused = next(
        step.lines[1] for step in walk_of("coach-erase-low-voltage").steps if step.first.answered[:1] == b"\x7f"
    )
    assert line < refused and "23.8 V" in one.answer


@pytest.mark.parametrize("name", ["coach-next-day", "coach-erase-low-voltage"])
def test_a_module_in_its_boot_loader_is_waiting(name: str) -> None:
    _, one = one_asked(name, "dead-or-waiting")
    assert one.answer.startswith("waiting: ") and "Do not switch off" in one.answer


def test_accepted_writes_are_no_reason_to_hand_over() -> None:
    _, lost = one_asked("coach-trims-not-read-back-lost", "hand-over")
    _, stored = one_asked("coach-trims-not-read-back-stored", "hand-over")
    assert lost.answer == stored.answer  # nobody can tell from what was recorded: that is the lesson
    assert lost.ask.startswith("All writes were answered yes.") and lost.answer.startswith("not yet: trims")
    assert one_asked(GOOD, "hand-over")[1].answer.startswith("yes, as far as it shows")


@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("coach-foreign-keeper", "another vehicle"),
        ("coach-trims-exchanged", "another order"),
        ("coach-vin-swapped", "typed wrong"),
        ("coach-quiet-not-restored", "keep quiet"),
        ("coach-two-testers", "two testers"),
        ("uds11-dtc-returns", "comes back"),
        ("uds11-read-back-same-power-cycle", "power cycle"),
    ],
)
def test_a_finding_keeps_the_vehicle_here_though_every_word_is_confirmed(name: str, why: str) -> None:
    assert walk_of(name).report.verdict.overall is Word.CONFIRMED
    _, one = one_asked(name, "hand-over")
    assert one.answer.startswith("not yet: ") and why in one.answer and one.wrong


def test_no_wrong_answer_says_of_a_session_with_a_refusal_that_nothing_was_refused() -> None:
    _, one = one_asked("uds11-erase-refused", "hand-over")
    assert "nothing was refused" not in one.wrong


def test_stages_are_named_with_their_steps_in_the_order_of_the_session() -> None:
    walk = walk_of(GOOD)
    _, one = one_asked(GOOD, "order-the-stages")
    numbers = [int(text) for text in one.value.split()]
    assert numbers == sorted(numbers)
    erase = next(int(part.split("step ")[1].strip(")")) for part in one.answer.split(", ") if part.startswith("erase"))
    load = max(number for number in numbers if walk.steps[number - 1].first.asked[:1] == b"\x34")
    assert walk.steps[erase - 1].first.asked[:4] == b"\x31\x01\xff\x00" and erase < load
    asked_for = one.ask.partition(": ")[2].rstrip(".").split(", ")
    assert asked_for == sorted(asked_for)  # not in the order of the session


def test_a_step_to_be_found_is_the_one_with_those_bytes() -> None:
    _, one = one_asked(GOOD, "find-the-step")
    assert walk_of(GOOD).steps[int(one.value) - 1].first.asked[:3] == b"\x2e\xf1\x90"
    _, other = one_asked("coach-erase-low-voltage", "find-the-step")
    first = walk_of("coach-erase-low-voltage").steps[int(other.value) - 1]
    assert any(each.nrc is not None for each in first.exchanges)


def test_what_cannot_be_known_is_what_the_report_says() -> None:
    _, one = one_asked(GOOD, "cannot-be-known")
    assert all(said in one.answer for said in walk_of(GOOD).report.cannot_show[-3:])


def test_a_wrong_calibration_is_found_with_the_order_beside_it_and_always_asked() -> None:
    found = {one.value for _, one in asked("van-wrong-calibration", "as-ordered", with_order=True)}
    assert found == {"yes", "no"}
    walk = walk_of("van-wrong-calibration", with_order=True)
    put = [one for step in chosen_questions(walk).values() for one in step if one.kind == "as-ordered"]
    assert any("LK3-PV-2204" in one.answer and one.value == "no" for one in put)
    assert "as-ordered" not in kinds("van-wrong-calibration")


def test_every_statement_is_put_once_and_where_it_is_shown() -> None:
    for name in (GOOD, "coach-erase-low-voltage", "coach-next-day", "coach-frame-missing-in-log", "uds11-wrong-key"):
        said = [one.value for _, one in asked(name, "they-say")]
        assert len(said) == len(set(said))
    waited = next(step for step, one in asked(GOOD, "they-say") if one.value == "7F means failure.")
    assert waited.first.pendings and waited.first.positive


def test_most_statements_are_shown_wrong_by_some_shipped_session() -> None:
    names = (GOOD, "coach-erase-low-voltage", "coach-next-day", "coach-frame-missing-in-log", "van-wrong-calibration",
             "coach-module-silent", "uds11-wrong-key")  # fmt: skip
    said = {one.value for name in names for _, one in asked(name, "they-say")}
    missing = {one.said for one in MISCONCEPTIONS} - said
    assert missing <= {"The higher the voltage, the better.", "The module refused, so try again quickly."}, missing
