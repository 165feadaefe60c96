"""One exchange in plain words: act and answer, with names where there are some, and no secret in it."""

from __future__ import annotations

from talk import (
    CHECK,
    ERASE,
    NAMES,
    Talk,
    ask,
    block,
    everybody,
    heard,
    read,
    request,
    reset,
    tester,
    without,
    write,
)  # fmt: skip

from analysis.exchange_words import tell


def told(*talk: Talk, names: str = "") -> list[str]:
    record = heard(*talk, names=names).record
    labels = {story.link.key: story.label for story in record.stories}
    return [tell(one, labels.get(one.link.key, ""), record.names) for one in record.exchanges]


def test_a_session_and_its_refusal() -> None:
    assert told(ask("10 02", "7F 10 78", "50 02 0032 01F4")) == [
        "programming session: accepted (asked to wait 1 time)"
    ]  # fmt: skip
    assert told(ask("10 02", "7F 10 22")) == ["programming session: refused, 22 a condition for this action is not met"]


def test_access_is_told_without_seed_and_key() -> None:
    texts = told(ask("27 11", "67 11 A1B2C3D4"), ask("27 12 0C0D0E0F", "7F 27 35"), ask("27 12 0C0D0E0F", "67 12"))
    assert texts[0] == "seed asked, level 11: seed given"
    assert texts[1].startswith("key sent, level 11: refused, 35 ")
    assert texts[2] == "key sent, level 11: access granted"
    assert not any(secret in text for text in texts for secret in ("A1B2", "A1 B2", "0C0D", "0C 0D"))


def test_a_check_says_what_its_status_means() -> None:
    assert told(ask(CHECK, "71 01 0266 05"), names=NAMES)[0].startswith("start routine 0266 (")
    assert told(ask(CHECK, "71 01 0266 05")) == [
        "start routine 0266: status 05, of which nothing says what it means"
    ]  # fmt: skip
    assert told(ask(*ERASE))[0].startswith("start routine FF00 (erase memory): ")


def test_a_transfer_block_by_block() -> None:
    assert told(request(), block(1, bytes(32))) == [
        "download of 96 bytes at 00010000 asked for: accepted",
        "block 01, 32 bytes: accepted",
    ]


def test_values_and_writes_carry_their_names() -> None:
    vin = b"E0VLK3PS3SM018855"
    assert told(read("F190", vin), write("F190", vin)) == [
        "read F190 (VIN): E0VLK3PS3SM018855",
        "write F190 (VIN): accepted",
    ]


def test_fault_codes_are_written_as_people_write_them() -> None:
    assert told(ask("19 02 FF", "59 02 FF 1B2354 2F")) == ["read the fault memory: P1B23-54 2F"]
    assert told(ask("19 02 FF", "59 02 FF")) == ["read the fault memory: no codes"]


def test_silence_is_told_as_what_it_is() -> None:
    assert told(ask("22 F190", "62 F190 41"), tester("11 01")) == ["read F190 (VIN): 41", "hard reset: no answer"]
    assert told(read("F188", b"AB"), everybody("3E 80"))[1] == "tester present: no answer wanted"


def test_a_message_with_a_hole_says_what_was_due() -> None:
    (text,) = told((tester("22 F188"), without(read("F188", bytes(range(40)))[1], 3)))
    assert text.startswith("read F188 (software number): not whole, 43 bytes due, ")


def test_a_reset_is_named() -> None:
    assert told(reset()) == ["hard reset: accepted"]
