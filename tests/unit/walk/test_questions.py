"""Answers are worked out again from the bytes of the capture, by other code than the askers'."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from sessions import FIXTURES, walk_of

from analysis import analyse
from analysis.walk.question import Question
from analysis.walk.questions import AT_A_STEP, AT_THE_END, all_questions, chosen_questions
from analysis.walk.steps import Step, Walk, walk_through

NAMES = ("coach-all-good", "van-wrong-calibration", "coach-erase-low-voltage", "coach-next-day", "uds11-no-check")
Asked = tuple[Step, Question]


@pytest.fixture(scope="module")
def walks() -> dict[str, Walk]:
    return {name: walk_of(name) for name in NAMES}


def asked(walks: dict[str, Walk], kind: str, name: str = "") -> Iterator[Asked]:
    for walk in (walks[name],) if name else walks.values():
        for step in walk.steps:
            for one in all_questions(walk, step):
                if one.kind == kind:
                    yield step, one


def frames_of(name: str) -> list[tuple[str, bytes]]:
    """Id and data of each line of the capture, read by hand."""
    text = (FIXTURES / name / "capture.log").read_text(encoding="ascii")
    parts = [line.split()[2].split("#") for line in text.splitlines()]
    return [(can_id, bytes.fromhex(data)) for can_id, data in parts]


def test_there_are_more_than_fifty_kinds_and_each_is_asked_somewhere(walks: dict[str, Walk]) -> None:
    kinds = {one.kind for walk in walks.values() for step in walk.steps for one in all_questions(walk, step)}
    assert kinds == {
        "which-service", "code-means", "which-identifier", "record-bytes", "letters", "decode-fault",
        "announced-times", "session-open", "kind-of-reset", "frames-needed", "flow-control", "pending", "p2-kept",
        "no-answer-wanted", "who-answered", "blocks-due", "next-counter", "share-done", "rate", "what-next",
        "what-proves", "status-proof", "copied-from", "they-say", "vin-check-digit", "vins-agree", "who-talks",
        "next-sequence-number", "scaled-value", "as-bytes", "largest-value", "differ-most", "values-to-keep",
        "ids-vanished", "seed-of-zeros", "no-way-back", "mute-time", "before-and-after", "read-back", "other-code",
        "what-sets-the-pace", "when-done", "last-block", "block-frames", "account", "hand-over", "cannot-be-known",
        "order-the-stages", "find-the-step", "first-sign", "dead-or-waiting",
    }  # fmt: skip


def test_blocks_due_is_size_over_block_length_rounded_up(walks: dict[str, Walk]) -> None:
    found = list(asked(walks, "blocks-due"))
    for step, one in found:
        size = int.from_bytes(step.first.asked[-4:], "big")
        longest = int.from_bytes(step.first.answered[2:], "big")
        assert int(one.value) == len(range(0, size, longest - 2))
    assert {one.value for _, one in found} >= {"2", "24", "4", "300"}


def test_the_counter_behind_ff_is_00(walks: dict[str, Walk]) -> None:
    assert [one.value for _, one in asked(walks, "next-counter", "van-wrong-calibration")] == ["00"]
    for step, one in asked(walks, "next-counter", "coach-all-good"):
        assert int(one.value, 16) == step.exchanges[-1].asked[1] + 1


def test_the_flow_control_line_holds_a_flow_control_frame(walks: dict[str, Walk]) -> None:
    frames = frames_of("coach-all-good")
    found = list(asked(walks, "flow-control", "coach-all-good"))
    assert found
    for _, one in found:
        line, size, gap = map(int, one.value.split())
        data = frames[line - 1][1]
        assert data[0] == 0x30 and data[1] == size
        assert gap == data[2] * 1_000_000  # all of this tester's are 00-7F: whole ms


def test_frames_needed_is_what_stands_between_the_lines(walks: dict[str, Walk]) -> None:
    frames = frames_of("coach-all-good")
    found = list(asked(walks, "frames-needed", "coach-all-good"))
    assert found
    for _, one in found:
        first, last = one.lines
        sender = frames[first - 1][0]
        between = [data for can_id, data in frames[first - 1 : last] if can_id == sender]
        assert sum(data[0] >> 4 in (1, 2) for data in between) == int(one.value)


def test_waits_are_counted_and_timed_by_the_digits_of_the_capture(walks: dict[str, Walk]) -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text(encoding="ascii").splitlines()
    found = list(asked(walks, "pending", "coach-all-good"))
    assert found
    for step, one in found:
        count, waited = map(int, one.value.split())
        own = [
            line
            for line in lines[step.lines[0] - 1 : step.lines[1]]
            if line.split("#")[1][:4] == "037F" and line.split("#")[1][6:8] == "78"
        ]
        assert count == len(own)
        first = int(own[0][1:18].replace(".", ""))
        last = int(lines[step.lines[1] - 1][1:18].replace(".", ""))
        assert waited == (last - first) * 1_000


def test_p2_is_measured_between_the_lines_named(walks: dict[str, Walk]) -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text(encoding="ascii").splitlines()
    found = list(asked(walks, "p2-kept", "coach-all-good"))
    assert found
    for _, one in found:
        kept, took = one.value.split()
        begin, end = (int(lines[line - 1][1:18].replace(".", "")) for line in one.lines)
        assert int(took) == (end - begin) * 1_000
        assert (kept == "yes") == (int(took) <= 50_000_000)


def test_records_and_letters_are_the_bytes_behind_the_identifier(walks: dict[str, Walk]) -> None:
    for step, one in asked(walks, "record-bytes", "coach-all-good"):
        carrier = step.first.asked if step.first.asked[0] == 0x2E else step.first.answered
        assert int(one.value) == len(carrier) - 3
    texts = {one.value for _, one in asked(walks, "letters", "coach-all-good")}
    assert {"E0KRC7HT5TD004217", "DUC0726A3", "RC7-CITY-0418"} <= texts
    for step, one in asked(walks, "letters", "coach-all-good"):
        assert step.first.answered.endswith(one.value.encode())


def test_a_refusal_is_read_from_the_third_byte(walks: dict[str, Walk]) -> None:
    found = {one.answer for _, one in asked(walks, "code-means", "coach-erase-low-voltage")}
    assert {text[:2] for text in found} >= {"72", "93", "31"}
    for step, one in asked(walks, "code-means"):
        assert any(each.answered[2:3].hex().upper() == one.value for each in step.exchanges)


def test_a_fault_code_is_decoded_as_the_standard_says(walks: dict[str, Walk]) -> None:
    found = {one.value: step for step, one in asked(walks, "decode-fault", "coach-next-day")}
    assert "U0101-87" in found  # C1 01 87: the two highest bits 11 choose U (ISO 15031-6 (M))
    assert bytes.fromhex("C10187") in found["U0101-87"].first.answered


def test_announced_times_are_the_tail_of_the_answer(walks: dict[str, Walk]) -> None:
    found = list(asked(walks, "announced-times"))
    assert found
    for step, one in found:
        tail = step.first.answered[-4:]
        assert one.value == f"{int.from_bytes(tail[:2], 'big')} {10 * int.from_bytes(tail[2:], 'big')}"


def test_the_session_is_programming_between_its_begin_and_the_restart(walks: dict[str, Walk]) -> None:
    steps = walks["coach-all-good"].steps
    begin = next(step.number for step in steps if step.first.asked == b"\x10\x02")
    end = next(step.number for step in steps if step.first.asked == b"\x11\x01")
    for step, one in asked(walks, "session-open", "coach-all-good"):
        if begin < step.number <= end and step.who == "DUC":
            assert one.value == "02"


def test_a_positive_answer_is_never_called_proof(walks: dict[str, Walk]) -> None:
    found = list(asked(walks, "what-proves"))
    assert {one.value for _, one in found} >= {"confirmed", "unproven"}
    for _, one in found:
        assert one.answer.startswith("no proof by itself; ")
        assert ("nothing in this recording proves it" in one.answer) != ("it is proved later" in one.answer)


def test_status_00_without_names_is_no_proof() -> None:
    bare = walk_through(analyse(FIXTURES / "coach-all-good" / "capture.log"))
    found = [one for step in bare.steps for one in all_questions(bare, step) if one.kind == "status-proof"]
    checks = [one for one in found if one.value == "unknown"]
    assert checks and all(one.answer.startswith("no: ") for one in checks)


def test_a_copy_names_the_step_in_which_the_same_bytes_were_read(walks: dict[str, Walk]) -> None:
    walk = walks["coach-all-good"]
    found = list(asked(walks, "copied-from", "coach-all-good"))
    assert len(found) >= 8
    for step, one in found:
        assert walk.steps[int(one.value) - 1].first.answered[3:] == step.first.asked[3:]


def test_share_and_rate_come_from_the_blocks(walks: dict[str, Walk]) -> None:
    for step, one in asked(walks, "share-done", "van-wrong-calibration"):
        assert one.value == f"{sum(len(each.asked) - 2 for each in step.exchanges)} {0x9600}"
    lines = (FIXTURES / "van-wrong-calibration" / "capture.log").read_text(encoding="ascii").splitlines()
    for _, one in asked(walks, "rate", "van-wrong-calibration"):
        begin, end = (int(lines[line - 1][1:18].replace(".", "")) for line in one.lines)
        assert int(one.value) == round(0x9600 * 1_000_000 / (end - begin))


def test_who_answered_is_the_number_of_answers_on_the_bus(walks: dict[str, Walk]) -> None:
    counts = {step.act.value: one.value for step, one in asked(walks, "who-answered", "coach-all-good")}
    data = [frame for _, frame in frames_of("coach-all-good")]
    assert counts == {"clear": str(sum(frame[:2] == b"\x01\x54" for frame in data))}


def test_the_questions_put_do_not_repeat_one_kind_for_ever(walks: dict[str, Walk]) -> None:
    for walk in walks.values():
        chosen = [one for step in chosen_questions(walk).values() for one in step]
        *steps, last = chosen_questions(walk).values()
        assert all(len(step) <= AT_A_STEP for step in steps) and len(last) <= AT_THE_END
        assert sum(one.kind == "which-service" for one in chosen) <= 3
    kinds = {one.kind for step in chosen_questions(walks["coach-all-good"]).values() for one in step}
    assert len(kinds) >= 20
