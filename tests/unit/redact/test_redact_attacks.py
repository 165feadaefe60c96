"""Places where somebody who searches a copy would look: each held a secret once, told by its meaning elsewhere or not.

The bytes of the messages are laid out as ISO 15765-2:2016, 9.6 (M), by code of this file.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from analysis.redact.redact import redact
from analysis.redact.replacements import Replacements
from canlog.read import read_capture, rebuild

VIN = "E0VLK3P06SM018931"
KEY = bytes.fromhex("8F13C7A9")


def message(can_id: str, data: bytes, back: str = "") -> list[str]:
    """Frames of one message; filled up with CC."""
    if len(data) <= 7:
        return [f"{can_id}#" + (bytes([len(data)]) + data).ljust(8, b"\xcc").hex().upper()]
    frames = [f"{can_id}#" + (bytes([0x10 | len(data) >> 8, len(data) & 255]) + data[:6]).hex().upper()]
    frames += [f"{back}#300000CCCCCCCCCC"] if back else []
    for number, at in enumerate(range(6, len(data), 7), start=1):
        frames.append(f"{can_id}#" + (bytes([0x20 | number & 15]) + data[at : at + 7]).ljust(8, b"\xcc").hex().upper())
    return frames


def ask(text: str) -> list[str]:
    return message("7E0", bytes.fromhex(text), "7E8")


def answer(text: str, said: bytes = b"") -> list[str]:
    return message("7E8", bytes.fromhex(text) + said, "7E0")


READ_VIN = [*ask("22F190"), *answer("62F190", VIN.encode())]
ACCESS = [*ask("2701"), *answer("6701A1B2C3D4"), *ask("2702" + KEY.hex()), *answer("6702")]
OLD_VIN = [*ask("1A90"), *answer("5A90", VIN.encode())]
TOO_EARLY = [*ask("3E00"), *answer("7E00")]


def serial(said: bytes) -> list[str]:
    return [*ask("22F18C"), *answer("62F18C", said)]


def other(said: bytes) -> list[str]:
    return [*ask("221234"), *answer("621234", said)]


def pieces(*order: int) -> list[str]:
    return [f"5B0#{at:02X}" + VIN[7 * at : 7 * at + 7].encode().hex().upper().ljust(14, "0") for at in order]


NUMBER = bytes.fromhex("4711082345")
CASES = {
    "a VIN with signs that no VIN has": ([*ask("22F190"), *answer("62F190", b"EIOQIOQIO6SM01893")], b"IOQIOQIO"),
    "a VIN in small letters": ([*ask("22F190"), *answer("62F190", VIN.lower().encode())], VIN.lower()[:5].encode()),
    "a VIN in UTF-16": ([*READ_VIN, *other(VIN.encode("utf-16-le"))], VIN.encode("utf-16-le")),
    "a VIN backwards": ([*READ_VIN, *other(VIN[::-1].encode())], VIN[::-1].encode()),
    "a VIN with other text right beside it": ([*ask("1A80"), *answer("5A80", VIN.encode() + b"SX1")], VIN.encode()),
    "a VIN in pieces among other pieces": (
        ["5B0#0A11223344556677", *pieces(0), "5B0#0B11223344556677", *pieces(1), "5B0#0C11223344556677", *pieces(2),
         *TOO_EARLY], VIN[:7].encode()),
    "a VIN in pieces from behind": ([*pieces(2, 1, 0), *TOO_EARLY, *pieces(2, 1, 0)], VIN[7:14].encode()),
    "a VIN in three signs a frame": (
        [f"5B0#{at:02X}{VIN[3 * at : 3 * at + 3].encode().hex()}00000000".upper() for at in range(6)] + TOO_EARLY,
        VIN[:3].encode()),
    "a VIN in a record beside a fault": (
        [*ask("190412345601"), *answer("59041234562F0101F190", VIN.encode())], VIN.encode()),
    "a VIN sent in packets of an older bus": (
        ["18ECFF00#20120003FFECFE00", *(f"18EBFF00#{at:02X}{VIN[7 * at - 7 : 7 * at].encode().hex().ljust(14, 'F')}"
                                        for at in (1, 2, 3))], VIN[:7].encode()),
    "a number of ASCII digits in BCD": ([*serial(NUMBER.hex().encode()), *other(NUMBER)], NUMBER),
    "a BCD number in ASCII digits": ([*serial(NUMBER), *other(NUMBER.hex().encode())], NUMBER.hex().encode()),
    "a binary number backwards": ([*serial(NUMBER), *other(NUMBER[::-1])], NUMBER[::-1]),
    "a serial number in a record beside a fault": (
        [*ask("190412345601"), *answer("59041234562F0101F18C", b"SX174K2Z")], b"SX174K2Z"),
    "an identifier defined by a serial number": (
        [*READ_VIN, *ask("2C01F300F18C0106"), *answer("6C01F300"), *ask("22F300"), *answer("62F300", b"SX174K")],
        b"SX174K"),
    "the number of an engine": ([*ask("090D"), *answer("490D01", b"EN778899123456701")], b"EN7788991234567"),
    "the number of an engine by identifier": (
        [*ask("22F80D"), *answer("62F80D", b"EN778899123456701")], b"EN7788991234567"),
    "a serial number of KWP2000": ([*OLD_VIN, *ask("1A8C"), *answer("5A8C", b"SER77123XY4567")], b"SER77123"),
    "a written shop code of KWP2000": ([*OLD_VIN, *ask("3B98" + b"SHOP777".hex()), *answer("7B98")], b"SHOP777"),
    "a VIN of KWP2000 whose write is refused": ([*ask("3B90" + VIN.encode().hex()), *answer("7F3B22")], VIN.encode()),
    "pieces of a VIN in data packets of GMW3110": (
        [*OLD_VIN, "7E0#04AA040102CCCCCC", *(one.replace("5B0#", "5E8#") for one in pieces(1, 2))], VIN[7:14].encode()),
    "the end of a VIN whose middle is missing": (
        [*ask("22F190"), *(one for at, one in enumerate(READ_VIN[1:]) if at != 2)], VIN[10:].encode()),
    "a traceability code of GMW3110": (
        [*OLD_VIN, *ask("1AB4"), *answer("5AB4", b"TRC77123XY4567"), *ask("A902FF"), *answer("7FA931")], b"TRC77123"),
    "what a tester leaves behind": (
        [*READ_VIN, *ask("2EF15A260105" + b"SHOP77".hex()), *answer("6EF15A"),
         *ask("22F15A"), *answer("62F15A260105", b"SHOP77")], b"SHOP77"),
    "a refused write to a module that answers nothing else": (
        [*READ_VIN, *message("7E1", b"\x2e\xf1\x8cSN77123K"), "7E9#037F2E31CCCCCCCC"], b"SN77123K"),
    "a message that is enciphered": (
        [*READ_VIN, *ask("840102030405060708090A8F13C7A9"), *answer("C4990203040506078F13C7A9")], KEY),
    "a key in the fill bytes": ([*ACCESS, "7E0#023E008F13C7A9CC", "7E8#027E00CCCCCCCCCC"], KEY),
    "a key in the fill bytes of a flow control": ([*ACCESS, "7E0#3000008F13C7A9CC", "7E0#023E00CCCCCCCCCC"], KEY),
    "an unknown value in the fill bytes": ([*READ_VIN, "7E0#023E00DEADBEEF42"], bytes.fromhex("DEADBEEF42")),
    "a piece of a VIN in the fill bytes": ([*READ_VIN, "7E8#027E00564C4B3350"], b"VLK3P"),
    "a key where only the tester is heard": (
        [*ask("2702" + (KEY * 2).hex()), *message("7E0", b"\x36\x01" + bytes(range(30, 90)))], KEY),
    "a seed where only the module is heard": ([*answer("6701" + (KEY * 2).hex())], KEY),
}  # fmt: skip


def everything(copy: Path) -> Iterator[bytes]:
    """The bytes of each id in order, with and without what stands in front, and the messages."""
    streams: dict[int, list[bytes]] = {}
    for frame in read_capture(copy).frames():
        streams.setdefault(frame.can_id, []).append(frame.data)
    for frames in streams.values():
        yield from (b"".join(data[head:] for data in frames) for head in range(4))
    yield from (message.data for message in rebuild(read_capture(copy)))


def written(folder: Path, frames: list[str], name: str = "one.log", before: bytes = b"") -> Path:
    lines = (f"(1795554000.{100000 + 1000 * at}) can0 {frame}" for at, frame in enumerate(frames))
    path = folder / name
    path.write_bytes(before + "\n".join(lines).encode() + b"\n")
    return path


@pytest.mark.parametrize("case", CASES)
def test_it_is_in_the_capture_and_not_in_the_copy(case: str, tmp_path: Path) -> None:
    frames, secret = CASES[case]
    original = written(tmp_path, frames)
    assert any(secret in one for one in everything(original))
    copy = tmp_path / "copy.log"
    copy.write_bytes(redact(original).capture)
    assert not any(secret in one for one in everything(copy))


@pytest.mark.parametrize("drawn", [b"\x00", b"\x00\xff\x12", b"\x12\x34\x00"])
@pytest.mark.parametrize("case", [case for case in CASES if "number" in case])
def test_nor_where_the_draw_begins_or_ends_like_fill_bytes(
    case: str, drawn: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def draw(_: Replacements, value: bytes, count: int) -> bytes:
        return (bytes([*drawn[:-1], (drawn[-1] + count) % 256]) * len(value))[: len(value)]

    monkeypatch.setattr(Replacements, "_drawn", draw)
    test_it_is_in_the_capture_and_not_in_the_copy(case, tmp_path)


def test_usual_fill_bytes_stay(tmp_path: Path) -> None:
    frames = [*TOO_EARLY, *(f"7E0#023E00{fill * 5}" for fill in ("00", "55", "AA", "FF"))]
    original = written(tmp_path, frames)
    assert redact(original).capture == original.read_bytes()


@pytest.mark.parametrize("note", [VIN.lower(), f"vehicle: {VIN.lower()}.", f"{VIN[:3]}-{VIN[3:8]}-{VIN[8:]}"])
def test_a_vin_that_stands_in_a_comment_alone_is_replaced(note: str, tmp_path: Path) -> None:
    original = written(tmp_path, [*TOO_EARLY], before=f"# {note}\n".encode())
    told = redact(original).capture.splitlines()[0]
    assert len(told) == len(note) + 2
    assert note.encode() not in told and VIN[-6:].encode() not in told


@pytest.mark.parametrize("called", [VIN, VIN.lower(), "E0V-LK3P06-SM018931", "van 018931", "SM018931"])
@pytest.mark.parametrize("frames", [READ_VIN, TOO_EARLY], ids=["read", "not read"])
def test_the_name_of_a_copy_holds_no_vin(frames: list[str], called: str, tmp_path: Path) -> None:
    if frames is TOO_EARLY and len(called) < len(VIN):
        return  # nothing says that it is a vehicle's
    name = redact(written(tmp_path, frames, f"{called}.log")).names[0]
    assert name.endswith(".log") and len(name) == len(called) + 4
    assert "018931" not in name


def table(frames: list[str]) -> bytes:
    """A table with a column of words and one of signs beside the bytes."""
    rows = [b"timestamp,arbitration_id,extended,remote,error,dlc,data,text,remark\n"]
    for at, frame in enumerate(frames):
        data = bytes.fromhex(frame[4:])
        signs = "".join(chr(one) if chr(one).isalnum() and one < 0x80 else "." for one in data)
        rows.append(f"{at}.5,0x{frame[:3]},0,0,0,{len(data)},{data.hex()},{signs},vin={VIN}\n".encode())
    return b"".join(rows)


def test_what_a_table_says_beside_the_bytes_is_replaced(tmp_path: Path) -> None:
    original = tmp_path / "one.csv"
    original.write_bytes(table([*READ_VIN, *serial(b"SX174K2Z"), *other(b"hello")]))
    copy = redact(original).capture
    assert copy.count(b",") == original.read_bytes().count(b",")
    for secret in (VIN.encode(), b"LK3P06S", b"018931", b"SX1", b"74K2Z"):
        assert secret not in copy
    assert b"hel" in copy


def test_notes_in_a_sheet_and_in_names_are_replaced(tmp_path: Path) -> None:
    note = f"# the van {VIN.lower()}, called 018931, with unit SX174K2Z\n"
    sheet, names = tmp_path / "sheet.toml", tmp_path / "names.toml"
    sheet.write_text(f'{note}[vehicle]\nvin = "{VIN}"\n')
    names.write_text(f'{note}[[module]]\nlabel = "018931"\nlink = "7E0:7E8"\n')
    made = redact(written(tmp_path, [*READ_VIN, *serial(b"SX174K2Z")]), sheet, [names])
    for text in (made.sheet, *made.names_files, made.list_csv().decode()):
        assert text is not None and "018931" not in text and VIN.lower() not in text and "SX174K2Z" not in text


def test_equal_values_get_equal_ones_in_one_run_and_others_in_the_next(tmp_path: Path) -> None:
    original = written(tmp_path, [*READ_VIN, *serial(b"SX174K2Z"), *other(b"SX174K2Z"), *serial(b"SX174K2Y")])
    runs = []
    for _ in range(2):
        copy = tmp_path / "copy.log"
        copy.write_bytes(redact(original).capture)
        told = [one.data[3:] for one in rebuild(read_capture(copy)) if one.data[:1] == b"\x62"]
        assert told[1] == told[2] != told[3]
        runs.append(told)
    assert all(one != other for one, other in zip(*runs, strict=True))
