"""Codes that came back behind a clear: those that it cleared, and that are told as failed again.

A clear of one group or of one code leaves the others, which stay and do not come back. Nor did one come back that
was never gone: it may have been kept.
Source: groups ISO 14229-1:2020, 11.2 and annex D.1 (M); ISO 14230-3 (M); status bits ISO 14229-1:2020, annex D.2 (M).
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from enum import StrEnum

from analysis.exchanges import Exchange
from analysis.fault_lists import CONFIRMED_DTC, MAIN, FaultList, at_the_end
from canlog.names.dtc import TEST_FAILED
from canlog.services.dialects import KWP, UDS

CLEAR = 0x14
CLEAR_LENGTH = 4  # service and group; a byte more selects a user-defined memory (ISO 14229-1:2020, M)
TEST_NOT_COMPLETED_SINCE_CLEAR = 0x10
ALL_CODES = 0xFFFFFF
#: Groups of KWP2000, of which the two highest bits of a code tell its own; FF00 is all of them. ISO 14230-3 (M).
KWP_ALL, KWP_GROUPS, KWP_GROUP_BITS = 0xFF00, frozenset({0x0000, 0x4000, 0x8000, 0xC000}), 0xC000


#: Either bit says that the code failed.
FAILED = TEST_FAILED | CONFIRMED_DTC


class Cleared(StrEnum):
    """Whether a clear was of a code."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"  # it was of a group whose codes the maker chooses


def was_cleared(clear: Exchange, code: int, known: Collection[int]) -> Cleared:
    """Whether a clear asked for a code (3 bytes); ``known``: codes of the module, one of which may be asked alone."""
    if clear.service != CLEAR:
        return Cleared.YES
    if len(clear.asked) > CLEAR_LENGTH:
        return Cleared.NO
    asked = group_cleared(clear)
    if clear.dialect == KWP and asked is not None and asked >> 8 in KWP_GROUPS:
        return Cleared.YES if asked >> 8 == code >> 8 & KWP_GROUP_BITS else Cleared.NO
    if asked in (code, KWP_ALL << 8 if clear.dialect == KWP else ALL_CODES):
        return Cleared.YES
    return Cleared.NO if asked is not None and asked in known else Cleared.UNKNOWN


def group_cleared(clear: Exchange) -> int | None:
    """The group or code of a clear, in three bytes; None where the capture does not show it."""
    width = {UDS: 3, KWP: 2}.get(clear.dialect, 0)
    octets = clear.asked[1 : 1 + width]
    return int.from_bytes(octets.ljust(3, b"\x00"), "big") if width and len(octets) == width else None


def codes_back(clear: Exchange, before: Sequence[FaultList], behind: Sequence[FaultList]) -> dict[int, FaultList]:
    """Codes that had failed in front of a clear and failed again behind it, with the last list that says so.

    One that is listed with a failure type and, by another service, without one is told once.
    """
    earlier, later = _failed(before), _failed(behind)
    known = {code for one in (*before, *behind) for code in one.codes}
    back = sorted(
        code
        for code in set(earlier) & set(later)
        if was_cleared(clear, code, known) is not Cleared.NO and _was_gone(code, earlier[code], later[code], behind)
    )
    typed = {code >> 8 for code in back if later[code].has_type}
    return {code: later[code] for code in back if later[code].has_type or code >> 8 not in typed}


def _was_gone(code: int, earlier: FaultList, later: FaultList, behind: Sequence[FaultList]) -> bool:
    """A list in front of the last that tells it does not hold it as failed, or its status began anew."""
    status = (later.codes[code], earlier.codes[code])
    if later.kind == earlier.kind == MAIN and is_new(*status):
        return True
    earlier_ones = (one for one in behind if one.exchange.begin < later.exchange.begin)
    return any(one.would_show(CONFIRMED_DTC) and not one.shows(code, FAILED) for one in earlier_ones)


def is_new(status: int, earlier: int) -> bool:
    """A status that only a clear explains: no longer tested since, or a confirmed code that is only pending now.

    Of a code that was neither confirmed nor tested since the last clear nothing was stored: nothing is to be shown.
    """
    if earlier & TEST_NOT_COMPLETED_SINCE_CLEAR and not earlier & CONFIRMED_DTC:
        return True
    if status & TEST_NOT_COMPLETED_SINCE_CLEAR and not earlier & TEST_NOT_COMPLETED_SINCE_CLEAR:
        return True
    return bool(earlier & CONFIRMED_DTC) and not status & CONFIRMED_DTC


def state_at_the_end(back: Mapping[int, FaultList], behind: Iterable[FaultList]) -> str:
    """What the last lists say of codes that came back; empty where they differ or say neither."""
    ends = at_the_end(behind)
    there = [ends[code] for code in back if code in ends]
    if not there:
        return "; it was gone at the last reading" if len(back) == 1 else "; they were gone at the last reading"
    if len(there) < len(back) or not all(ends[code].shows(code, TEST_FAILED) for code in back):
        return ""
    return f", {'active' if all(one.kind == MAIN for one in there) else 'listed'} at the last reading"


def _failed(lists: Iterable[FaultList]) -> dict[int, FaultList]:
    return {code: one for one in lists for code in one.codes if one.shows(code, FAILED)}
