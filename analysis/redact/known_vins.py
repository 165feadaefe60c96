"""Every VIN of a job: what modules said, the sheet's, and what looks like one in frames, comments and file names."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Final

from analysis.record import Record
from analysis.redact.packet_plan import announced_vins
from analysis.redact.places import Places, streams
from canlog.names.value_layout import FILL
from canlog.names.vin import LENGTH, check_vin

_VIN_TEXT: Final = re.compile(rb"(?<![0-9A-Za-z])[A-HJ-NPR-Z0-9]{13}[0-9]{4}(?![0-9A-Za-z])")
#: The same in comments, as people write; and without anything between it and other text, then with a check digit.
_VIN_BY_HAND: Final = re.compile(_VIN_TEXT.pattern, re.IGNORECASE)
_VIN_IN_GROUPS: Final = re.compile(
    rb"(?<![0-9A-Za-z])[A-HJ-NPR-Z0-9](?:[_-]?[A-HJ-NPR-Z0-9]){12}(?:[_-]?[0-9]){4}(?![0-9A-Za-z])", re.IGNORECASE
)
_GAPS: Final = re.compile(rb"[_-]")
_VIN_INSIDE: Final = re.compile(rb"(?=([A-HJ-NPR-Z0-9]{8}[0-9X][A-HJ-NPR-Z0-9]{4}[0-9]{4}))")


def known_vins(
    record: Record, places: Sequence[Places], sheet_vin: str, texts: Sequence[bytes]
) -> set[str]:  # fmt: skip
    """Every VIN: read or written as one, the sheet's, and what looks like one in messages, frames and comments."""
    found = {sheet_vin} if sheet_vin else set()
    for story in record.stories:
        for reading in record.readings(story):
            said = reading.raw[-LENGTH:].strip(FILL)
            if (reading.kind == "vin" or reading.identifier == 0xF802) and len(said) == LENGTH:
                found.add(said.decode("ascii", "replace"))
    for message in (one for capture in record.captures for one in capture.messages):
        if message.data[:1] not in (b"\x36", b"\x76"):
            found |= {one[0].decode() for one in _VIN_TEXT.finditer(message.data)}
            found |= {vin for vin in _inside(message.data) if _is_sure(vin)}
    found |= {vin for there in places for vin in announced_vins(there.packets)}
    pieces = [stream for there in places for _, stream, _ in streams(there.table, there.by_side)]
    pieces += [one.text for there in places for one in there.text_pieces()]
    by_hand = (match[0].upper().decode() for text in texts for match in _VIN_BY_HAND.finditer(text))
    told = (match[0].decode() for piece in pieces for match in _VIN_TEXT.finditer(piece))
    in_groups = (_GAPS.sub(b"", match[0]).upper().decode() for text in texts for match in _VIN_IN_GROUPS.finditer(text))
    right = (one for one in in_groups if check_vin(one).check_digit_right)
    found |= {one for one in (*by_hand, *told, *right) if _is_sure(one)}
    return {one for one in found if one.isascii() and len(one) == LENGTH and not check_vin(one).blank}


def _is_sure(text: str) -> bool:
    """Among numbers and names only a right check digit tells a VIN, or both letters and digits in plain sight."""
    return any(sign.isalpha() for sign in text) and any(sign.isdigit() for sign in text[:12])


def _inside(data: bytes) -> Iterator[str]:
    """VINs with other text right beside them: only a right check digit tells them."""
    for match in _VIN_INSIDE.finditer(data):
        vin = match[1].decode()
        if check_vin(vin).check_digit_right:
            yield vin
