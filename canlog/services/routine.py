"""Routines: service 31.

A positive answer says that the request was accepted or that the routine ended, as the maker chose; whether
the routine found things right stands in its status bytes. From edition 2013 a byte routineInfo may come
before the status: the wire does not tell, so ``routine_status_record`` begins right behind the identifier.

Source: ISO 14229-1:2020, 14.2 (M); layout agrees with udsoncan 1.26.1 and scapy 2.8.0.
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import RESERVED, RangeTable, singles
from canlog.names.rids import RIDS
from canlog.services.layout import Layout, named, request, response, rest, sub_function, sub_function_echo, u16

#: Total over 00-7F.
ROUTINE_CONTROLS: Final = RangeTable(
    0x7F,
    [
        (0x00, 0x00, RESERVED),
        *singles({0x01: "startRoutine", 0x02: "stopRoutine", 0x03: "requestRoutineResults"}),
        (0x04, 0x7F, RESERVED),
    ],
)

_identifier = u16("routine_identifier", says=named(RIDS.name, 4))

LAYOUTS: Final = {
    request(0x31): Layout(sub_function(ROUTINE_CONTROLS.name), _identifier, rest("routine_control_option_record")),
    response(0x31): Layout(*sub_function_echo(ROUTINE_CONTROLS.name), _identifier, rest("routine_status_record")),
}
