"""Sessions, resets, tester present and access timing: services 10, 11, 3E, 83.

Source: ISO 14229-1:2020, 10.2, 10.3, 10.7 and 2013, 9.7 (M); layouts agree with udsoncan 1.26.1 and
scapy 2.8.0, ranges with the documentation of the package ``uds`` (ed5bfcc).
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, RangeTable, singles
from canlog.services.layout import (
    Layout,
    Says,
    choose,
    optional,
    request,
    response,
    rest,
    sub_function,
    sub_function_echo,
    u8,
    u16,
)

#: Total over 00-7F. 05-3F are reserved: a range test with ``or`` for ``and`` would call them the maker's.
SESSIONS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "defaultSession",
                0x02: "programmingSession",
                0x03: "extendedDiagnosticSession",
                0x04: "safetySystemDiagnosticSession",
            }
        ),
        (0x05, 0x3F, RESERVED),
        (0x40, 0x5F, MAKER),
        (0x60, 0x7E, SUPPLIER),
        (0x7F, 0x7F, RESERVED),
    ],
)

#: Total over 00-7F.
RESETS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "hardReset",
                0x02: "keyOffOnReset",
                0x03: "softReset",
                0x04: "enableRapidPowerShutDown",
                0x05: "disableRapidPowerShutDown",
            }
        ),
        (0x06, 0x3F, RESERVED),
        (0x40, 0x5F, MAKER),
        (0x60, 0x7E, SUPPLIER),
        (0x7F, 0x7F, RESERVED),
    ],
)

#: Total over 00-7F. Tester present knows one value only.
TESTER_PRESENT: Final = RangeTable(0x7F, [*singles({0x00: "zeroSubFunction"}), (0x01, 0x7F, RESERVED)])

#: Total over 00-7F (edition 2013; the service was withdrawn in 2020).
ACCESS_TIMING: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "readExtendedTimingParameterSet",
                0x02: "setTimingParametersToDefaultValues",
                0x03: "readCurrentlyActiveTimingParameters",
                0x04: "setTimingParametersToGivenValues",
            }
        ),
        (0x05, 0x7F, RESERVED),
    ],
)


def milliseconds(value: int) -> str:
    """``5000 ms``."""
    return f"{value} ms"


def power_down(value: int) -> str:
    """Seconds until power down; FF means that the module cannot tell."""
    return "not available" if value == 0xFF else f"{value} s"


_ms: Says = milliseconds

LAYOUTS: Final = {
    request(0x10): Layout(sub_function(SESSIONS.name)),
    # The timing record is optional: edition 2006 knew answers without it. P2* counts in units of 10 ms.
    response(0x10): Layout(
        *sub_function_echo(SESSIONS.name),
        optional(u16("p2_server_max_ms", says=_ms), u16("p2_star_server_max_ms", says=_ms, scale=10)),
    ),
    request(0x11): Layout(sub_function(RESETS.name)),
    response(0x11): Layout(
        *sub_function_echo(RESETS.name),
        choose("sub_function", {0x04: [u8("power_down_time", says=power_down)]}),
    ),
    request(0x3E): Layout(sub_function(TESTER_PRESENT.name)),
    response(0x3E): Layout(*sub_function_echo(TESTER_PRESENT.name)),
    request(0x83): Layout(
        sub_function(ACCESS_TIMING.name),
        choose("sub_function", {0x04: [rest("timing_parameter_request_record", least=1)]}),
    ),
    response(0x83): Layout(
        *sub_function_echo(ACCESS_TIMING.name),
        choose("sub_function", {0x01: [rest("timing_parameter_response_record")],
                                0x03: [rest("timing_parameter_response_record")]}),
    ),
}  # fmt: skip
