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
from test_older_dialects import G_ENTER, K_ENTER, K_ERASE, K_EXIT, K_REQUEST, g_blocks, k_blocks

from analysis.exchange_words import tell


def told(*talk: Talk, names: str = "") -> list[str]:
    record = heard(*talk, names=names).record
    labels = {story.link.key: story.label for story in record.stories}
    return [tell(one, labels.get(one.link.key, ""), record) for one in record.exchanges]


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


def test_blocks_of_kwp2000_are_told_in_the_form_that_their_transfer_has() -> None:
    """The first byte is a counter or data: one block alone does not tell, the whole transfer does."""
    counted = told(K_ENTER, K_ERASE, K_REQUEST, k_blocks(), K_EXIT)
    assert [one for one in counted if "block" in one] == [
        f"block {number:02X}, 32 bytes: accepted" for number in (1, 2, 3)
    ]
    bare = told(K_ENTER, K_ERASE, K_REQUEST, k_blocks(counted=False), K_EXIT)
    assert [one for one in bare if "block" in one] == ["a block, 32 bytes: accepted"] * 3


def test_a_lost_block_makes_no_data_of_the_counter() -> None:
    blocks = k_blocks()
    said = told(K_ENTER, K_ERASE, K_REQUEST, blocks[0], blocks[2], K_EXIT)
    assert [one for one in said if "bytes: accepted" in one] == [
        f"block {number:02X}, 32 bytes: accepted" for number in (1, 3)
    ]
    many = [ask(bytes([0x36, n]) + bytes([7 * n & 0xFF]) * 16, bytes([0x76, n])) for n in range(1, 7) if n != 3]
    said = told(K_ENTER, K_ERASE, K_REQUEST, many, K_EXIT)
    assert [one for one in said if "bytes: accepted" in one] == [
        f"block {number:02X}, 16 bytes: accepted" for number in (1, 2, 4, 5, 6)
    ]


def test_blocks_of_gmw3110_have_addresses_as_long_as_their_request_says() -> None:
    said = told(G_ENTER, ask("34 00 000060", "74"), g_blocks())
    assert [one for one in said if "block" in one] == [
        f"the block to {0x010000 + at:08X}, 32 bytes: accepted" for at in (0, 32, 64)
    ]


def test_a_vin_that_kwp2000_writes_is_called_one_and_other_local_data_is_not() -> None:
    vin = b"E0VLT7P08RM004172"
    said = told(K_ENTER, ask(b"\x3b\x90" + vin, "7B 90"), ask("21 90", b"\x61\x90" + vin))
    assert said[-2:] == ["write 90 (VIN): accepted", f"read 90 (VIN): {vin.decode()}"]
    assert told(K_ENTER, ask("3B 90 01020304", "7B 90"))[-1] == "write 90: accepted"
    assert told(K_ENTER, ask("3B 91 31323334", "7B 91"))[-1] == "write 91: accepted"
