"""Lists of fault codes that modules gave, whatever the dialect.

Lists are compared only with lists of the same kind: 19 (02, 0A) shows the main memory with its status bits; 03 of
SAE J1979 only confirmed emission codes, without a failure type; 07 those of which a test failed and that are not
confirmed yet; 0A (and 19 15) permanent ones, which a clear leaves: they go when their own monitor has passed; 18 of
KWP2000 what its request asks for.
Source: ISO 14229-1:2020, 12.3 and annex D (M); SAE J1979 (M); ISO 14230-3 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Evidence
from canlog.names.dtc import TEST_FAILED, dtc_text, two_byte_dtc_text
from canlog.names.tables import Names
from canlog.services.dialects import GMW
from canlog.services.traits import Act

READ_DTC, PERMANENT_DTCS, KWP_BY_STATUS = 0x19, 0x15, 0x18
OBD_DATA, OBD_STORED, OBD_PENDING, OBD_PERMANENT = 0x01, 0x03, 0x07, 0x0A
GMW_BY_MASK, REPORT_BYTES = b"\xa9\x81", 5
#: Sub-functions of 19 that list codes with a status byte.
LISTS = frozenset({0x02, 0x0A, PERMANENT_DTCS})
CONFIRMED_DTC = 0x08
MAIN, EMISSION, PENDING, PERMANENT = "main", "emission", "pending", "permanent"
EMISSION_LISTS = {OBD_STORED: EMISSION, OBD_PENDING: PENDING, OBD_PERMANENT: PERMANENT}
#: Monitor status (01 01): the lamp and the number of stored codes, then three bytes of monitors. SAE J1979 (M).
MONITOR_STATUS, STATUS_BYTES, COUNT_BITS = b"\x41\x01", 6, 0x7F


@dataclass(frozen=True, slots=True)
class FaultList:
    """One answer that lists codes: code (3 bytes as a number) -> status.

    Codes of two bytes stand in the upper two. ``mask`` are the status bits that the list could show; ``kind`` says
    which lists it may be compared with.
    """

    exchange: Exchange
    kind: str
    mask: int
    codes: dict[int, int]
    frames: tuple[int, ...] = ()  # lines of an answer that came outside the transport

    @property
    def listed(self) -> str:
        """What sort of codes: ``stored``, ``pending`` or ``permanent``."""
        return self.kind if self.kind in (PENDING, PERMANENT) else "stored"

    @property
    def has_status(self) -> bool:
        """Each code came with a status byte."""
        return self.exchange.service not in EMISSION_LISTS

    def shows(self, code: int, bits: int) -> bool:
        """The code is listed with one of these status bits; where its kind has none, that it is listed says it."""
        return code in self.codes and (self.kind != MAIN or bool(self.codes[code] & bits))

    @property
    def has_type(self) -> bool:
        """Its codes have three bytes: the last one is the failure type."""
        return self.exchange.service == READ_DTC or bool(self.frames)

    def text(self, code: int) -> str:
        """The code as people write it."""
        return dtc_text(code) if self.has_type else two_byte_dtc_text(code >> 8)

    def called(self, code: int, label: str, names: Names) -> str:
        """The code with what the names call it in a module: ``P17A3-96 (element 2 sticks)``."""
        text = self.text(code)
        name = names.fault(label, text)
        return f"{text} ({name})" if name else text

    def evidence(self, text: str) -> Evidence:
        """The answer as evidence."""
        if not self.frames:
            return evidence(self.exchange, text)
        return Evidence(self.exchange.capture, (self.exchange.lines[0], self.frames[-1]), text)


def fault_lists(story: Story) -> list[FaultList]:
    """All lists of stored codes of a module that a clear empties, in order."""
    return [one for one in _all_lists(story) if one.listed == "stored"]


def lists_beside(story: Story) -> list[FaultList]:
    """Its lists of pending and of permanent codes, in order: they neither prove a clear nor disprove it."""
    return [one for one in _all_lists(story) if one.listed != "stored"]


def _all_lists(story: Story) -> list[FaultList]:
    found = (read_list(exchange, story) for exchange in story.exchanges if exchange.act is Act.READ_FAULTS)
    return [one for one in found if one is not None and one.kind]


def stored_count(exchange: Exchange) -> int | None:
    """The number of stored codes in an answer to 01 01; None in any other."""
    is_status = exchange.answered[:2] == MONITOR_STATUS and len(exchange.answered) >= STATUS_BYTES
    return exchange.answered[2] & COUNT_BITS if exchange.positive and is_status else None


def count_disagrees(exchanges: Iterable[Exchange]) -> tuple[FaultList, Exchange] | None:
    """The last list of stored emission codes and their last count, where they differ and no clear lies between."""
    listed: FaultList | None = None
    counting: Exchange | None = None
    for one in exchanges:
        if one.act is Act.CLEAR and one.positive:
            listed, counting = None, None
        elif one.service == OBD_STORED:
            listed = read_list(one) or listed
        elif stored_count(one) is not None:
            counting = one
    if listed is None or counting is None or stored_count(counting) == len(listed.codes):
        return None
    return listed, counting


def codes_back(before: Iterable[FaultList], behind: Iterable[FaultList]) -> dict[int, FaultList]:
    """Codes that had failed in front of a clear and failed again behind it, with the last list that says so.

    One that is listed with a failure type and, by another service, without one is told once.
    """
    earlier, later = _failed(before), _failed(behind)
    back = sorted(set(earlier) & set(later))
    typed = {code >> 8 for code in back if later[code].has_type}
    return {code: later[code] for code in back if later[code].has_type or code >> 8 not in typed}


def state_at_the_end(back: Mapping[int, FaultList], behind: Sequence[FaultList]) -> str:
    """What the last lists of their kinds say of codes that came back; empty where they differ or say neither."""
    last = {one.kind: one for one in behind}
    ends = [(code, last[one.kind]) for code, one in back.items()]
    if not any(code in one.codes for code, one in ends):
        return "; it was gone at the last reading" if len(ends) == 1 else "; they were gone at the last reading"
    if not all(one.shows(code, TEST_FAILED) for code, one in ends):
        return ""
    return f", {'active' if all(one.kind == MAIN for _, one in ends) else 'listed'} at the last reading"


def _failed(lists: Iterable[FaultList]) -> dict[int, FaultList]:
    return {code: one for one in lists for code in one.codes if one.shows(code, TEST_FAILED | CONFIRMED_DTC)}


def read_list(exchange: Exchange, story: Story | None = None) -> FaultList | None:
    """The list in an answer; None where it lists nothing, or has another form than its kind.

    ``story``: the module's, which holds the frames that answer outside the transport.
    """
    if story is not None and exchange.dialect == GMW and exchange.asked[:2] == GMW_BY_MASK:
        return _reported(exchange, story)
    if not exchange.positive:
        return None
    if exchange.service == READ_DTC:
        if sub_function(exchange) not in LISTS or not _is_list(exchange):
            return None
        kind = PERMANENT if sub_function(exchange) == PERMANENT_DTCS else MAIN
        return FaultList(exchange, kind, _mask(exchange), dict(_main(exchange)))
    if exchange.service in EMISSION_LISTS:
        codes = _two_byte(exchange, 2)
        return None if codes is None else FaultList(exchange, EMISSION_LISTS[exchange.service], 0xFF, codes)
    if exchange.service == KWP_BY_STATUS and exchange.asked:
        codes = _two_byte(exchange, 3)
        return None if codes is None else FaultList(exchange, exchange.asked.hex().upper(), 0xFF, codes)
    return None


def _reported(exchange: Exchange, story: Story) -> FaultList | None:
    """GMW3110, A9 81: one frame a fault until one of zeros; None where that end is not in the capture."""
    codes: dict[int, int] = {}
    lines = []
    next_asked = next((item.begin for item in story.after(exchange.begin) if item.service == exchange.service), None)
    for frame in story.reports:
        if frame.place < exchange.begin or (next_asked is not None and frame.place > next_asked):
            continue
        if frame.place[0] != exchange.capture or len(frame.data) < REPORT_BYTES or frame.data[0] != exchange.asked[1]:
            continue
        lines.append(frame.place[1])
        code = int.from_bytes(frame.data[1:4], "big")
        if code == 0:
            return FaultList(exchange, exchange.asked.hex().upper(), 0xFF, codes, tuple(lines))
        codes[code] = frame.data[4]
    return None


def sub_function(exchange: Exchange) -> int:
    """Of 19; 0 for any other service."""
    if exchange.service != READ_DTC:
        return 0
    return exchange.told[1] & 0x7F if len(exchange.told) > 1 else 0


def _is_list(exchange: Exchange) -> bool:
    """An availability mask, then whole records of four bytes: any other answer lists nothing."""
    return len(exchange.answered) >= 3 and (len(exchange.answered) - 3) % 4 == 0


def _mask(exchange: Exchange) -> int:
    asked = exchange.asked[2] if sub_function(exchange) == 0x02 and len(exchange.asked) > 2 else 0xFF
    return asked & exchange.answered[2]


def _main(exchange: Exchange) -> Iterator[tuple[int, int]]:
    body = exchange.answered[3:]
    for at in range(0, len(body) - 3, 4):
        yield int.from_bytes(body[at : at + 3], "big"), body[at + 3]


def _two_byte(exchange: Exchange, width: int) -> dict[int, int] | None:
    """A count, then records of two bytes of code and what is left of ``width`` as status; None in another form."""
    answer = exchange.answered
    if len(answer) < 2 or len(answer) != 2 + width * answer[1]:
        return None
    records = (answer[at : at + width] for at in range(2, len(answer), width))
    return {int.from_bytes(one[:2], "big") << 8: one[2] if width > 2 else 0 for one in records}
