"""Messages of a capture as can-isotp puts them together, for the tests of this folder."""

from __future__ import annotations

import isotp


def frames_of(lines: list[str], can_id: str) -> list[bytes]:
    """Data of every frame with this id."""
    parts = (line.split()[2].split("#") for line in lines)
    return [bytes.fromhex(data) for ident, data in parts if ident == can_id]


def messages_of(lines: list[str], can_id: str) -> list[bytes]:
    """Payloads on one id, by can-isotp; flow control frames are given to nobody."""
    waiting = [data for data in frames_of(lines, can_id) if data[0] >> 4 != 3]
    bits = isotp.AddressingMode.Normal_29bits if len(can_id) == 8 else isotp.AddressingMode.Normal_11bits
    address = isotp.Address(bits, rxid=int(can_id, 16), txid=1)
    errors: list[Exception] = []

    def receive(_timeout: float) -> isotp.CanMessage | None:
        if not waiting:
            return None
        return isotp.CanMessage(arbitration_id=int(can_id, 16), extended_id=len(can_id) == 8, data=waiting.pop(0))

    layer = isotp.TransportLayerLogic(
        rxfn=receive, txfn=lambda _: None, address=address, error_handler=errors.append,
        params={"listen_mode": True},
    )  # fmt: skip
    out = []
    while waiting:
        layer.process(rx_timeout=0)
        while layer.available():
            out.append(bytes(layer.recv()))
    assert not errors, errors
    return out
