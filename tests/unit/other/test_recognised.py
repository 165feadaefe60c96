"""Protocols that are named: what makes them sure, and what looks like them and is not.

Forms of ids and contents: SAE J1939-21, -71, -73 (M); CiA 301, 7.2 and 7.3 (M); ASAM XCP and CCP as scapy 2.8.0
builds them (GPL-2.0, layers of its own, no code shared with ours).
"""

from __future__ import annotations

import json
import warnings
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.background import SAMPLE_FRAMES, BackgroundBuilder, BackgroundTable, parameter_group
from canlog.frames import Frame, FrameFlag, table_of
from canlog.other.calibration import CCP_COMMANDS
from canlog.other.find import find_other_traffic
from canlog.other.j1939 import spn_and_fmi
from canlog.other.traffic import OtherTraffic
from canlog.read import read_capture
from canlog.survey import survey

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    from scapy.contrib.automotive import ccp
    from scapy.contrib.automotive.xcp.cto_commands_master import Connect, GetStatus
    from scapy.contrib.automotive.xcp.cto_commands_slave import ConnectPositiveResponse
    from scapy.contrib.automotive.xcp.xcp import CTORequest, CTOResponse

FIXTURES = Path(__file__).parents[3] / "fixtures"
MS = 1_000_000
Row = tuple[float, int, bytes]  # ms, id, data


def heard(*rows: Row, tables: int = 1) -> BackgroundTable:
    """The background of a few frames, in order of time; ids above 7FF have 29 bits."""
    frames = [
        Frame(
            round(at * MS), "can0", can_id, FrameFlag.EXTENDED if can_id > 0x7FF else FrameFlag(0), len(data), data,
            line, line * 40,
        )
        for line, (at, can_id, data) in enumerate(sorted(rows), 1)
    ]  # fmt: skip
    builder = BackgroundBuilder()
    size = -(-len(frames) // tables)
    for begin in range(0, len(frames), max(size, 1)):
        builder.feed(table_of(frames[begin : begin + size]))
    return builder.finish()


def named(*rows: Row) -> list[OtherTraffic]:
    return find_other_traffic(heard(*rows))


def every(ms: int, can_id: int, data: bytes, until: int = 5000) -> list[Row]:
    return [(at, can_id, data) for at in range(0, until, ms)]


# -- what is shipped


@pytest.mark.parametrize("path", sorted(FIXTURES.glob("*/capture.*")), ids=lambda path: path.parent.name)
def test_a_shipped_capture_holds_what_its_truth_says(path: Path) -> None:
    truth = json.loads((path.parent / "truth.json").read_text(encoding="utf-8"))
    found = find_other_traffic(survey(read_capture(path)).background)
    assert [(item.protocol, item.is_sure) for item in found] == [
        (truth[key], True) for key in truth if key == "protocol"
    ]


@pytest.mark.parametrize(
    "path", [path for path in sorted((FIXTURES / "real").iterdir()) if path.suffix in (".asc", ".csv")],
    ids=lambda path: path.name,
)  # fmt: skip
def test_nothing_is_named_in_a_real_capture_of_a_car(path: Path) -> None:
    assert find_other_traffic(survey(read_capture(path)).background) == []


# -- J1939

ENGINE = [*every(20, 0x0CF00400, bytes(8)), *every(50, 0x0CF00300, bytes(8)), *every(100, 0x18FEF100, bytes(8))]


def facts(*rows: Row) -> list[str]:
    (found,) = named(*ENGINE, *rows)
    assert found.protocol == "J1939"
    return [fact.text for fact in found.facts]


def long(at: float, group: int, data: bytes, *, to: int = 0xFF, source: int = 0x21) -> list[Row]:
    """A content in several frames: BAM to all, RTS to one address."""
    count = -(-len(data) // 7)
    head = bytes([0x20 if to == 0xFF else 0x10, *len(data).to_bytes(2, "little"), count, 0xFF])
    parts = [bytes([n + 1]) + data[7 * n : 7 * n + 7].ljust(7, b"\xff") for n in range(count)]
    return [
        (at, 0x1CEC0000 | to << 8 | source, head + group.to_bytes(3, "little")),
        *((at + 60 * (n + 1), 0x1CEB0000 | to << 8 | source, part) for n, part in enumerate(parts)),
    ]


def test_three_groups_in_their_usual_form_are_j1939() -> None:
    (found,) = named(*ENGINE)
    assert (found.protocol, found.channel) == ("J1939", "can0")
    assert all(sign.seen.lines for sign in found.signs)


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param([(at, can_id | 7 << 26, data) for at, can_id, data in ENGINE], id="another priority"),
        pytest.param([(at, can_id, data[:7]) for at, can_id, data in ENGINE], id="7 bytes"),
        pytest.param([(at, can_id & 0x7FF, data) for at, can_id, data in ENGINE], id="11-bit ids"),
        pytest.param(ENGINE[:250], id="one group"),
        pytest.param([(at, can_id ^ 0x00001000, data) for at, can_id, data in ENGINE], id="other groups"),
    ],
)
def test_what_looks_like_j1939_alone_is_not_named(rows: list[Row]) -> None:
    assert named(*rows) == []


