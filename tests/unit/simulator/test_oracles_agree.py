"""The messages of the simulator, read by others: can-isotp 2.0.7 and udsoncan 1.26.1."""

from __future__ import annotations

from functools import lru_cache

import isotp
import pytest
from reassembled import frames_of, messages_of
from simulator.sessions import play
from udsoncan import AsciiCodec, Response, services


@lru_cache
def _played(name: str):
    scene = play(name)
    return scene, scene.lines()


def _ids(name: str) -> list[tuple[str, str, str]]:
    """Label, request id, response id of each module."""
    scene, _ = _played(name)
    return [(label, *module.link.split(":")) for label, module in scene.modules.items()]


@pytest.mark.parametrize(
    "name", ["uds11-all-good", "uds11-second-attempt-good", "coach-before-removal", "van-wrong-calibration"]
)
def test_can_isotp_reassembles_every_message_to_what_was_sent(name: str) -> None:
    scene, lines = _played(name)
    for label, request, response in _ids(name):
        assert messages_of(lines, request) == scene.tester.endpoint(label).sent_messages, label
        assert messages_of(lines, response) == scene.modules[label].endpoint.sent_messages, label


def test_can_isotp_cuts_messages_into_the_same_frames() -> None:
    scene, lines = _played("uds11-all-good")
    ours = [data for data in frames_of(lines, "7E0") if data[0] >> 4 != 3]
    theirs: list[bytes] = []
    for payload in scene.tester.endpoint("PCU").sent_messages:
        theirs += _cut_by_can_isotp(payload)
    assert ours == theirs


def _cut_by_can_isotp(payload: bytes) -> list[bytes]:
    frames: list[bytes] = []
    permission = [isotp.CanMessage(arbitration_id=0x7E8, data=bytes.fromhex("300000CCCCCCCCCC"))]
    layer = isotp.TransportLayerLogic(
        rxfn=lambda _: permission.pop() if frames and permission else None,
        txfn=lambda message: frames.append(bytes(message.data)),
        address=isotp.Address(isotp.AddressingMode.Normal_11bits, rxid=0x7E8, txid=0x7E0),
        params={"tx_padding": 0xCC, "tx_data_min_length": 8},
    )
    layer.send(payload)
    while layer.transmitting():
        layer.process(rx_timeout=0)
    return frames


@pytest.mark.parametrize("name", ["uds11-all-good", "coach-all-good"])
def test_udsoncan_reads_every_answer(name: str) -> None:
    _, lines = _played(name)
    read = 0
    for _, _, response_id in _ids(name):
        for payload in messages_of(lines, response_id):
            response = Response.from_payload(payload)
            assert response.valid
            if response.positive:
                read += _interpret(payload, response)
            else:
                assert response.code == 0x78
    assert read > 50


def _interpret(payload: bytes, response: Response) -> int:
    """1 when udsoncan understood the answer and found in it what stands there."""
    if payload[0] == 0x50:
        data = services.DiagnosticSessionControl.interpret_response(response).service_data
        assert (data.p2_server_max, data.p2_star_server_max) == (0.05, 5.0)
    elif payload[0] == 0x62:
        codec = (
            {"default": AsciiCodec(len(payload) - 3)} if payload[3:].isascii() else {"default": f"{len(payload) - 3}s"}
        )
        identifier = int.from_bytes(payload[1:3], "big")
        data = services.ReadDataByIdentifier.interpret_response(response, [identifier], codec).service_data
        assert list(data.values) == [identifier]
    elif payload[0] == 0x59:
        data = services.ReadDTCInformation.interpret_response(response, 2).service_data
        assert (data.dtc_count, data.status_availability.get_byte_as_int()) == (0, 0xFF)
    elif payload[0] == 0x71:
        data = services.RoutineControl.interpret_response(response).service_data
        assert data.routine_id_echo == int.from_bytes(payload[2:4], "big")
    elif payload[0] == 0x74:
        data = services.RequestDownload.interpret_response(response).service_data
        assert data.max_length == int.from_bytes(payload[2:4], "big")
    elif payload[0] == 0x76:
        data = services.TransferData.interpret_response(response).service_data
        assert data.sequence_number_echo == payload[1]
    elif payload[0] == 0x67:
        mode = services.SecurityAccess.Mode.RequestSeed if payload[1] & 1 else services.SecurityAccess.Mode.SendKey
        data = services.SecurityAccess.interpret_response(response, mode).service_data
        assert data.security_level_echo == payload[1]
    elif payload[0] == 0x6E:
        data = services.WriteDataByIdentifier.interpret_response(response).service_data
        assert data.did_echo == int.from_bytes(payload[1:3], "big")
    elif payload[0] == 0x51:
        assert services.ECUReset.interpret_response(response).service_data.reset_type_echo == payload[1]
    else:
        assert payload in (b"\x54", b"\x77", b"\x7e\x00")
    return 1
