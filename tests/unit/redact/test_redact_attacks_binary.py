"""Places beside the frames of binary forms where somebody who searches a copy would look.

Written with python-can 4.6.1 and by hand: options of pcapng as in draft-ietf-opsawg-pcapng, 3.5 and 4 (M).
"""

from __future__ import annotations

import sqlite3
import struct
from contextlib import closing
from pathlib import Path

import can
import pytest
from redaction.search import unpacked

from analysis.redact.redact import redact
from canlog.errors import CanlogError
from canlog.read import read_capture, rebuild

VIN = "E0VLK3P06SM018931"
FORMATS = Path(__file__).parents[3] / "fixtures" / "formats" / "clean"
WRITTEN = (VIN, VIN.lower(), f"{VIN[:3]}-{VIN[3:8]}-{VIN[8:]}", "no. 018931, blue")
MAC = bytes.fromhex("0A1B2C3D4E5F")
ADDRESS = bytes.fromhex("0A0B0C0D")


def options(order: str, *pairs: tuple[int, bytes]) -> bytes:
    padded = [struct.pack(order + "HH", kind, len(said)) + said + bytes(-len(said) % 4) for kind, said in pairs]
    return b"".join(padded) + bytes(4)


def block(order: str, kind: int, body: bytes) -> bytes:
    size = struct.pack(order + "I", len(body) + 12)
    return struct.pack(order + "I", kind) + size + body + size


def packets(note: str) -> bytes:
    """The pcapng of the fixtures with a section and an interface that say more of themselves."""
    raw = (FORMATS / "session.pcapng").read_bytes()
    order = ">" if raw[8:12] == bytes.fromhex("1A2B3C4D") else "<"
    at = struct.unpack_from(order + "I", raw, 4)[0]
    interface = at
    at += struct.unpack_from(order + "I", raw, at + 4)[0]
    section = block(
        order, 0x0A0D0D0A, struct.pack(order + "IHHq", 0x1A2B3C4D, 1, 0, -1) + options(order, (1, note.encode()))
    )
    said = options(order, (3, note.encode()), (4, ADDRESS * 2), (6, MAC))[:-4]
    return (
        section + block(order, 1, raw[interface + 8 : interface + 16] + said + raw[interface + 16 : at - 4]) + raw[at:]
    )


@pytest.mark.parametrize("note", WRITTEN)
def test_what_a_packet_capture_says_of_itself_is_replaced(note: str, tmp_path: Path) -> None:
    original, copy = tmp_path / "one.pcapng", tmp_path / "copy.pcapng"
    original.write_bytes(packets(note))
    copy.write_bytes(redact(original).capture)
    raw = copy.read_bytes()
    assert len(raw) == len(packets(note))
    for secret in (note.encode(), b"018931", MAC, ADDRESS):
        assert secret in packets(note)
        assert secret not in raw
    assert list(read_capture(copy).frames().channels) == list(read_capture(original).frames().channels)


@pytest.mark.parametrize("code", ["utf-8", "utf-16-le"])
@pytest.mark.parametrize("note", WRITTEN)
def test_a_comment_of_a_blf_file_is_replaced(note: str, code: str, tmp_path: Path) -> None:
    original, copy = tmp_path / "one.blf", tmp_path / "copy.blf"
    with can.LogReader(FORMATS / "session.blf") as reader, can.BLFWriter(original) as writer:
        for number, message in enumerate(reader):
            if number == 5:
                writer.log_event(note.encode(code).decode("latin-1"), message.timestamp)
            writer(message)
    copy.write_bytes(redact(original).capture)
    assert note.encode(code) in unpacked(original.read_bytes())
    assert note.encode(code) not in unpacked(copy.read_bytes())
    assert "018931".encode(code) not in unpacked(copy.read_bytes())


def test_a_comment_of_an_mf4_file_is_replaced(tmp_path: Path) -> None:
    mdf = pytest.importorskip("asammdf")
    original, copy = tmp_path / "one.mf4", tmp_path / "copy.mf4"
    person = '<common_properties><e name="author">Iris Example</e></common_properties>'
    with mdf.MDF(FORMATS / "session.mf4") as file:
        file.header.comment = f"<HDcomment><TX>{VIN.lower()}, no. 018931</TX>{person}</HDcomment>"
        file.save(original, overwrite=True)
    copy.write_bytes(redact(original).capture)
    for secret in (VIN.lower().encode(), b"018931", b"Iris Example"):
        assert secret in original.read_bytes()
        assert secret not in copy.read_bytes()


def test_a_frame_that_holds_a_whole_vin_is_copied_in_an_mf4_file(tmp_path: Path) -> None:
    pytest.importorskip("asammdf")
    original, copy = tmp_path / "one.mf4", tmp_path / "copy.mf4"
    said = (
        (0x7E0, "0322F190"),
        (0x7E8, "0014" + "62F190" + VIN.encode().hex()),
        (0x123, VIN.encode().hex() + "00" * 3),
    )
    with can.MF4Writer(original) as writer:
        for at, (can_id, text) in enumerate(said * 3):
            data = bytes.fromhex(text)
            data += b"\xcc" * (min(size for size in (4, 8, 24, 32) if size >= len(data)) - len(data))
            writer.on_message_received(
                can.Message(timestamp=1_700_000_000 + at / 1000, arbitration_id=can_id, data=data, is_fd=True,
                            is_extended_id=False)
            )  # fmt: skip
    copy.write_bytes(redact(original).capture)
    assert any(message.data[3:] == VIN.encode() for message in rebuild(read_capture(original)))
    assert VIN.encode() not in copy.read_bytes()


def test_a_table_with_a_column_more_is_refused(tmp_path: Path) -> None:
    original = tmp_path / "one.db"
    original.write_bytes((FORMATS / "session.db").read_bytes())
    with closing(sqlite3.connect(original)) as database:
        database.execute("alter table messages add column remark text")
        database.commit()
    with pytest.raises(CanlogError, match="remark"):
        redact(original)
