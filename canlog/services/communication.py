"""Traffic and fault storing: services 28 and 85.

The message type of communicationType stands in bits 1-0 (01 normal, 02 network management, 03 both), the
network in bits 7-4 (0 all, F the one the request came on). Some documents have it the other way round; the
bytes in use (01, 03) decide.

Source: ISO 14229-1:2020, 10.5, 10.8, annex B.1 (M); layout and bits agree with udsoncan 1.26.1.
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, RangeTable, singles
from canlog.services.layout import (
    Layout,
    bits,
    choose,
    request,
    response,
    rest,
    sub_function,
    sub_function_echo,
    u8,
    u16,
)

#: Total over 00-7F.
COMMUNICATION_CONTROLS: Final = RangeTable(
    0x7F,
    [
        *singles(
            {
                0x00: "enableRxAndTx",
                0x01: "enableRxAndDisableTx",
                0x02: "disableRxAndEnableTx",
                0x03: "disableRxAndTx",
                0x04: "enableRxAndDisableTxWithEnhancedAddressInformation",
                0x05: "enableRxAndTxWithEnhancedAddressInformation",
            }
        ),
        (0x06, 0x3F, RESERVED),
        (0x40, 0x5F, MAKER),
        (0x60, 0x7E, SUPPLIER),
        (0x7F, 0x7F, RESERVED),
    ],
)

#: Total over 0-3.
MESSAGE_TYPES: Final = ("reserved", "normal", "network management", "normal and network management")

#: Total over 00-7F.
DTC_SETTINGS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles({0x01: "on", 0x02: "off"}),
        (0x03, 0x3F, RESERVED),
        (0x40, 0x5F, MAKER),
        (0x60, 0x7E, SUPPLIER),
        (0x7F, 0x7F, RESERVED),
    ],
)


def network_text(value: int) -> str:
    """Which networks a communication control is meant for."""
    return "all connected networks" if value == 0 else "this network" if value == 0xF else f"{value:X} only"


_type = u8(
    "communication_type",
    parts=(bits("message_type", 1, 0, MESSAGE_TYPES.__getitem__), bits("subnet", 7, 4, network_text)),
)

LAYOUTS: Final = {
    request(0x28): Layout(
        sub_function(COMMUNICATION_CONTROLS.name),
        _type,
        choose(
            "sub_function",
            {0x04: [u16("node_identification_number")], 0x05: [u16("node_identification_number")]},
        ),
    ),
    response(0x28): Layout(*sub_function_echo(COMMUNICATION_CONTROLS.name)),
    request(0x85): Layout(sub_function(DTC_SETTINGS.name), rest("dtc_setting_control_option_record")),
    response(0x85): Layout(*sub_function_echo(DTC_SETTINGS.name)),
}