VIN = b"E0KRC7HT5TD004217"


@pytest.mark.parametrize("to", [0xFF, 0xF9])
def test_the_vin_comes_out_of_the_transport(to: int) -> None:
    rows = long(1000, 0xFEEC, VIN + b"*", to=to)
    assert facts(*rows) == ["VIN E0KRC7HT5TD004217 from address 21"]


def test_a_vin_with_a_lost_frame_is_not_told() -> None:
    rows = long(1000, 0xFEEC, VIN + b"*")
    for gone in range(len(rows)):
        assert facts(*rows[:gone], *rows[gone + 1 :]) == []


def test_a_frame_sent_again_on_request_counts_once() -> None:
    rows = long(1000, 0xFEEC, VIN + b"*", to=0xF9)
    again = (rows[1][0] + 5, *rows[1][1:])
    assert facts(*rows, again) == ["VIN E0KRC7HT5TD004217 from address 21"]


def test_two_senders_do_not_mix() -> None:
    other = long(1030, 0xFEEC, VIN[::-1] + b"*", source=0x33)
    assert len(facts(*long(1000, 0xFEEC, VIN + b"*"), *other)) == 2


def test_active_faults_are_told_once_each_whether_short_or_long() -> None:
    short = every(1000, 0x18FECA21, bytes.fromhex("44FF BE 00 09 03 FFFF"))
    assert facts(*short) == ["active fault SPN 190 FMI 9 of address 21, 3 times"]
    two = long(300, 0xFECA, bytes.fromhex("44FF BE000903 67128301"))
    assert [text.split(" of ")[0] for text in facts(*two)] == [
        "active fault SPN 190 FMI 9", "active fault SPN 266855 FMI 3",
    ]  # fmt: skip


@pytest.mark.parametrize("none", ["00FF00000000FFFF", "00FFFFFFFFFFFFFF"])
def test_no_active_fault_is_no_fact(none: str) -> None:
    assert facts(*every(1000, 0x18FECA21, bytes.fromhex(none))) == []


@given(spn=st.integers(0, (1 << 19) - 1), fmi=st.integers(0, 31), count=st.integers(0, 127))
def test_a_fault_is_packed_as_the_standard_says(spn: int, fmi: int, count: int) -> None:
    """19 bits of number, its highest 3 above the 5 bits of the failure mode (SAE J1939-73, 5.7.1 (M))."""
    packed = bytes([spn & 0xFF, spn >> 8 & 0xFF, spn >> 16 << 5 | fmi, count])
    assert spn_and_fmi(packed) == (spn, fmi)


@pytest.mark.parametrize(
    ("can_id", "group"), [(0x0CF00400, 0xF004), (0x18FECA21, 0xFECA), (0x18DA2AF1, 0xDA00), (0x1CEBFF00, 0xEB00)]
)
def test_the_destination_is_no_part_of_a_group_below_f0(can_id: int, group: int) -> None:
    assert parameter_group(can_id) == group


# -- CANopen

BEATS = [(100.0, 0x703, b"\x00"), *((at, 0x703, b"\x05") for at in range(500, 5000, 500))]
SDO = [(1000.0, 0x603, bytes.fromhex("4018100100000000")), (1002.0, 0x583, bytes.fromhex("4318100142000000"))]
SYNCS = every(20, 0x080, b"", 500)


def test_a_heartbeat_with_a_value_read_is_canopen() -> None:
    (found,) = named(*BEATS, *SDO)
    assert found.protocol == "CANopen"
    assert not found.is_sure
    (sure,) = named(*BEATS, *SDO, *SYNCS)
    assert sure.is_sure


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(BEATS, id="a heartbeat alone"),
        pytest.param([*BEATS, *SYNCS], id="a heartbeat and SYNC"),
        pytest.param([*SDO, *SYNCS[:2]], id="an SDO alone"),
        pytest.param([*BEATS, SDO[0], (1002, 0x583, bytes.fromhex("4319100142000000"))], id="another index"),
        pytest.param([*BEATS, SDO[0], (990, 0x583, SDO[1][2])], id="answer in front of the request"),
        pytest.param([*[(at, i, b"\x06") for at, i, _ in BEATS], *SDO], id="a state that there is not"),
        pytest.param([*[(at, i, d + b"\x00") for at, i, d in BEATS], *SDO], id="heartbeats of 2 bytes"),
        pytest.param([*BEATS, (1, 0x600, SDO[0][2]), (2, 0x580, SDO[1][2])], id="node 0"),
    ],
)
def test_what_looks_like_canopen_alone_is_not_named(rows: list[Row]) -> None:
    assert named(*rows) == []


