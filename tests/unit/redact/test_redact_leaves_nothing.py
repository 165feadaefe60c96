"""No original secret is left in a copy: in hex at any nibble, as text, reversed, nor across frames."""

import re
from pathlib import Path

import numpy as np
import pytest
from redaction.search import left_in, memory_of, secrets_of, streams_of, texts_of, windows_of

from analysis.redact.redact import redact
from canlog.names.vin import check_vin
from canlog.read import read_capture, rebuild

FIXTURES = Path(__file__).parents[3] / "fixtures"
CAPTURES = sorted(str(path.relative_to(FIXTURES)) for path in FIXTURES.glob("*/capture.*"))


@pytest.mark.parametrize("name", CAPTURES)
def test_no_secret_of_the_original_is_left(name: str, tmp_path: Path) -> None:
    original, copy = FIXTURES / name, tmp_path / Path(name).name
    world = original.parent.name.split("-")[0]
    names = [FIXTURES / f"{world}_names.toml"]
    found = redact(original, FIXTURES / f"{world}.toml", names)
    copy.write_bytes(found.capture)
    assert not left_in(original, copy, (found.sheet or "") + found.list_csv().decode())


def test_the_search_of_this_file_finds_secrets_in_the_originals() -> None:
    original = FIXTURES / "uds11-all-good" / "capture.log"
    page = b"\n".join(texts_of(original))
    secrets = secrets_of(original)
    assert len(secrets) > 10
    in_it = [one for one in secrets if one.hex().encode() in page]
    assert len(in_it) > 6
    memory = memory_of(original)
    assert len(memory) > 1000
    assert max(np.isin(memory, windows_of(one)).sum() for one in streams_of(original)) >= len(memory) // 2


VIN = "E0VLK3P06SM018931"


def session(*frames: str) -> bytes:
    lines = (f"(1795554000.{at:06d}) can0 {frame}" for at, frame in enumerate(frames, start=100000))
    return "\n".join(lines).encode() + b"\n"


def copied(tmp_path: Path, content: bytes) -> bytes:
    path = tmp_path / "one.log"
    path.write_bytes(content)
    return redact(path).capture


READ_VIN = (
    "7E0#0322F190CCCCCCCC", "7E8#101462F190453056", "7E0#300000CCCCCCCCCC", "7E8#214C4B3350303653",
    "7E8#224D303138393331",
)  # fmt: skip


def test_the_example_holds_the_vin(tmp_path: Path) -> None:
    path = tmp_path / "one.log"
    path.write_bytes(session(*READ_VIN))
    assert any(message.data[3:] == VIN.encode() for message in rebuild(read_capture(path)))


def hex_of(copy: bytes, can_id: str) -> list[bytes]:
    return [bytes.fromhex(text) for text in re.findall(rf"{can_id}#([0-9A-F]+)", copy.decode())]


def new_vin(copy: bytes) -> str:
    frames = hex_of(copy, "7E8")
    return (frames[0][5:] + frames[1][1:] + frames[2][1:]).decode()


def test_a_vin_in_three_frames_of_a_cyclic_id_gets_the_same_replacement(tmp_path: Path) -> None:
    pieces = ("5B0#01" + VIN[:7].encode().hex().upper(), "5B0#02" + VIN[7:14].encode().hex().upper(),
              "5B0#03" + VIN[14:].encode().hex().upper() + "00000000")  # fmt: skip
    copy = copied(tmp_path, session(*pieces, *READ_VIN, *pieces))
    told = b"".join(data[1:] for data in hex_of(copy, "5B0")[:3]).rstrip(b"\0").decode()
    assert told == new_vin(copy) != VIN
    assert check_vin(told).check_digit_right == check_vin(VIN).check_digit_right


def test_a_broadcast_vin_is_found_where_no_module_was_asked(tmp_path: Path) -> None:
    pieces = [f"5B0#{VIN[at : at + 8].encode().hex().upper()}" for at in (0, 8)]
    copy = copied(tmp_path, session(*pieces, f"5B0#{VIN[16:].encode().hex().upper()}", *READ_VIN[:1]))
    assert VIN.encode() not in b"".join(hex_of(copy, "5B0"))


def test_a_vin_in_a_comment_is_replaced(tmp_path: Path) -> None:
    copy = copied(tmp_path, f"# vehicle {VIN}, {VIN.encode().hex(' ')}\n".encode() + session(*READ_VIN))
    comment = copy.splitlines()[0].decode()
    assert comment.split()[2].rstrip(",") == new_vin(copy)
    assert bytes.fromhex(comment.split(",")[1]).decode() == new_vin(copy)


@pytest.mark.parametrize(
    "written",
    ["E0V LK3P06 SM018931", "E0V-LK3P06-SM018931", "e0vlk3p06sm018931", "the one with SM018931.", "(018931)",
     "450 56 4C", "no. 018931, blue"],
)  # fmt: skip
def test_a_vin_written_by_hand_is_replaced_in_its_own_shape(written: str, tmp_path: Path) -> None:
    note = f"# note of the shop: {written} came in on Monday"
    copy = copied(tmp_path, f"{note}\n".encode() + session(*READ_VIN))
    told = copy.splitlines()[0].decode()
    assert len(told) == len(note)
    if VIN[-6:].lower() not in re.sub("[ -]", "", written.lower()):
        assert told == note  # no VIN
        return
    assert VIN[-6:].lower() not in re.sub("[ -]", "", told.lower())
    assert new_vin(copy)[-6:].lower() in re.sub("[ -]", "", told.lower())


