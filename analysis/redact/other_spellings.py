"""How the same value may stand elsewhere: backwards, as UTF-16, a number as its digits and digits as a number.

Common practice, no source: modules keep a serial number in BCD and tell it in ASCII, or the other way round.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.redact.search import LEAST


def other_spellings(old: bytes, new: bytes) -> Iterator[tuple[bytes, bytes]]:
    """Pairs of equal length: a value in another spelling, and its replacement in the same; none shorter than four."""
    pairs = [(old, new)]
    if old.isascii() and new.isascii():
        for code in ("utf-16-le", "utf-16-be"):
            yield old.decode("ascii").encode(code), new.decode("ascii").encode(code)
    if old.isdigit() and new.isdigit() and len(old) % 2 == 0 and len(old) >= 2 * LEAST:
        pairs.append((bytes.fromhex(old.decode()), bytes.fromhex(new.decode())))
    for one, other in ((old.hex(), new.hex()), (old.hex().upper(), new.hex().upper())):
        pairs.append((one.encode(), other.encode()))
    yield from pairs[1:]
    yield from ((one[::-1], other[::-1]) for one, other in pairs[:2])
