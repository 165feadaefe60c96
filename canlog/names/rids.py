"""Routine identifiers: what each of 0000-FFFF is by the standard. Total.

What the status bytes of a routine mean is the maker's; for FF01 a status 00 for "the parts fit" is a wide
custom (common practice, no source), not a rule of the standard.

Source: ISO 14229-1:2020, annex F.1 (M); agrees with the documentation of the package ``uds`` (ed5bfcc).
udsoncan 1.26.1 has the names of 2006 for E200 and FF02.
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import MAKER, RESERVED, SUPPLIER, Code, Owner, RangeTable

ERASE_MEMORY: Final = 0xFF00
CHECK_PROGRAMMING_DEPENDENCIES: Final = 0xFF01

#: Total over 0000-FFFF.
RIDS: Final = RangeTable(
    0xFFFF,
    [
        (0x0000, 0x00FF, RESERVED),
        (0x0100, 0x01FF, Code("tachograph test", Owner.LEGISLATION)),
        (0x0200, 0xDFFF, MAKER),
        (0xE000, 0xE1FF, Code("OBD test", Owner.LEGISLATION)),
        (0xE200, 0xE200, Code("executeSPL (2013 on) or deployLoopRoutineID (2006)", Owner.LEGISLATION)),
        (0xE201, 0xE201, Code("deployLoopRoutineID (2013 on)", Owner.LEGISLATION)),
        (0xE202, 0xE2FF, Code("safety system routine", Owner.LEGISLATION)),
        (0xE300, 0xEFFF, RESERVED),
        (0xF000, 0xFEFF, SUPPLIER),
        (0xFF00, 0xFF00, Code("eraseMemory")),
        (0xFF01, 0xFF01, Code("checkProgrammingDependencies")),
        (0xFF02, 0xFF02, Code("eraseMirrorMemoryDTCs (2006), reserved since 2013", Owner.RESERVED)),
        (0xFF03, 0xFFFF, RESERVED),
    ],
)


def is_pyrotechnic(rid: int) -> bool:
    """True for E200-E2FF: these can fire airbags and belt tensioners. Warn; never suggest one."""
    return 0xE200 <= rid <= 0xE2FF