def test_the_time_of_a_line_that_looks_like_the_end_of_a_vin_stays(tmp_path: Path) -> None:
    line = b"# begun at 12:30:00.018931\n"
    assert copied(tmp_path, line + session(*READ_VIN)).startswith(line)


def test_a_serial_number_and_a_key_in_a_prose_line_are_replaced(tmp_path: Path) -> None:
    key = "8F13C7A95E21"
    talk = ("7E0#0227010000000000", "7E8#066701A1B2C3D400", f"7E0#062702{key[:8]}", "7E8#0267020000000000",
            "7E0#0322F18CCCCCCCCC", "7E8#100A62F18C535831", "7E0#300000CCCCCCCCCC", "7E8#2137344B32CCCCCC")  # fmt: skip
    prose = "key 8F 13 C7 A9 sent, or 8f13c7a9; unit SX174K2 swapped"
    copy = copied(tmp_path, f"{prose}\n".encode() + session(*talk))
    told = copy.splitlines()[0].decode()
    assert len(told) == len(prose)
    assert told.startswith("key ")
    assert not re.search("8f ?13 ?c7 ?a9|sx174k2", told, re.IGNORECASE)


def test_a_blank_vin_stays_blank(tmp_path: Path) -> None:
    blank = session("7E0#0322F190CCCCCCCC", "7E8#101462F190FFFFFF", "7E0#300000CCCCCCCCCC", "7E8#21FFFFFFFFFFFFFF",
                    "7E8#22FFFFFFFFFFFFFF")  # fmt: skip
    assert copied(tmp_path, blank) == blank


def test_a_refused_block_and_its_repetition_stay_equal_and_blocks_that_differ_do_not(tmp_path: Path) -> None:
    block, other = "7E0#0736011122334455", "7E0#0736021122334456"
    copy = copied(tmp_path, session(block, "7E8#037F3672CCCCCCCC", block, "7E8#027601CCCCCCCCCC", other))
    sent = hex_of(copy, "7E0")
    assert sent[0] == sent[1] != bytes.fromhex(block[4:])
    assert sent[2][3:] != sent[0][3:]


def test_a_damaged_line_keeps_no_bytes(tmp_path: Path) -> None:
    cut = b"(1795554000.200000) can0 7E0#2148A0B1C2D3E4F\n"
    copy = copied(tmp_path, session(*READ_VIN) + cut)
    last = copy.splitlines()[-1]
    assert len(last) == len(cut) - 1
    assert b"A0B1C2D3" not in last


def test_a_piece_of_a_block_whose_beginning_is_not_in_the_capture_is_replaced(tmp_path: Path) -> None:
    pieces = [f"7E0#2{at:X}{bytes(range(at * 7 + 16, at * 7 + 23)).hex().upper()}" for at in range(1, 6)]
    copy = copied(tmp_path, session(*pieces, "7E8#027601CCCCCCCCCC", "7E0#0322F190CCCCCCCC", "7E8#037F2231CCCCCCCC"))
    old = [bytes.fromhex(piece[4:]) for piece in pieces]
    assert all(new[0] == one[0] and new[1:] != one[1:] for new, one in zip(hex_of(copy, "7E0"), old, strict=False))


def test_two_lines_that_lost_the_line_end_between_them_are_both_copied(tmp_path: Path) -> None:
    lines = session(*READ_VIN).splitlines()
    copy = copied(tmp_path, b"\n".join([*lines[:3], lines[3] + lines[4], b""]))
    assert len(hex_of(copy, "7E8")) == 3
    assert not any(one in copy for one in (lines[3][-14:], lines[4][-14:]))


def test_the_text_beside_the_bytes_is_written_again(tmp_path: Path) -> None:
    frames = [one.split("#") for one in READ_VIN]
    lines = [
        f"  can0  {can_id}   [8]  {bytes.fromhex(data).hex(' ').upper()}   "
        + "'" + "".join(chr(one) if 0x20 <= one < 0x7F else "." for one in bytes.fromhex(data)) + "'"
        for can_id, data in frames
    ]  # fmt: skip
    copy = copied(tmp_path, "\n".join(lines).encode() + b"\n")
    assert b"LK3P06S" not in copy
    assert b"M018931" not in copy
    assert copy.count(b"'") == 10


def test_what_an_authentication_answered_stays(tmp_path: Path) -> None:
    frames = ("7E0#0322F190CCCCCCCC", "7E8#037F2231CCCCCCCC", "7E0#0729030004A1B2C3", "7E8#0369031100000000")
    copy = copied(tmp_path, session(*frames))
    assert hex_of(copy, "7E8")[-1][:4].hex() == "03690311"


def test_records_that_cannot_be_told_apart_are_replaced_together(tmp_path: Path) -> None:
    copy = copied(tmp_path, session("7E0#0522F18CFD01CCCC", "7E8#101162F18C415A31", "7E0#300000CCCCCCCCCC",
                                    "7E8#2137395BFD01419A", "7E8#2233C1D2E3CCCCCC"))  # fmt: skip
    sent = hex_of(copy, "7E8")
    assert sent[0][2:5].hex() == "62f18c"
    assert b"AZ179" not in b"".join((sent[0][5:], sent[1][1:]))
