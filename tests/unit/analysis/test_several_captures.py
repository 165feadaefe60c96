"""Several captures of one job: order, borders, and what carries over."""

from __future__ import annotations

from talk import (
    CHECK,
    ERASE,
    IMAGE,
    KEEPER,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    block,
    download,
    enter,
    judged,
    log_of,
    of_kind,
    programming,
    read,
    reset,
    word_of,
    words,
    write,
)  # fmt: skip

DAY = 86_400 * 10**9
START = 1_795_000_000 * 10**9
NEW = "01264031"


def at(day: int, *talk: Talk) -> str:
    return log_of(*talk, start_ns=START + day * DAY)


def relative(*talk: Talk) -> str:
    return log_of(*talk, start_ns=0)


def test_absolute_clocks_decide_the_order_whatever_was_typed() -> None:
    first = at(0, read("3A01", "FFFFFFFF"), write("3A01", NEW), reset())
    second = at(1, read("3A01", NEW))
    assert word_of(judged(second, first), "write") == ("confirmed", "high")


def test_relative_clocks_keep_the_order_of_the_command() -> None:
    first = relative(read("3A01", "FFFFFFFF"), write("3A01", NEW), reset())
    second = relative(read("3A01", NEW))
    assert word_of(judged(first, second), "write") == ("confirmed", "high")
    assert word_of(judged(second, first), "write")[0] != "confirmed"


def test_evidence_names_its_capture() -> None:
    report = judged(at(0, read("3A01", "FFFFFFFF"), write("3A01", NEW), reset()), at(1, read("3A01", NEW)))
    (proof,) = of_kind(report, "write")[0].outcome.proof
    assert (proof.capture, proof.lines) == (2, (1, 2))


def test_a_border_ends_an_open_download() -> None:
    first = at(0, enter(), ask(*ERASE), download()[0], block(1, IMAGE[:32]))
    report = judged(first, at(1, read("F190", "41")))
    assert word_of(report, "download")[0] == "interrupted"


def test_a_border_leaves_a_request_unanswered() -> None:
    first, second = at(0, ask("10 03", "50 03 0032 01F4"), ask(f"2E 3A01 {NEW}")), at(1, ask("2E 3A02 AA", "6E 3A02"))
    assert words(judged(first, second), "write") == ["interrupted", "unproven"]


def test_an_answer_in_the_next_capture_does_not_end_a_request_of_the_one_before() -> None:
    from talk import module

    first = at(0, read("3A01", "FFFFFFFF"), ask("10 03", "50 03 0032 01F4"), ask(f"2E 3A01 {NEW}"))
    second = at(1, module("6E 3A01"), read("3A01", NEW))
    assert "confirmed" not in words(judged(first, second), "write")


def test_a_border_proves_no_session_and_no_unlock() -> None:
    first = at(0, read("F190", "41"), enter())
    second = at(1, write("3A01", "AA"))
    report = judged(first, second)
    assert words(report, "session") == ["confirmed"]  # by the unlock that followed in the same capture
    assert words(report, "unlock") == ["unproven"]


def test_an_identity_before_and_after_in_other_captures_proves_a_download() -> None:
    before, act = at(0, read("F188", SOFTWARE)), at(1, enter(), programming(), reset())
    after = at(2, read("F188", b"PCU-SW-1207"))
    assert word_of(judged(before, act, after), "download")[0] == "confirmed"
    no_reset = at(1, enter(), programming())
    assert word_of(judged(before, no_reset, after), "download")[0] == "unproven"


def test_a_retry_in_a_later_capture_replaces_the_first_attempt() -> None:
    first = at(0, enter(), ask(*ERASE), download()[0], block(1, IMAGE[:32], "7F 36 72"))
    second = at(1, enter(), programming(), ask(CHECK, "71 01 0266 00"))
    report = judged(first, second, names=NAMES)
    assert words(report, "download") == ["failed", "confirmed"]
    assert report.verdict.overall == "confirmed"


def test_a_copy_is_found_over_captures() -> None:
    source = at(0, read("3A01", NEW, on=KEEPER))
    report = judged(source, at(1, read("3A01", "FFFFFFFF"), write("3A01", NEW)))
    assert of_kind(report, "write")[0].details["source_link"] == "can0:7E1>7E9"


def test_a_loss_in_another_capture_does_not_touch_the_operation() -> None:
    act = at(0, read("3A01", "FFFFFFFF"), write("3A01", NEW), reset(), read("3A01", NEW))
    other = at(1, read("F190", "41")) + "DROPCOUNT: dropped 5 CAN frames on 'can0' socket (total drops 5)\n"
    assert word_of(judged(act, other), "write") == ("confirmed", "high")


def test_the_same_capture_given_twice_confirms_nothing_new() -> None:
    one = at(0, reset(), read("3A01", NEW), write("3A01", NEW))
    assert "confirmed" not in words(judged(one, one), "write")
