"""Lists of fault codes that modules gave, whatever the dialect.

Lists are compared only with lists of the same kind: 19 shows the main memory with its status bits; 03 of SAE J1979
only confirmed emission codes, without a failure type; 07 those of which a test failed and that are not confirmed yet;
0A (and 19 15, 19 55) permanent ones, which a clear leaves: they go when their own monitor has passed; 13, 17 and 18 of
KWP2000 what their request asks for. Of 19 only 02 and 0A hold every code; the other forms pick some: what they list is
there, and what they do not list may be there.
Source: ISO 14229-1:2020, 12.3 and annex D (M); SAE J1979 (M); ISO 14230-3 (M).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from analysis.exchanges import Exchange
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Evidence
from canlog.names.dtc import dtc_text, two_byte_dtc_text
from canlog.names.tables import Names
from canlog.services.decode import decode_response
from canlog.services.dialects import GMW
from canlog.services.layout import Decoded
from canlog.services.traits import Act

READ_DTC = 0x19
#: KWP2000: the bytes of a record, two of code and, but for 13, one of status. ISO 14230-3 (M).
KWP_RECORDS = {0x13: 2, 0x17: 3, 0x18: 3}
OBD_STORED, OBD_PENDING, OBD_PERMANENT = 0x03, 0x07, 0x0A
GMW_BY_MASK, REPORT_BYTES = b"\xa9\x81", 5
#: Sub-functions of 19 that tell codes of the main memory with their status: all that a mask chooses; or the one asked
#: for, the first or the last of them, those of a severity or of a group.
WHOLE_LISTS = frozenset({0x02, 0x0A})
PARTS_OF_LISTS = frozenset({0x04, 0x06, 0x08, 0x09, 0x0B, 0x0C, 0x0D, 0x0E, 0x13, 0x1A, 0x42, 0x56})
PERMANENT_LISTS = frozenset({0x15, 0x55})
CONFIRMED_DTC = 0x08
MAIN, EMISSION, PENDING, PERMANENT = "main", "emission", "pending", "permanent"
#: Lists that neither prove a clear nor disprove it.
BESIDE = (PENDING, PERMANENT)
EMISSION_LISTS = {OBD_STORED: EMISSION, OBD_PENDING: PENDING, OBD_PERMANENT: PERMANENT}


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
    is_whole: bool = True  # what it does not list is not there, as far as its mask shows

    @property
    def listed(self) -> str:
        """What sort of codes: ``stored``, ``pending`` or ``permanent``; ``some`` of the stored ones."""
        return self.kind if self.kind in BESIDE else "stored" if self.is_whole else "some"

    @property
    def has_status(self) -> bool:
        """Each code came with a status byte."""
        return self.exchange.service not in EMISSION_LISTS and KWP_RECORDS.get(self.exchange.service) != 2

    def shows(self, code: int, bits: int) -> bool:
        """The code is listed with one of these status bits; where its kind has none, that it is listed says it."""
        return code in self.codes and (self.kind != MAIN or bool(self.codes[code] & bits))

    def would_show(self, status: int) -> bool:
        """A code with this status that it does not hold is not there."""
        return self.is_whole and (self.kind != MAIN or bool(status & self.mask))

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

    @property
    def asked(self) -> str:
        """Service and, of 19, what it reports: ``19 02``."""
        return self.exchange.told[: 2 if self.exchange.service == READ_DTC else 1].hex(" ").upper()

    def evidence(self, text: str) -> Evidence:
        """The answer as evidence."""
        if not self.frames:
            return evidence(self.exchange, text)
        return Evidence(self.exchange.capture, (self.exchange.lines[0], self.frames[-1]), text)


def fault_lists(story: Story) -> list[FaultList]:
    """All lists of stored codes of a module that a clear empties, in order; those that pick some codes as well."""
    return [one for one in _all_lists(story) if one.kind not in BESIDE]


def lists_beside(story: Story) -> list[FaultList]:
    """Its lists of pending and of permanent codes, in order: they neither prove a clear nor disprove it."""
    return [one for one in _all_lists(story) if one.kind in BESIDE]


def _all_lists(story: Story) -> list[FaultList]:
    found = (read_list(exchange, story) for exchange in story.exchanges if exchange.act is Act.READ_FAULTS)
    return [one for one in found if one is not None and one.kind]


def at_the_end(lists: Iterable[FaultList]) -> dict[int, FaultList]:
    """The codes that the last lists of each kind leave, with the list that tells each.

    A whole list takes away the codes that it would have shown and does not hold.
    """
    last: dict[str, dict[int, FaultList]] = {}
    for one in lists:
        same = last.setdefault(one.kind, {})
        hidden = {code: told for code, told in same.items() if not one.would_show(told.codes[code])}
        last[one.kind] = hidden | dict.fromkeys(one.codes, one)
    return {code: told for same in last.values() for code, told in same.items()}


def last_lists(lists: Iterable[FaultList]) -> list[tuple[FaultList, list[int]]]:
    """The same by list, in order: each list that tells a code which is left, with those codes."""
    found: dict[int, tuple[FaultList, list[int]]] = {}
    for code, one in at_the_end(lists).items():
        found.setdefault(one.exchange.number, (one, []))[1].append(code)
    return [found[number] for number in sorted(found)]


def read_list(exchange: Exchange, story: Story | None = None) -> FaultList | None:
    """The list in an answer; None where it lists nothing, or has another form than its kind.

    ``story``: the module's, which holds the frames that answer outside the transport.
    """
    if story is not None and exchange.dialect == GMW and exchange.asked[:2] == GMW_BY_MASK:
        return _reported(exchange, story)
    if not exchange.positive:
        return None
    if exchange.service == READ_DTC:
        return _by_layout(exchange)
    if exchange.service in EMISSION_LISTS:
        codes = _two_byte(exchange, 2)
        return None if codes is None else FaultList(exchange, EMISSION_LISTS[exchange.service], 0xFF, codes)
    if exchange.service in KWP_RECORDS and exchange.asked:
        codes = _two_byte(exchange, KWP_RECORDS[exchange.service])
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


def _by_layout(exchange: Exchange) -> FaultList | None:
    """19: whole records of a form that tells codes with a status; any other answer lists nothing."""
    form = sub_function(exchange)
    answer = decode_response(exchange.answered, exchange.dialect)
    if form not in WHOLE_LISTS | PARTS_OF_LISTS | PERMANENT_LISTS or answer.problems or answer.rest:
        return None
    mask = _number(exchange.ask, "dtc_status_mask") & _number(answer, "dtc_status_availability_mask")
    rows = answer.rows("dtc", "status_of_dtc")
    codes = {code: status for code, status in rows if isinstance(code, int) and isinstance(status, int)}
    kind = PERMANENT if form in PERMANENT_LISTS else MAIN
    return FaultList(exchange, kind, mask, codes, is_whole=form not in PARTS_OF_LISTS)


def _number(message: Decoded, name: str) -> int:
    """A mask; all bits where the message has none."""
    value = message.get(name)
    return value if isinstance(value, int) else 0xFF


def _two_byte(exchange: Exchange, width: int) -> dict[int, int] | None:
    """A count, then records of two bytes of code and what is left of ``width`` as status; None in another form."""
    answer = exchange.answered
    if len(answer) < 2 or len(answer) != 2 + width * answer[1]:
        return None
    records = (answer[at : at + width] for at in range(2, len(answer), width))
    return {int.from_bytes(one[:2], "big") << 8: one[2] if width > 2 else 0 for one in records}
