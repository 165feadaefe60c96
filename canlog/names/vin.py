"""Vehicle identification numbers: alphabet, check digit, blank ones.

The check digit in position 9 binds vehicles for the USA and Canada, so a wrong one is a finding only where
the maker's code begins with 1-5 or 7; elsewhere the place may hold anything.

Source: 49 CFR 565.15 (values, weights, remainder 10 = X), as amended by 73 FR 23367; ISO 3779 (length) (M).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

LENGTH: Final = 17
ALPHABET: Final = frozenset("0123456789ABCDEFGHJKLMNPRSTUVWXYZ")

#: 49 CFR 565.15, tables III and IV (table numbers M).
VALUES: Final = {
    **{str(digit): digit for digit in range(10)},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)),
    "P": 7,
    "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}
WEIGHTS: Final = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
CHECK_POSITION: Final = 8

#: First signs of makers' codes for which the law asks for a check digit (1-5 North America, 7 USA; M).
CHECK_DIGIT_REGIONS: Final = frozenset("123457")

#: Model years by position 10, from 1980 and again from 2010. 49 CFR 565.15, table VII (M).
YEARS: Final = "ABCDEFGHJKLMNPRSTVWXY123456789"


@dataclass(frozen=True, slots=True)
class VinCheck:
    """What can be said about the 17 signs of an identifier F190 or an OBD infotype 02."""

    text: str  # the signs, fill bytes at either end removed
    blank: bool  # all FF, all 00, all blanks or all zeros
    well_formed: bool  # 17 signs of the alphabet
    check_digit: str  # the right one; empty when not well formed
    check_digit_right: bool
    check_digit_due: bool  # the maker's code is one for which the law asks for it

    @property
    def finding(self) -> str:
        """What is wrong, in words; empty when nothing is."""
        if self.blank:
            return "blank"
        if not self.well_formed:
            return "not 17 digits and capitals without I, O, Q"
        if self.check_digit_due and not self.check_digit_right:
            return f"check digit {self.text[CHECK_POSITION]} should be {self.check_digit}"
        return ""


def check_digit(vin: str) -> str:
    """The sign that belongs in position 9.

    Raises:
        ValueError: not 17 signs of the alphabet.
    """
    if not is_well_formed(vin):
        raise ValueError(f"{vin!r} is not a VIN")
    remainder = sum(VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def is_well_formed(vin: str) -> bool:
    """True for 17 digits and capitals without I, O and Q."""
    return len(vin) == LENGTH and set(vin) <= ALPHABET


def is_blank(data: bytes) -> bool:
    """True for a VIN field that holds none: FF, 00, blanks or ASCII zeros throughout."""
    return not data.strip(b"\xff\x00 ") or not data.strip(b"0")


def check_vin(data: bytes | str) -> VinCheck:
    """What the bytes of a VIN field say; never raises on content."""
    raw = data.encode("ascii", "replace") if isinstance(data, str) else bytes(data)
    text = raw.strip(b"\xff\x00 ").decode("ascii", "backslashreplace")
    blank = is_blank(raw)
    well_formed = is_well_formed(text)
    digit = check_digit(text) if well_formed and not blank else ""
    return VinCheck(
        text=text,
        blank=blank,
        well_formed=well_formed and not blank,
        check_digit=digit,
        check_digit_right=bool(digit) and text[CHECK_POSITION] == digit,
        check_digit_due=text[:1] in CHECK_DIGIT_REGIONS,
    )


def model_years(vin: str) -> tuple[int, ...]:
    """The model years that position 10 allows, North America only: none, one or two (30-year cycles).

    Position 7 decides between the cycles for light vehicles only (digit: to 2009, letter: from 2010); as the
    bytes do not say whether a vehicle is light, both years are given.
    """
    if not is_well_formed(vin) or vin[0] not in CHECK_DIGIT_REGIONS or vin[9] not in YEARS:
        return ()
    year = 1980 + YEARS.index(vin[9])
    return (year, year + 30)
