"""Vehicle identification numbers with their check digit. 49 CFR 565.15."""

from __future__ import annotations

VALUES = {
    **{digit: int(digit) for digit in "0123456789"},
    **dict(zip("ABCDEFGH", range(1, 9), strict=True)),
    **dict(zip("JKLMN", range(1, 6), strict=True)), "P": 7, "R": 9,
    **dict(zip("STUVWXYZ", range(2, 10), strict=True)),
}  # fmt: skip
WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)


def weighted_sum(vin: str) -> int:
    """Sum of value times weight; position 9 weighs nothing."""
    return sum(VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True))


def check_sign(vin: str) -> str:
    """The sign that belongs on position 9."""
    rest = weighted_sum(vin) % 11
    return "X" if rest == 10 else str(rest)


def with_check_sign(vin: str) -> str:
    """The number with position 9 put right."""
    return vin[:8] + check_sign(vin) + vin[9:]
