"""One row per dialect of what operations need, and the readers that follow it.

Source: ISO 14229-1:2020 (M), ISO 14230-3 (M), GMW3110 1.6 (M), SAE J1979 (M).
"""

import pickle

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.services.decode import DIALECTS
from canlog.services.layout import request, response
from canlog.services.matching import answers, is_suppressed
from canlog.services.traits import (
    TRAITS,
    AddressIn,
    Block,
    BlockCounter,
    Item,
    Location,
    block_of,
    identification_asked,
    is_tester_present,
    item_read,
    item_written,
    location_of,
    programmed_state,
    programming_step,
    returns_to_normal,
    traits_of,
)


@pytest.mark.parametrize("dialect", DIALECTS)
def test_every_service_of_a_row_is_a_service_of_the_dialect(dialect: str) -> None:
    traits, layouts = TRAITS[dialect], DIALECTS[dialect].layouts
    named = [traits.download, traits.upload, traits.file_transfer, traits.transfer_end, traits.read_memory,
             traits.write_memory, traits.session, traits.unlock, traits.reset, traits.programmed_state,
             *traits.reads, *traits.writes, *traits.clears, *traits.fault_reads]  # fmt: skip
    forms = [*traits.erases, *traits.reads_vin, *traits.returns_to_normal, *traits.tester_present,
             *(form for step in traits.programming_steps for form in step)]  # fmt: skip
    named += [form[0] for form in forms]
    named += [service for service, _ in traits.identification]
    named += [form[0] for form in (traits.routine_start, traits.routine_results) if form]
    for service in named:
        assert service is None or (request(service) in layouts and response(service) in layouts)


def test_the_end_of_a_transfer_and_the_account_are_by_dialect() -> None:
    assert {name: row.transfer_end for name, row in TRAITS.items()} == {
        "uds": 0x37, "kwp2000": 0x37, "gmw3110": None, "obd": None,
    }  # fmt: skip
    assert {name: row.block_counter for name, row in TRAITS.items()} == {
        "uds": BlockCounter.ALWAYS, "kwp2000": BlockCounter.BY_MODULE, "gmw3110": BlockCounter.NEVER,
        "obd": BlockCounter.NEVER,
    }  # fmt: skip
    assert TRAITS["gmw3110"].address_in is AddressIn.BLOCK
    assert not TRAITS["gmw3110"].answers_block_length


@pytest.mark.parametrize("dialect", ["uds", "kwp2000", "gmw3110"])
def test_every_dialect_that_programs_has_a_proof(dialect: str) -> None:
    traits = traits_of(dialect)
    assert traits.download == 0x34
    assert traits.proves_download
    assert traits.writes
    assert traits.programming_steps


def test_an_answer_to_a_clear_repeats_as_many_bytes_as_the_row_says() -> None:
    for dialect, traits in TRAITS.items():
        for service, echoed in traits.clears.items():
            asked = bytes([service]) + (b"\xff\x00\x00"[: 3 if dialect == "uds" else 2] if service == 0x14 else b"")
            assert answers(asked, bytes([service + 0x40]) + asked[1 : 1 + echoed], dialect)


@pytest.mark.parametrize(
    ("text", "dialect", "location"),
    [
        ("34 11 44 00 08 00 00 00 00 60 00", "uds", Location(0x080000, 0x6000, 0x11)),
        ("35 00 12 60 10 20", "uds", Location(0x6010, 0x20, 0x00)),
        ("34 08 00 00 11 00 60 00", "kwp2000", Location(0x080000, 0x6000, 0x11)),
        ("34 00 00 00 60 00", "gmw3110", Location(None, 0x6000, 0x00)),
        ("35 00 00 00 60 00", "gmw3110", None),
        ("34 11 44 00 08", "uds", None),
        ("34 00 11 10 20", "obd", None),
        ("36 01", "uds", None),
        ("", "uds", None),
    ],
)
def test_what_a_download_asks_for(text: str, dialect: str, location: Location | None) -> None:
    assert location_of(bytes.fromhex(text), dialect) == location


def test_a_block_is_placed_by_counter_or_by_address() -> None:
    assert block_of(b"\x36\x05\xaa\xbb", "uds") == Block(b"\xaa\xbb", counter=5)
    assert block_of(b"\x36\x05\xaa\xbb", "kwp2000") == Block(b"\x05\xaa\xbb")
    assert block_of(b"\x36\x05\xaa\xbb", "kwp2000", counted=False) == Block(b"\x05\xaa\xbb")
    assert block_of(b"\x36\x05\xaa\xbb", "kwp2000", counted=True) == Block(b"\xaa\xbb", counter=5)
    block = bytes.fromhex("36 00 00 3F C1 00 AA BB")
    assert block_of(block, "gmw3110", address_bytes=4) == Block(b"\xaa\xbb", address=0x3FC100)
    assert block_of(bytes.fromhex("36 80 3F C1 00"), "gmw3110", address_bytes=3) == Block(
        b"", address=0x3FC100, executes=True
    )
    assert block_of(block, "gmw3110") is None
    assert block_of(block[:4], "gmw3110", address_bytes=4) is None
    assert block_of(b"\x36", "uds") is None
    assert block_of(b"\x36", "kwp2000", counted=True) is None
    assert block_of(b"\x36\x01", "obd") is None
    assert block_of(b"\x34\x01", "uds") is None


