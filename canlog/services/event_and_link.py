"""Answers on events and change of bit rate: services 86 and 87.

After 86 answers come unasked, as ordinary positive responses. After 87 03 (sent with bit 7 set, so without
an answer) a capture at the old rate is blind.

Source: ISO 14229-1:2020, 10.9, 10.10, annex B.3 (M); 87 agrees with udsoncan 1.26.1 and scapy 2.8.0; event
types with the documentation of the package ``uds`` (ed5bfcc). Lengths of eventTypeRecord are from memory.
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, RangeTable, singles
from canlog.services.layout import (
    Layout,
    bits,
    choose,
    decimal,
    flag,
    named,
    octets,
    request,
    response,
    rest,
    sub_function,
    sub_function_echo,
    u8,
    u24,
)

#: Total over 00-3F: bits 5-0 of the sub-function; bit 6 says whether the event logic is stored.
EVENT_TYPES: Final = RangeTable(
    0x3F,
    [
        *singles(
            {
                0x00: "stopResponseOnEvent",
                0x01: "onDTCStatusChange",
                0x02: "onTimerInterrupt (until 2013), reserved",
                0x03: "onChangeOfDataIdentifier",
                0x04: "reportActivatedEvents",
                0x05: "startResponseOnEvent",
                0x06: "clearResponseOnEvent",
                0x07: "onComparisonOfValues",
                0x08: "reportMostRecentDtcOnStatusChange",
                0x09: "reportDTCRecordInformationOnDtcStatusChange",
            }
        ),
        (0x0A, 0x2F, RESERVED),
        (0x30, 0x37, MAKER),
        (0x38, 0x3E, SUPPLIER),
        (0x3F, 0x3F, RESERVED),
    ],
)

#: Total over 00-7F.
LINK_CONTROLS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "verifyModeTransitionWithFixedParameter",
                0x02: "verifyModeTransitionWithSpecificParameter",
                0x03: "transitionMode",
            }
        ),
        (0x04, 0x3F, RESERVED),
        (0x40, 0x5F, MAKER),
        (0x60, 0x7E, SUPPLIER),
        (0x7F, 0x7F, RESERVED),
    ],
)

#: Total over 00-FF.
LINK_MODES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "9600 bit/s",
                0x02: "19200 bit/s",
                0x03: "38400 bit/s",
                0x04: "57600 bit/s",
                0x05: "115200 bit/s",
            }
        ),
        (0x06, 0x0F, RESERVED),
        *singles({0x10: "125000 bit/s", 0x11: "250000 bit/s", 0x12: "500000 bit/s", 0x13: "1000000 bit/s"}),
        (0x14, 0x1F, RESERVED),
        *singles({0x20: "programming setup"}),
        (0x21, 0xFF, RESERVED),
    ],
)


def rate_text(value: int) -> str:
    """``500000 bit/s``."""
    return f"{value} bit/s"


_event = (bits("event_type", 5, 0, EVENT_TYPES.name), flag("store_event", 6))
_what = choose(
    "event_type",
    {
        0x01: [octets("event_type_record", 1)],
        0x02: [octets("event_type_record", 1)],
        0x03: [octets("event_type_record", 2)],
        0x07: [octets("event_type_record", 10)],
        0x08: [octets("event_type_record", 1)],
    },
)


def _event_name(value: int) -> str:
    return EVENT_TYPES.name(value & 0x3F)


LAYOUTS: Final = {
    request(0x86): Layout(
        sub_function(_event_name, *_event),
        u8("event_window_time"),
        _what,
        rest("service_to_respond_to_record"),
    ),
    response(0x86): Layout(
        *sub_function_echo(_event_name, *_event),
        choose(
            "event_type",
            {0x04: [u8("number_of_activated_events", says=decimal), rest("active_event_record")]},
            [
                u8("number_of_identified_events", says=decimal),
                u8("event_window_time"),
                _what,
                rest("service_to_respond_to_record"),
            ],
        ),
    ),
    request(0x87): Layout(
        sub_function(LINK_CONTROLS.name),
        choose(
            "sub_function",
            {
                0x01: [u8("link_control_mode_identifier", says=named(LINK_MODES.name))],
                0x02: [u24("link_record", says=rate_text)],
                0x03: [],
            },
            [rest("link_control_record")],
        ),
    ),
    response(0x87): Layout(*sub_function_echo(LINK_CONTROLS.name)),
}
