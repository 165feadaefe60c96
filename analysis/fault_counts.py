"""How many fault codes a module counts, beside the codes that it lists.

01 01 of SAE J1979 counts the stored emission codes that 03 lists; 19 01 counts the codes that 19 02 lists under the
same mask. Source: SAE J1979 (M); ISO 14229-1:2020, 12.3 (M).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from analysis.exchanges import Exchange
from analysis.fault_lists import EMISSION, MAIN, READ_DTC, FaultList, read_list, sub_function
from analysis.operations.model import evidence
from canlog.counting import counted
from canlog.services.decode import decode_response
from canlog.services.traits import Act

#: Monitor status (01 01): the lamp and the number of stored codes, then three bytes of monitors. SAE J1979 (M).
MONITOR_STATUS, STATUS_BYTES, COUNT_BITS = b"\x41\x01", 6, 0x7F
NUMBER_BY_MASK = 0x01
#: Status bits that a clear sets in every code: not tested since, not tested in this cycle.
#: ISO 14229-1:2020, annex D.2 (M).
SET_BY_A_CLEAR = 0x50


class Count(NamedTuple):
    """One answer that counts codes."""

    exchange: Exchange
    kind: str  # of the lists that it may be compared with
    mask: int  # a code counts where its status has one of these bits
    number: int

    @property
    def said(self) -> str:
        """``19 01 FF counts 2 codes``."""
        what = "stored code" if self.kind == EMISSION else "code"
        return f"{self.exchange.told[:3].hex(' ').upper()} counts {counted(self.number, what)}"

    @property
    def asked(self) -> str:
        """``19 01``."""
        return self.exchange.told[:2].hex(" ").upper()

    @property
    def where(self) -> str:
        """Its lines."""
        return evidence(self.exchange, "counts").where

    @property
    def counts_faults(self) -> bool:
        """Only codes of which something failed: a clear leaves none of them."""
        return self.number > 0 and not self.mask & SET_BY_A_CLEAR

    def agrees(self, listed: FaultList) -> bool:
        """The list holds as many, or does not show all that is counted."""
        if listed.kind != MAIN:
            return len(listed.codes) == self.number
        same = sum(bool(status & self.mask) for status in listed.codes.values())
        return bool(self.mask & ~listed.mask) or same == self.number


def read_count(exchange: Exchange) -> Count | None:
    """The count in an answer; None in any other."""
    answer = exchange.answered
    if not exchange.positive:
        return None
    if answer[:2] == MONITOR_STATUS and len(answer) >= STATUS_BYTES:
        return Count(exchange, EMISSION, 0xFF, answer[2] & COUNT_BITS)
    if exchange.service == READ_DTC and sub_function(exchange) == NUMBER_BY_MASK and exchange.asked:
        fields, mask = decode_response(answer, exchange.dialect), exchange.ask.get("dtc_status_mask")
        number, available = fields.get("dtc_count"), fields.get("dtc_status_availability_mask")
        if isinstance(number, int) and isinstance(available, int) and isinstance(mask, int) and not fields.rest:
            return Count(exchange, MAIN, mask & available, number)
    return None


def count_disagrees(exchanges: Iterable[Exchange]) -> tuple[FaultList, Count] | None:
    """The last list of all codes and the last count of the same, where they differ and no clear lies between."""
    listed: dict[str, FaultList] = {}
    counting: dict[str, Count] = {}
    for one in exchanges:
        if one.act is Act.CLEAR and one.positive:
            listed, counting = {}, {}
        elif (count := read_count(one)) is not None:
            counting[count.kind] = count
        elif (found := read_list(one)) is not None and found.is_whole:
            listed[found.kind] = found
    pairs = ((listed[kind], count) for kind, count in counting.items() if kind in listed)
    return next((pair for pair in pairs if not pair[1].agrees(pair[0])), None)
