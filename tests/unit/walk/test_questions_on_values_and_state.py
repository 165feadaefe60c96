"""Answers on values, transfers and states, worked out again from the bytes of the captures by other code."""

from __future__ import annotations

from decimal import Decimal
from itertools import combinations

import pytest
from sessions import asked, frame, frames, one_asked, walk_of

from analysis.walk.questions import chosen_questions

GOOD, VAN, LOW = "coach-all-good", "van-wrong-calibration", "coach-erase-low-voltage"


def test_a_voltage_is_its_bytes_times_the_scale() -> None:
    found = [(step, one) for step, one in asked(GOOD, "scaled-value") if step.first.asked[1:3] == b"\xf4\x42"]
    assert found
    for step, one in found:
        count = int.from_bytes(step.first.answered[3:5], "big")
        assert one.value == f"{Decimal(count) * Decimal('0.001')} V"
        assert f"{int.from_bytes(step.first.answered[3:5], 'little'):,} counts" in one.wrong


def test_a_pressure_is_one_of_the_record_and_not_always_the_same() -> None:
    found = [one for step, one in asked(GOOD, "scaled-value") if step.first.asked[1:2] == b"\x4a"]
    assert len({one.value for one in found}) > 3
    assert {one.ask.split("pressure ")[1][0] for one in found} >= {"1", "2", "3"}


def test_minus_a_tenth_degree_is_fff6() -> None:
    step, one = next((step, one) for step, one in asked(GOOD, "as-bytes") if step.first.asked[1:3] == b"\x4c\x20")
    assert one.value == "FFF6" == step.first.asked[3:].hex().upper()
    assert "-0.10 °" in one.ask and one.wrong.startswith("00 0A")


def test_largest_and_most_different_of_a_run_are_found_over_all_records() -> None:
    walk = walk_of(GOOD)
    read = {
        step.first.answered[1:3].hex().upper(): int.from_bytes(step.first.answered[-4:-2], "big")
        for step in walk.steps
        if step.who == "VBM" and step.first.asked[:2] == b"\x22\x4a" and step.first.asked[2] < 0x17
    }
    assert len(read) == 7
    assert asked(GOOD, "largest-value")[0][1].value == max(read, key=lambda name: read[name])
    widest = max(combinations(read, 2), key=lambda two: abs(read[two[0]] - read[two[1]]))
    assert asked(GOOD, "differ-most")[0][1].value.split() == list(widest)


def test_what_would_leave_with_the_old_module_is_counted_without_what_it_never_held() -> None:
    step, one = asked(GOOD, "values-to-keep")[0]
    assert (step.who, one.value) == ("VBM", "8")
    assert "38 fields" in one.answer  # seven records of five fields and one of three
    before = [each for each in walk_of(GOOD).steps[: step.number] if each.who == "VBM" and each.first.asked[1] == 0x4A]
    assert len(before) == 8


def check_digit(vin: str) -> str:
    """49 CFR 565.15: transliteration and weights, written down once more."""
    signs = dict(zip("ABCDEFGHJKLMNPRSTUVWXYZ", (*range(1, 9), 1, 2, 3, 4, 5, 7, 9, *range(2, 10)), strict=True))
    values = [int(sign) if sign.isdigit() else signs[sign] for sign in vin]
    rest = sum(a * b for a, b in zip(values, (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2), strict=True)) % 11
    return "X" if rest == 10 else str(rest)


def test_the_check_digit_is_worked_out_by_the_weights() -> None:
    found = asked(GOOD, "vin-check-digit")
    assert len({step.who for step, _ in found}) >= 5
    for step, one in found:
        vin = step.first.answered[3:].decode()
        assert one.value == check_digit(vin)
        assert one.answer.startswith("yes" if vin[8] == one.value else "no")


def test_modules_agree_when_all_answers_are_the_same() -> None:
    before, *_, after = [one.value for _, one in asked(GOOD, "vins-agree")]
    assert (before, after) == ("no", "yes")  # the new module comes with a VIN of its own, and is given this one


def test_the_seed_decides_whether_it_was_locked() -> None:
    for step, one in asked(GOOD, "seed-of-zeros"):
        assert one.value == ("locked" if any(step.first.answered[2:]) else "open")
        assert step.first.answered[2:].hex().upper() not in one.answer


def test_the_erase_is_the_point_of_no_return() -> None:
    for name in (GOOD, VAN, LOW):
        for step, one in asked(name, "no-way-back"):
            assert step.first.asked[:4] == b"\x31\x01\xff\x00" and one.answer.startswith("no: ")


def test_ids_that_vanish_are_on_the_bus_before_the_order_and_not_for_two_seconds_behind_it() -> None:
    step, one = one_asked(GOOD, "ids-vanished")
    order = step.lines[0]
    at = frame(GOOD, order)[0]
    before = {can_id for time, can_id, _ in frames(GOOD, 1, order) if time > at - 1_000_000}
    behind = {can_id for time, can_id, _ in frames(GOOD, order, order + 900) if at + 1_000_000 < time < at + 2_000_000}
    gone = {can_id for can_id in before - behind if not can_id.startswith("18DA")}
    assert set(one.value.split()) == gone and gone


def test_the_time_without_a_word_ends_with_the_modules_next_frame() -> None:
    for step, one in asked(GOOD, "mute-time"):
        line = int(one.answer.rsplit("line ", 1)[1].split()[0])
        took = frame(GOOD, line)[0] - frame(GOOD, step.lines[1])[0]
        assert int(one.value) == took * 1_000
        assert frame(GOOD, line)[1] == "18FFB02A"
        between = (can_id for _, can_id, _ in frames(GOOD, step.lines[1] + 1, line - 1))
        assert not {"18FFB02A", "18DAF12A"} & set(between)


