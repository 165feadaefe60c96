"""Every example frame of the vectors, and the sessions and arithmetic that go with them."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from canlog.frames import Frame, FrameFlag, table_of
from canlog.isotp.addressing import Addressing, addressing_of, parse_link
from canlog.isotp.links import LinkFinder, hint_of, is_group_id
from canlog.isotp.pci import ConsecutiveFrame, FirstFrame, FlowControl, Pci, SingleFrame, decode_frame
from canlog.isotp.reassembly import Reassembler
from canlog.isotp.sightings import Station

VECTORS = Path(__file__).parent.parent / "vectors" / "isotp_examples.csv"
ROWS = list(csv.DictReader(line for line in VECTORS.read_text("utf-8").splitlines() if not line.startswith("#")))
KINDS = {
    "single": Pci.SINGLE, "first": Pci.FIRST, "consecutive": Pci.CONSECUTIVE, "flow": Pci.CONTINUE, "wait": Pci.WAIT,
    "overflow": Pci.OVERFLOW, "reserved": Pci.RESERVED_STATUS, "invalid": Pci.INVALID,
}  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_the_example_means_what_its_source_says(row: dict[str, str]) -> None:
    pdu = decode_frame(bytes.fromhex(row["bytes"]), has_address=row["address"] == "address")
    assert pdu.pci is KINDS[row["kind"]]
    meaning = ""
    if isinstance(pdu, SingleFrame):
        meaning = pdu.data.hex().upper()
    elif isinstance(pdu, FirstFrame):
        meaning = f"{pdu.length} {pdu.data.hex().upper()} {pdu.deviation}".strip()
    elif isinstance(pdu, ConsecutiveFrame):
        meaning = f"{pdu.sequence_number} {pdu.data.hex().upper()}"
    elif isinstance(pdu, FlowControl) and pdu.pci is Pci.CONTINUE:
        meaning = f"{pdu.status} {pdu.block_size} {pdu.separation_ns}"
    assert meaning == row["meaning"]


def frames_of(*rows: str) -> list[Frame]:
    frames = []
    for line, row in enumerate(rows, start=1):
        name, _, text = row.partition(" ")
        data = bytes.fromhex(text)
        flags = FrameFlag.EXTENDED if len(name) == 8 else FrameFlag(0)
        frames.append(Frame(line * 1_000_000, "can0", int(name, 16), flags, len(data), data, line, 0))
    return frames


def test_a_vin_request_to_the_group_and_to_the_module_are_rebuilt() -> None:
    """The VIN is made up; both sessions are read so by scapy 2.8.0 and can-isotp 2.0.7."""
    long_answer = ["7E8 2147444D3941584B", "7E8 2250303432373838"]
    obd = ["7DF 020902", "7E8 1014490201314D38", "7E0 300000", *long_answer]
    uds = ["7E0 0322F190", "7E8 101462F190314D38", "7E0 300000", *long_answer]
    table = table_of(frames_of(*obd, *uds))
    finder = LinkFinder()
    finder.feed(table)
    links = finder.links()
    assert [link.key for link in links] == ["can0:7E0>7E8", "can0:7DF>"]
    vin = b"1M8GDM9AXKP042788"
    assert [message.data for message in Reassembler(links).feed(table)] == [
        bytes.fromhex("0902"), bytes.fromhex("490201") + vin, bytes.fromhex("22F190"), bytes.fromhex("62F190") + vin,
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("length", "head", "in_first", "last_number", "in_last"), [(4095, "1FFF", 6, 9, 1), (4096, "100000001000", 2, 9, 6)]
)
def test_the_largest_short_and_the_smallest_long_message_take_585_frames(
    length: int, head: str, in_first: int, last_number: int, in_last: int
) -> None:
    """Computed: (length - bytes of the first frame) / 7, rounded up."""
    body = bytes(n % 251 for n in range(length))
    pieces = [body[start : start + 7] for start in range(in_first, length, 7)]
    assert len(pieces) == 585 and len(pieces) % 16 == last_number and len(pieces[-1]) == in_last
    rows = [f"7E8 {head}{body[:in_first].hex()}"]
    rows += [f"7E8 {0x20 | n & 15:02X}{piece.hex()}" for n, piece in enumerate(pieces, start=1)]
    frames = frames_of(*rows)
    reassembler = Reassembler([parse_link("7E0>7E8")])
    assert reassembler.feed(table_of(frames[:-1])) == []
    (message,) = reassembler.feed(table_of([frames[-1]]))
    assert message.complete and message.data == body and message.n_frames == 586


def test_normal_fixed_ids_say_who_and_whether_to_a_group() -> None:
    """can-isotp 2.0.7 (Address, NormalFixed_29bits); the pair 18DA42F1, 18DAF142 is in Linux iso15765-2.rst."""
    assert addressing_of(0x18DA10F1, True) is addressing_of(0x18DB33F1, True) is Addressing.NORMAL_FIXED
    assert addressing_of(0x18CE10F1, True) is addressing_of(0x18CD33F1, True) is Addressing.MIXED
    assert is_group_id(0x18DB33F1, extended=True) and not is_group_id(0x18DA10F1, extended=True)
    for request, response in ((0x18DA10F1, 0x18DAF110), (0x18DA42F1, 0x18DAF142), (0x0CDA10F1, 0x0CDAF110)):
        assert hint_of(Station("", request, True, None), Station("", response, True, None))
    assert not hint_of(Station("", 0x18DA10F1, True, None), Station("", 0x18DAF111, True, None))
