"""What stands in place of a secret: of the same length and alphabet, the same for the same, never to be undone.

Each run draws a key that nobody keeps (HMAC-SHA256, RFC 2104; longer texts are drawn out with SHAKE256, FIPS 202).
Runs of FF and 00, and fill bytes around text, say *never written* and stay. A VIN is replaced sign by sign, each
place with an alphabet shuffled of its own, so that two VINs that differ in one sign still do.
"""

from __future__ import annotations

import hashlib
import hmac
import re
import secrets
from collections.abc import Collection, Iterable
from itertools import combinations
from typing import Final

from canlog.errors import CanlogError
from canlog.names.value_layout import FILL
from canlog.names.vin import ALPHABET, CHECK_DIGIT_REGIONS, CHECK_POSITION, LENGTH, check_digit, check_vin

_RUN: Final = re.compile(rb"\xff{4,}|\x00{4,}")
_KEY_BYTES: Final = 32
#: So often a draw that will not do is repeated: of few bytes most may be taken.
_TRIES: Final = 64
_VIN_TRIES: Final = 2000

_DIGITS: Final = "0123456789"
_LETTERS: Final = "".join(sorted(ALPHABET - set(_DIGITS)))
#: The first sign says whether the law asks for a check digit; that must not change.
_BOUND: Final = "".join(sorted(CHECK_DIGIT_REGIONS))
_UNBOUND_DIGITS: Final = "".join(sorted(set(_DIGITS) - CHECK_DIGIT_REGIONS))
#: Signs that no VIN has, in one that was written wrong.
_WRONG: Final = ("IOQ", "abcdefghijklmnopqrstuvwxyz")


class Replacements:
    """The replacements of one run.

    Args:
        vins: every VIN that will be asked for; they are replaced together, because what they have in common stays.
    """

    def __init__(self, vins: Collection[str] = ()) -> None:
        self._key = secrets.token_bytes(_KEY_BYTES)
        self._known: dict[bytes, bytes] = {}
        self._given: set[bytes] = set()
        self.vins = _vins(sorted(set(vins)))

    def vin(self, value: bytes) -> bytes:
        """The replacement of a VIN field; of one whose text is no known VIN as of any other bytes."""
        text = value.strip(FILL)
        new = self.vins.get(text.decode("ascii", "replace"))
        return self.octets(value) if new is None else value.replace(text, new.encode())

    def network_part(self, value: bytes) -> bytes:
        """The replacement of the address of a network part (IEEE 802): what kind of address it is stays."""
        new = self.octets(value)
        return bytes([value[0] & 3 | new[0] & 0xFC]) + new[1:] if value else value

    def octets(self, value: bytes) -> bytes:
        """The replacement of any bytes: text stays text, BCD stays BCD, memory never written stays as it is."""
        if not value.strip(FILL):
            return value
        if value not in self._known:
            self._known[value] = self._new(value)
        return self._known[value]

    def _new(self, value: bytes) -> bytes:
        new = value
        for count in range(_TRIES):
            new = _shaped(value, self._drawn(value, count))
            if new != value and new not in self._given and new not in self._known:
                break
        self._given.add(new)
        return new

    def _drawn(self, value: bytes, count: int) -> bytes:
        seed = hmac.digest(self._key, count.to_bytes(2, "big") + value, "sha256")
        return hashlib.shake_256(seed).digest(len(value))


def _shaped(value: bytes, drawn: bytes) -> bytes:
    """Drawn bytes in the alphabet of ``value``; what can be read as text and as BCD can be so afterwards."""
    text = value.strip(FILL)
    is_text = text.isascii() and text.decode("ascii").isprintable()
    is_bcd = value.hex().isdecimal()
    if is_text:
        return bytes(_sign(old, new, is_bcd=is_bcd) for old, new in zip(value, drawn, strict=True))
    if is_bcd:
        return bytes((new >> 4) % 10 << 4 | (new & 15) % 10 for new in drawn)
    new = bytearray(drawn)
    for run in _RUN.finditer(value):
        new[run.start() : run.end()] = run[0]
    return bytes(new)


def _sign(old: int, drawn: int, *, is_bcd: bool) -> int:
    for first, last in ((0x30, 0x39), (0x41, 0x5A), (0x61, 0x7A)):
        if first <= old <= last:
            allowed = [sign for sign in range(first, last + 1) if not is_bcd or sign & 15 < 10]
            return allowed[drawn % len(allowed)]
    if is_bcd and old not in FILL:
        return (2 + (drawn >> 4) % 6) << 4 | (drawn & 15) % 10
    return old


def _vins(vins: list[str]) -> dict[str, str]:
    """Replacements that keep what a check can see: alphabet, check digit right or wrong, in how many signs two differ.

    Raises:
        CanlogError: no draw keeps it all.
    """
    for _ in range(_VIN_TRIES):
        places = [_shuffled() for _ in range(LENGTH)]
        new = {vin: _new_vin(vin, places, vins) for vin in vins}
        if all(map(_alike, new, new.values())) and _keeps_distances(new) and not set(new.values()) & set(vins):
            return new
    raise CanlogError(f"{len(vins)} VINs could not be replaced together", hint="redact its captures one by one")


def _shuffled() -> dict[str, str]:
    """One place's alphabet: digits to digits, letters to letters, the first sign's regions among themselves."""
    table: dict[str, str] = {}
    for signs in (_BOUND, _UNBOUND_DIGITS, _LETTERS, *_WRONG):
        drawn = list(signs)
        secrets.SystemRandom().shuffle(drawn)
        table |= dict(zip(signs, drawn, strict=True))
    return table


def _new_vin(vin: str, places: list[dict[str, str]], vins: Iterable[str]) -> str:
    new = "".join(place.get(sign, sign) for place, sign in zip(places, vin, strict=True))
    right = vin if check_vin(vin).check_digit_right else _meant(vin, vins)
    if not right:
        return new
    model = "".join(place.get(sign, sign) for place, sign in zip(places, right, strict=True))
    return new[:CHECK_POSITION] + check_digit(model) + new[CHECK_POSITION + 1 :]


def _meant(vin: str, vins: Iterable[str]) -> str:
    """The right VIN that a wrong one was typed for: it has the same check digit, so both get the same again."""
    near = (one for one in vins if one[CHECK_POSITION] == vin[CHECK_POSITION] and check_vin(one).check_digit_right)
    return next((one for one in near if _distance(one, vin) <= 2), "")


def _alike(old: str, new: str) -> bool:
    one, other = check_vin(old), check_vin(new)
    return (one.well_formed, one.check_digit_right, one.check_digit_due) == (
        other.well_formed, other.check_digit_right, other.check_digit_due,
    )  # fmt: skip


def _keeps_distances(new: dict[str, str]) -> bool:
    return all(
        min(_distance(one, other), 3) == min(_distance(new[one], new[other]), 3) for one, other in combinations(new, 2)
    )


def _distance(one: str, other: str) -> int:
    return sum(a != b for a, b in zip(one, other, strict=True))