@pytest.mark.parametrize(
    ("text", "dialect", "item"),
    [
        ("2E F1 90 41 42", "uds", Item(0x2E, 0xF190, 2, b"AB")),
        ("3B 9A 01 02", "kwp2000", Item(0x3B, 0x9A, 1, b"\x01\x02")),
        ("2E 12 34 05", "kwp2000", Item(0x2E, 0x1234, 2, b"\x05")),
        ("3B 90 31", "gmw3110", Item(0x3B, 0x90, 1, b"1")),
        ("2E F1 90 41", "gmw3110", None),
        ("3B 90 31", "uds", None),
        ("2E F1 90", "uds", None),
        ("", "uds", None),
    ],
)
def test_what_a_write_asks_to_store(text: str, dialect: str, item: Item | None) -> None:
    assert item_written(bytes.fromhex(text), dialect) == item


@pytest.mark.parametrize(
    ("text", "dialect", "item"),
    [
        ("62 F1 90 41", "uds", Item(0x22, 0xF190, 2, b"A")),
        ("5A 90 41", "kwp2000", Item(0x1A, 0x90, 1, b"A")),
        ("61 E1 01", "kwp2000", Item(0x21, 0xE1, 1, b"\x01")),
        ("5A C1 00 12 34 56", "gmw3110", Item(0x1A, 0xC1, 1, b"\x00\x12\x34\x56")),
        ("5A 90 41", "uds", None),
        ("1A 90 41", "kwp2000", None),
        ("7F 22 31", "uds", None),
    ],
)
def test_what_an_answer_to_a_read_carries(text: str, dialect: str, item: Item | None) -> None:
    assert item_read(bytes.fromhex(text), dialect) == item


def test_a_vin_or_what_a_tester_leaves_behind_does_not_identify_software() -> None:
    """Read after a programming they would look like a proof although no software changed."""
    assert identification_asked(b"\x22\xf1\x95", "uds") == 0xF195
    assert identification_asked(b"\x09\x06", "uds") == 6
    assert identification_asked(b"\x1a\xc1", "gmw3110") == 0xC1
    assert identification_asked(b"\x1a\x9c", "kwp2000") == 0x9C
    no_proof = {
        "uds": ["22 F1 90", "22 F1 86", "22 F1 84", "22 F1 98", "22 F1 99", "22 F1 8C", "09 02", "22 12 34", "22"],
        "kwp2000": ["1A 90", "1A 88", "1A 98", "1A 99", "1A 9A", "1A 9F", "21 01", "1A"],
        "gmw3110": ["1A 90", "1A 98", "1A 99", "1A DF", "1A B0"],
        "obd": ["09 02", "09 00", "01 0C"],
    }
    for dialect, texts in no_proof.items():
        for text in texts:
            assert identification_asked(bytes.fromhex(text), dialect) is None


def test_programming_is_entered_and_left_in_the_dialect_s_way() -> None:
    assert programming_step(b"\x10\x02", "uds") == programming_step(b"\x10\x82", "uds") == 1
    assert programming_step(b"\x10\x85", "kwp2000") == 1
    assert programming_step(b"\x10\x02", "gmw3110") is None  # switches fault storing off
    assert [programming_step(bytes([0xA5, mode]), "gmw3110") for mode in (1, 2, 3, 4)] == [1, 1, 2, None]
    assert returns_to_normal(b"\x20", "gmw3110")
    assert returns_to_normal(b"\x10\x81", "kwp2000")
    assert returns_to_normal(b"\x10\x01", "uds")
    assert not returns_to_normal(b"\x10\x02", "uds")
    assert is_suppressed(b"\xa5\x03", "gmw3110")  # the last step is silent


def test_a_tester_present_has_its_own_form_in_each_dialect() -> None:
    forms = {b"\x3e\x80": "uds", b"\x3e\x02": "kwp2000"}
    for form, dialect in forms.items():
        assert [name for name in TRAITS if is_tester_present(form, name)] == [dialect]
    assert [name for name in TRAITS if is_tester_present(b"\x3e", name)] == ["kwp2000", "gmw3110"]


def test_the_programmed_state_is_reported_in_gmw3110_alone() -> None:
    assert programmed_state(b"\xe2\x00", "gmw3110") == 0
    assert programmed_state(b"\xe2\x54", "gmw3110") == 0x54
    for text, dialect in (("E2", "gmw3110"), ("E2 00 00", "gmw3110"), ("7F A2 22", "gmw3110"), ("E2 00", "uds")):
        assert programmed_state(bytes.fromhex(text), dialect) is None


@given(message=st.binary(max_size=20), dialect=st.sampled_from(list(DIALECTS)))
def test_any_message_can_be_asked_about(message: bytes, dialect: str) -> None:
    location_of(message, dialect)
    programmed_state(message, dialect)
    identification_asked(message, dialect)
    for counted in (None, True, False):
        for address_bytes in (None, 2, 3, 4):
            block = block_of(message, dialect, counted=counted, address_bytes=address_bytes)
            assert block is None or message.endswith(block.data)
    for item in (item_written(message, dialect), item_read(message, dialect)):
        assert item is None or (item.data and len(item.data) + item.identifier_bytes + 1 == len(message))


def test_a_row_travels_between_processes_and_an_unknown_dialect_is_refused() -> None:
    for row in TRAITS.values():
        assert pickle.loads(pickle.dumps(row)) == row
    with pytest.raises(ValueError, match="no dialect"):
        traits_of("dutch")
