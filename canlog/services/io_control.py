"""Driving an output for a while: service 2F. Its effect ends with the session; nothing is stored by it.

The control parameter is no sub-function: bit 7 does not suppress the answer. How many bytes of state and
mask belong to an identifier is not on the wire.

Source: ISO 14229-1:2020, 13.2 (M); layout agrees with udsoncan 1.26.1 and scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import RESERVED, RangeTable, singles
from canlog.services.data import identifier
from canlog.services.layout import Layout, named, request, response, rest, u8

#: Total over 00-FF.
IO_CONTROLS: Final = RangeTable(
    0xFF,
    [
        *singles(
            {
                0x00: "returnControlToECU",
                0x01: "resetToDefault",
                0x02: "freezeCurrentState",
                0x03: "shortTermAdjustment",
            }
        ),
        (0x04, 0xFF, RESERVED),
    ],
)

_parameter = u8("input_output_control_parameter", says=named(IO_CONTROLS.name))

LAYOUTS: Final = {
    request(0x2F): Layout(identifier, _parameter, rest("control_state_record")),
    response(0x2F): Layout(identifier, _parameter, rest("control_state_record")),
}