def test_what_was_read_before_is_compared_byte_by_byte() -> None:
    walk = walk_of(GOOD)
    found = asked(GOOD, "before-and-after")
    assert {step.first.asked[1:3].hex() for step, _ in found} == {"f188", "f1a2"}
    for step, one in found:
        earlier = next(each for each in walk.steps if f"in step {each.number}." in one.ask)
        same = earlier.first.answered == step.first.answered
        assert one.value == ("same" if same else "other")


def test_a_read_back_names_the_step_of_the_write() -> None:
    walk = walk_of(GOOD)
    found = asked(GOOD, "read-back")
    assert len(found) >= 10
    for step, one in found:
        number, word = one.value.split()
        write = walk.steps[int(number) - 1].first.asked
        assert write[:1] == b"\x2e" and write[1:3] == step.first.asked[1:3]
        assert word == ("equal" if write[3:] == step.first.answered[3:] else "differs")


def test_a_read_back_that_differs_is_called_so() -> None:
    values = [one.value.split()[1] for _, one in asked("uds11-read-back-differs", "read-back")]
    assert "differs" in values


def test_another_code_for_the_same_request_is_asked_about() -> None:
    step, one = one_asked(LOW, "other-code")
    assert one.value == "72 93" and step.first.answered == b"\x7f\x31\x93"


def test_a_frame_that_only_the_recorder_missed_is_asked_about() -> None:
    step, one = one_asked("coach-frame-missing-in-log", "logger-or-line")
    assert one.value == "logger"
    assert any(each.request is not None and each.request.missing for each in step.exchanges)
    assert not asked(GOOD, "logger-or-line")


def test_the_account_is_the_sum_of_the_blocks() -> None:
    walk = walk_of(GOOD)
    sizes = []
    for step, one in asked(GOOD, "account"):
        carried, size = map(int, one.value.split())
        begin = max(each.number for each in walk.steps[: step.number] if each.first.asked[:1] == b"\x34")
        blocks = [each.asked for one_step in walk.steps[begin : step.number] for each in one_step.exchanges]
        assert carried == size == sum(len(each) - 2 for each in blocks if each[:1] == b"\x36")
        sizes.append(size)
    assert sizes == [1536, 24576, 4096]


def test_the_share_grows_step_by_step() -> None:
    values = [one.value for _, one in asked(GOOD, "share-done")]
    assert values == ["1536 1536", "10240 24576", "24576 24576", "4096 4096"]
    assert [one.value for _, one in asked("coach-tester-silent", "share-done")][-1].split()[1] == "24576"


def test_a_whole_block_takes_149_frames() -> None:
    step, one = asked(GOOD, "block-frames")[-1]
    first = step.first
    assert len(first.asked) == 1026
    own = [data for _, can_id, data in frames(GOOD, *first.lines) if can_id in ("18DA2AF1", "18DAF12A")]
    own = [data for data in own if data[:3] != b"\x02\x3e\x80"]
    assert int(one.value) == len(own) == 149


def test_the_last_block_holds_what_the_full_ones_left() -> None:
    for name, due in ((GOOD, 512), (VAN, 0x9600 % 128 or 128)):
        step, one = asked(name, "last-block")[0]
        assert int(one.value) == len(step.exchanges[-1].asked) - 2 == due


def test_the_forecast_uses_the_first_half_of_the_blocks() -> None:
    step, one = asked(VAN, "when-done")[0]
    half = step.exchanges[: len(step.exchanges) // 2]
    took = frame(VAN, half[-1].lines[1])[0] - frame(VAN, half[0].lines[0])[0]
    carried = sum(len(each.asked) - 2 for each in half)
    assert int(one.value) == took * 1_000 * 0x9600 // carried
    real = frame(VAN, step.lines[1])[0] - frame(VAN, step.lines[0])[0]
    assert abs(int(one.value) / 1_000 - real) < 0.1 * real  # the tolerance that the question gives


def test_the_last_sequence_number_is_in_the_last_frame() -> None:
    found = [(step, one) for step, one in asked(GOOD, "next-sequence-number") if step.first.request.n_frames < 3]
    assert len(found) > 10
    for _, one in found:
        sender = frame(GOOD, one.lines[1])[1]
        assert sender.startswith("18DAF1")
        assert f"{frame(GOOD, one.lines[1])[2][0]:02X}" == f"2{one.value}"


def test_who_asks_is_who_speaks_first() -> None:
    for step, one in asked(VAN, "who-talks"):
        asks, answers = one.value.split()
        assert (frame(VAN, step.first.lines[0])[1], frame(VAN, step.first.lines[1])[1]) == (asks, answers)


def test_what_sets_the_pace_is_the_longest_part() -> None:
    step, one = asked(GOOD, "what-sets-the-pace")[0]
    request, answer = step.first.request, step.first.response
    assert request is not None and answer is not None
    begin, end, back = (frame(GOOD, line)[0] for line in (request.first_line, request.last_line, answer.first_line))
    assert one.value == ("the bus and the tester" if end - begin > back - end else "the module's time to answer")


@pytest.mark.parametrize("name", [GOOD, VAN, LOW])
def test_questions_of_a_step_are_of_different_kinds_and_wrong_answers_are_not_the_right_one(name: str) -> None:
    for step in chosen_questions(walk_of(name)).values():
        assert len({one.kind for one in step}) == len(step)
        for one in step:
            assert not one.wrong or one.wrong.partition(":")[0].strip() not in (one.answer, one.value)