# -- XCP and CCP, built by scapy


def xcp_opening(**changed: int) -> list[Row]:
    fields = {"resource": 0x05, "comm_mode_basic": 0x80, "max_cto": 8, "max_dto_le": 8, **changed}
    return [
        (10, 0x554, bytes(CTORequest() / Connect())),
        (12, 0x555, bytes(CTOResponse() / ConnectPositiveResponse(**fields))),
        (20, 0x554, bytes(CTORequest() / GetStatus())),
        (22, 0x555, bytes.fromhex("FF0000000000")),
    ]


def test_a_session_that_opens_as_scapy_builds_it_is_xcp() -> None:
    (found,) = named(*xcp_opening())
    assert found.protocol == "XCP"
    assert found.signs[0].seen.lines == (1, 2)
    (motorola,) = named(*xcp_opening(comm_mode_basic=0x81, max_dto=64))
    assert motorola.protocol == "XCP"


@pytest.mark.parametrize(
    "changed",
    [
        {"xcp_protocol_layer_version_number_msb": 9}, {"xcp_transport_layer_version_number_msb": 0}, {"max_cto": 0},
        {"max_dto_le": 4}, {"resource": 0xC2},
    ],
)  # fmt: skip
def test_an_answer_whose_fields_make_no_sense_is_not_xcp(changed: dict[str, int]) -> None:
    assert named(*xcp_opening(**changed)) == []


def test_a_connect_alone_is_not_xcp() -> None:
    assert named(*xcp_opening()[:2]) == []
    assert named(*xcp_opening()[2:]) == []


CCP_TALK = (
    (ccp.CONNECT(station_address=0x0200), b""),
    (ccp.GET_CCP_VERSION(main_protocol_version=2, release_version=1), b"\x02\x01"),
    (ccp.EXCHANGE_ID(), b"\x04"),
)


def ccp_rows(first: int = 0) -> list[Row]:
    rows: list[Row] = []
    for number, (command, said) in enumerate(CCP_TALK):
        asked = bytes(ccp.CRO(ctr=first + number) / command).ljust(8, b"\x00")[:8]
        answered = bytes([0xFF, 0x00, first + number, *said]).ljust(8, b"\x00")
        rows += [(10.0 * number, 0x6A0, asked), (10.0 * number + 2, 0x6A1, answered)]
    return rows


def test_commands_whose_counter_comes_back_are_ccp() -> None:
    (found,) = named(*ccp_rows())
    assert found.protocol == "CCP"
    assert "counter 00" in found.signs[0].seen.text


@pytest.mark.parametrize(
    "rows",
    [
        pytest.param(ccp_rows()[:2], id="one command"),
        pytest.param(ccp_rows()[2:], id="begun inside"),
        pytest.param([(at, i, d[:2] + b"\x77" + d[3:] if i == 0x6A1 else d) for at, i, d in ccp_rows()], id="counter"),
        pytest.param([(at, i, d[:7]) for at, i, d in ccp_rows()], id="7 bytes"),
        pytest.param([(at * 1000, i, d) for at, i, d in ccp_rows()], id="answers too late"),
    ],
)
def test_what_looks_like_ccp_alone_is_not_named(rows: list[Row]) -> None:
    assert named(*rows) == []


def test_every_command_of_scapy_is_a_command_of_ccp() -> None:
    theirs = {fields["cmd"] for fields, _ in ccp.CRO.payload_guess if "cmd" in fields}
    assert len(theirs) > 20
    assert theirs <= CCP_COMMANDS


# -- anything at all


@given(
    rows=st.lists(
        st.tuples(
            st.floats(0, 500),
            st.sampled_from([0x000, 0x080, 0x583, 0x603, 0x703, 0x705, 0x7E0, 0x7E8, 0x18FEF100, 0x18DA2AF1]),
            st.binary(max_size=8),
        ),
        max_size=60,
    )
)
def test_any_frames_give_an_answer_and_each_sign_has_lines(rows: list[Row]) -> None:
    for found in named(*rows):
        assert all(sign.seen.lines for sign in found.signs)
        assert found.score >= 6


@pytest.mark.parametrize("tables", [1, 3, 20])
@pytest.mark.parametrize("n_frames", [1, 5, SAMPLE_FRAMES, 21, 100])
def test_the_first_frames_of_an_id_are_kept_however_the_capture_is_cut(tables: int, n_frames: int) -> None:
    rows = [(float(at), 0x123, bytes([at])) for at in range(n_frames)]
    first = heard(*rows, tables=tables).first_frames("can0", 0x123, extended=False)
    assert [frame.data for frame in first] == [data for _, _, data in rows[:SAMPLE_FRAMES]]
    assert heard(*rows).first_frames("can0", 0x124, extended=False) == ()
