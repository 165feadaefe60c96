"""MF4 bus logs are copied in place, however their data are packed.

Read back with python-can 4.6.1 and asammdf 8.8.28.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import can
import pytest

from analysis import analyse
from analysis.redact.mf4_blocks import HEADER_AT, Mf4File
from analysis.redact.redact import redact
from canlog.errors import CanlogError
from canlog.read import read_capture, rebuild

pytest.importorskip("asammdf")

FIXTURE = Path(__file__).parents[3] / "fixtures" / "formats" / "clean" / "session.mf4"
START = 1_700_000_000
#: Equal bytes pack well; what stands in their place does not.
BLOCK = b"\x36\x01" + b"\x5a\xa5\x5a" * 500
VIN = b"E0VLK3P06SM018931"


def frames_of(can_id: int, data: bytes) -> Iterator[tuple[int, bytes]]:
    """ISO 15765-2, with the flow control that a receiver sends."""
    if len(data) < 8:
        yield can_id, bytes([len(data)]) + data
        return
    yield can_id, (0x1000 | len(data)).to_bytes(2, "big") + data[:6]
    yield can_id ^ 8, bytes.fromhex("300000")
    for number, at in enumerate(range(6, len(data), 7), start=1):
        yield can_id, bytes([0x20 | number & 15]) + data[at : at + 7]


def session() -> list[tuple[int, bytes]]:
    talk = (
        (0x7E0, b"\x22\xf1\x90"), (0x7E8, b"\x62\xf1\x90" + VIN), (0x7E0, b"\x34\x00\x22\x00\x00\x05\xdc"),
        (0x7E8, b"\x74\x20\x05\xde"), (0x7E0, BLOCK), (0x7E8, b"\x76\x01"), (0x7E0, b"\x37"), (0x7E8, b"\x77"),
    )  # fmt: skip
    return [frame for can_id, data in talk for frame in frames_of(can_id, data)]


def written(path: Path, compression: int) -> Path:
    with can.MF4Writer(path, compression_level=compression) as writer:
        for at, (can_id, data) in enumerate(session()):
            writer.on_message_received(
                can.Message(timestamp=START + at / 1000, arbitration_id=can_id, data=data, is_extended_id=False)
            )
    return path


def by_library(path: Path) -> list[tuple[float, int, bytes]]:
    with can.io.MF4Reader(path) as reader:
        return [(one.timestamp, one.arbitration_id, bytes(one.data)) for one in reader]


def check(original: Path, copy: Path, content: bytes) -> None:
    copy.write_bytes(content)
    one, other = by_library(original), by_library(copy)
    assert [(each[0], each[1], len(each[2])) for each in one] == [(each[0], each[1], len(each[2])) for each in other]
    told = [message.data for message in rebuild(read_capture(copy))]
    assert [data[0] for data in told] == [message.data[0] for message in rebuild(read_capture(original))]
    assert BLOCK not in told
    assert not any(VIN in data for data in told)
    assert VIN not in content
    plain = content + everything(content)
    assert b"\x5a\xa5\x5a\x5a\xa5\x5a" not in plain
    assert VIN[:6] not in plain


def everything(content: bytes) -> bytes:
    """All data of a file, unpacked."""
    file = Mf4File(bytearray(content))
    return b"".join(file.data(group.link_at(2)) for group in file.chain(file.block(HEADER_AT).links[0]))


@pytest.mark.parametrize("compression", [0, 1, 2])
def test_a_bus_log_is_copied_however_it_is_packed(compression: int, tmp_path: Path) -> None:
    original = written(tmp_path / "one.mf4", compression)
    check(original, tmp_path / "copy.mf4", redact(original).capture)


def test_a_block_that_packs_less_well_stands_at_the_end_of_the_file(tmp_path: Path) -> None:
    original = written(tmp_path / "one.mf4", 2)
    assert len(redact(original).capture) > len(original.read_bytes())


def test_the_copy_of_a_whole_session_says_the_same(tmp_path: Path) -> None:
    copy = tmp_path / "copy.mf4"
    copy.write_bytes(redact(FIXTURE).capture)
    one, other = (analyse(path).to_dict() for path in (FIXTURE, copy))
    assert one["verdict"]["overall"] == other["verdict"]["overall"]
    assert [each["id"] for each in one["findings"]] == [each["id"] for each in other["findings"]]
    assert one["captures"][0]["frames"] == other["captures"][0]["frames"]


def with_bytes_apart(path: Path) -> bytes:
    """The same log with its bytes in a block of their own: the record holds where, and each has its length in front.

    Channel of kind 1 and block SD, ASAM MDF 4.1 (M).
    """
    file = Mf4File(bytearray(path.read_bytes()))
    group = file.block(file.block(HEADER_AT).links[0])
    records = file.block(group.links[1])
    content = file.channels(records.links[1])["CAN_DataFrame.DataBytes"]
    size = struct.unpack_from("<I", file.raw, records.start + 24)[0]
    data, apart = bytearray(file.data(group.link_at(2))), b""
    for at in range(0, len(data), size):
        length = data[at + content.byte - 1]
        held = bytes(data[at + content.byte : at + content.byte + length])
        data[at + content.byte : at + size] = bytes(size - content.byte)
        data[at + content.byte : at + content.byte + 8] = len(apart).to_bytes(8, "little")
        apart += length.to_bytes(4, "little") + held
    file.put(group.link_at(2), bytes(data))
    block = content.data_at - 24 - 5 * 8
    start = file.block(block).start
    file.raw[start] = 1
    struct.pack_into("<I", file.raw, start + 8, 64)
    file.raw += bytes(-len(file.raw) % 8)
    file.raw[content.data_at : content.data_at + 8] = len(file.raw).to_bytes(8, "little")
    file.raw += struct.pack("<4s4xQQ", b"##SD", 24 + len(apart), 0) + apart
    return bytes(file.raw)


def test_bytes_of_any_length_in_a_block_of_their_own_are_replaced(tmp_path: Path) -> None:
    original = tmp_path / "apart.mf4"
    original.write_bytes(with_bytes_apart(written(tmp_path / "one.mf4", 0)))
    assert by_library(original) == by_library(tmp_path / "one.mf4")
    check(original, tmp_path / "copy.mf4", redact(original).capture)


def test_an_unended_file_and_one_with_a_file_in_it_are_refused_with_a_way_out(tmp_path: Path) -> None:
    content = written(tmp_path / "one.mf4", 0).read_bytes()
    with_file = bytearray(content)
    with_file[HEADER_AT + 24 + 3 * 8] = HEADER_AT
    for changed in (b"UnFinMF " + content[8:], bytes(with_file)):
        original = tmp_path / "other.mf4"
        original.write_bytes(changed)
        with pytest.raises(CanlogError) as caught:
            redact(original)
        assert caught.value.hint
