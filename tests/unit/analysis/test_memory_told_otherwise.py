"""Memory read out, or written again by address, behind a download; and identifications that tell nothing new."""

from __future__ import annotations

import pytest
from talk import (
    ADDRESS,
    BLOCK,
    CHECK,
    IMAGE,
    NAMES,
    SOFTWARE,
    Talk,
    ask,
    enter,
    heard,
    only,
    programming,
    read,
    reset,
    word_of,
    words,
)

BEFORE: list[Talk] = [read("F188", SOFTWARE), enter()]
GOOD = ask(CHECK, "71 01 0266 00")
PLACE = f"44 {ADDRESS:08X} {len(IMAGE):08X}"


def upload(image: bytes, address: int = ADDRESS) -> list[Talk]:
    asked = f"35 00 44 {address:08X} {len(image):08X}"
    parts = [image[at : at + BLOCK] for at in range(0, len(image), BLOCK)]
    carried: list[Talk] = [
        ask(f"36 {number:02X}", bytes([0x76, number]) + part) for number, part in enumerate(parts, 1)
    ]
    return [ask(asked, "75 20 0022"), *carried, ask("37", "77")]


def first_word(*talk: Talk) -> str:
    return words(heard(BEFORE, programming(), GOOD, *talk, names=NAMES), "download")[0]


def test_an_upload_that_reads_differently_outweighs_a_good_check() -> None:
    assert first_word(upload(b"\xff" * len(IMAGE))) == "unproven"
    assert first_word(upload(IMAGE[:BLOCK] + b"\xff" * BLOCK)) == "unproven"


def test_an_upload_that_reads_as_carried_does_not() -> None:
    assert first_word(upload(IMAGE)) == "confirmed"
    assert first_word(upload(b"\xff" * 16, address=0x00080000)) == "confirmed"


def test_memory_written_again_by_address_is_not_what_was_checked() -> None:
    over = ask(f"3D 44 {ADDRESS:08X} 00000004 DEADBEEF", f"7D 44 {ADDRESS:08X} 00000004")
    report = heard(BEFORE, programming(), GOOD, over, names=NAMES)
    assert word_of(report, "download")[0] == "unproven"
    assert "written by address" in " ".join(only(report, "download").outcome.because)


@pytest.mark.parametrize(
    "over",
    [
        ask(f"3D 44 {ADDRESS:08X} 00000004 {IMAGE[:4].hex()}", f"7D 44 {ADDRESS:08X} 00000004"),
        ask(f"3D 44 {ADDRESS:08X} 00000004 DEADBEEF", "7F 3D 31"),
        ask("3D 44 00080000 00000004 DEADBEEF", "7D 44 00080000 00000004"),
    ],
    ids=["the same bytes", "refused", "elsewhere"],
)
def test_other_writes_by_address_take_nothing_away(over: Talk) -> None:
    assert first_word(over) == "confirmed"


@pytest.mark.parametrize(
    "after",
    [b"NOT PROGRAM", b"-----------", b"***********", b"00000000000", b"\xaa" * 11, b"\xde\xad\xbe\xef" * 3,
     SOFTWARE[:6], SOFTWARE[:6] + b"     ", SOFTWARE + b"\x00\x00", b"\x00" + SOFTWARE, b"\xff" * 11],
    ids=repr,
)  # fmt: skip
def test_a_placeholder_is_no_identification_that_has_changed(after: bytes) -> None:
    assert word_of(heard(BEFORE, programming(), reset(), read("F188", after)), "download")[0] == "unproven"


@pytest.mark.parametrize("after", [b"PCU-SW-1207", b"PCU-SX-1204", b"PDU-SW-1204"])
def test_another_number_is(after: bytes) -> None:
    assert word_of(heard(BEFORE, programming(), reset(), read("F188", after)), "download")[0] == "confirmed"


def test_a_number_in_binary_is() -> None:
    before = [read("F188", "0102030A"), enter()]
    assert word_of(heard(before, programming(), reset(), read("F188", "0102030B")), "download")[0] == "confirmed"
