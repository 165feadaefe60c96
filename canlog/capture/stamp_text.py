"""Times as text of unknown kind: seconds, counts of an unknown unit, times of day, dates.

Theory of operation: the stamps in the head of a capture say together what one alone cannot. Most are of one
kind; a stamp of another kind is damage. What a number is worth is often not written: the unit is taken that
makes the rate of frames one a CAN bus can have. Where several do, it is one whose stamps are dates of our
time, or else one in which the quick ones among the frames follow each other as quickly as frames do.

Source: ISO 8601 for dates; rates from ISO 11898-1 (1 Mbit/s carries about 20,000 short frames); the order
in which units are tried is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import datetime
from decimal import Decimal
from itertools import pairwise
from typing import Final

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.candump_text import NOTE_LOCAL
from canlog.capture.lines import Damaged
from canlog.frames import TimeKind

SECOND_NS: Final = 1_000_000_000
UNITS_NS: Final = {"microseconds": 1_000, "milliseconds": 1_000_000, "seconds": SECOND_NS, "nanoseconds": 1}

_NUMBER: Final = re.compile(rb"(-?)(\d{1,19})(?:[.,](\d{1,20}))?(?:[eE]([+-]?\d{1,2}))?")
_DATE: Final = re.compile(
    rb"(\d{4})[-/.](\d\d)[-/.](\d\d)[Tt ]+(\d\d):(\d\d):(\d\d)(?:[.,](\d{1,9}))?\s*([Zz]|[+-]\d\d:?\d\d)?"
)
_CLOCK: Final = re.compile(rb"(\d{1,2}):(\d\d):(\d\d)(?:[.,:](\d{1,9}))?")
#: Frames a second that a capture of one or a few buses can hold.
_SLOWEST_RATE, _FASTEST_RATE = 0.02, 60_000.0
#: One frame in ten may come sooner than a short frame lasts at 1 Mbit/s (47 bits): there are two buses.
_SHORT_FRAME_NS, _QUICK_SHARE = 40_000, 0.1
#: Of so many frames two are closer than this: any answer comes sooner.
_MANY_FRAMES, _SLOW_ANSWER_NS = 100, 50_000_000
#: Whole counts, decimal numbers: which units are tried first.
_WHOLE: Final = ("microseconds", "milliseconds", "seconds", "nanoseconds")
_DECIMAL: Final = ("seconds", "milliseconds", "microseconds")
_FIRST_DATE_S, _LAST_DATE_S = 1_000_000_000, 4_102_444_800  # 2001 and 2100
_EPOCH: Final = datetime(1970, 1, 1)
_DAY_NS: Final = 86_400 * SECOND_NS

NOTE_CLOCK: Final = "its times are times of day without a date; after midnight a day was added"
NOTE_NO_UNIT: Final = "the unit of its times is not known: no unit makes sense of them, microseconds were assumed"


class Stamps:
    """What stamps of one capture mean, learned from those in its head."""

    def __init__(self, samples: Sequence[bytes], unit: str = "") -> None:
        """``unit`` is one of :data:`UNITS_NS` where the capture names it."""
        self.notes: list[str] = []
        self.time_kind: TimeKind = TimeKind.RELATIVE
        self._unit_ns = UNITS_NS["microseconds"]
        self._has_decimals: bool | None = None
        self._days, self._last_ns = 0, 0
        kinds = {
            name: [sample for sample in samples if pattern.fullmatch(sample)]
            for name, pattern in (("number", _NUMBER), ("date", _DATE), ("clock", _CLOCK))
        }
        self.kind = max(kinds, key=lambda name: len(kinds[name]))
        self.n_fitting = len(kinds[self.kind])
        self._read: Callable[[bytes], int] = getattr(self, f"_of_{self.kind}")
        getattr(self, f"_settle_{self.kind}")(kinds[self.kind], unit)

    def time_ns(self, text: bytes) -> int:
        """Nanoseconds.

        Raises:
            Damaged: no time of this capture's kind.
        """
        time_ns = self._read(text)
        if abs(time_ns) > LARGEST_SECONDS * SECOND_NS:
            raise Damaged("its time is out of range")
        return time_ns

    def _settle_number(self, samples: list[bytes], unit: str) -> None:
        decimal = 2 * sum(b"." in text or b"," in text or b"e" in text.lower() for text in samples) > len(samples)
        self._has_decimals = decimal if samples and not unit else None
        values = [number for text in samples if (number := _value(text)) is not None]
        names = [unit] if unit else _plausible_units(values, _DECIMAL if decimal else _WHOLE)
        name = (names or ["seconds" if decimal else "microseconds"])[0]
        self._unit_ns = UNITS_NS[name]
        if _are_dates(values, self._unit_ns):
            self.time_kind = TimeKind.ABSOLUTE
        if not names and len(values) > 1 and not decimal:
            self.notes.append(NOTE_NO_UNIT)
        elif not unit and len(values) > 1 and (not decimal or name != "seconds"):
            self.notes.append(f"the time column names no unit; its counts were taken as {name}")

    def _settle_date(self, samples: list[bytes], unit: str) -> None:
        zoned = sum(match[8] is not None for text in samples if (match := _DATE.fullmatch(text)))
        if samples and zoned == len(samples):
            self.time_kind = TimeKind.ABSOLUTE
        else:
            self.notes.append(NOTE_LOCAL)

    def _settle_clock(self, samples: list[bytes], unit: str) -> None:
        self.notes.append(NOTE_CLOCK)

    def _of_number(self, text: bytes) -> int:
        match = _NUMBER.fullmatch(text)
        value = _value(text)
        if match is None or value is None:
            raise Damaged("its time is no number")
        if self._has_decimals is False and match[3]:
            raise Damaged("its time has decimals, though the others have none")
        if match[4]:
            return int(value * self._unit_ns)
        time_ns = int(match[2]) * self._unit_ns
        time_ns += int((match[3] or b"")[:9].ljust(9, b"0")) * self._unit_ns // SECOND_NS
        return -time_ns if match[1] else time_ns

    def _of_date(self, text: bytes) -> int:
        match = _DATE.fullmatch(text)
        if match is None:
            raise Damaged("its time is no date and time")
        try:
            year, month, day, hour, minute, second = (int(part) for part in match.groups()[:6])
            since = datetime(year, month, day, hour, minute, second) - _EPOCH
        except ValueError:
            raise Damaged("its date does not exist") from None
        time_ns = (since.days * 86_400 + since.seconds) * SECOND_NS + int((match[7] or b"").ljust(9, b"0"))
        return time_ns - _zone_ns(match[8] or b"")

    def _of_clock(self, text: bytes) -> int:
        match = _CLOCK.fullmatch(text)
        if match is None or int(match[1]) > 23 or int(match[2]) > 59 or int(match[3]) > 60:
            raise Damaged("its time is no time of day")
        seconds = (int(match[1]) * 60 + int(match[2])) * 60 + int(match[3])
        time_ns = seconds * SECOND_NS + int((match[4] or b"").ljust(9, b"0"))
        if self._last_ns - time_ns > _DAY_NS // 2:
            self._days += 1
        self._last_ns = time_ns
        return time_ns + self._days * _DAY_NS


def _value(text: bytes) -> Decimal | None:
    match = _NUMBER.fullmatch(text)
    return Decimal(text.replace(b",", b".").decode()) if match else None


def _zone_ns(text: bytes) -> int:
    if not text or text in b"Zz":
        return 0
    digits = text[1:].replace(b":", b"")
    minutes = int(digits[:2]) * 60 + int(digits[2:])
    return (-minutes if text[:1] == b"-" else minutes) * 60 * SECOND_NS


def _plausible_units(values: list[Decimal], units: Sequence[str]) -> list[str]:
    """Units that make sense of stamps, the best first."""
    units = [name for name in units if _is_plausible(values, UNITS_NS[name])]
    dated = [name for name in units if _are_dates(values, UNITS_NS[name])]
    quick = [name for name in units if _are_quick(values, UNITS_NS[name])]
    return [*dated, *quick, *units]


def _are_quick(values: list[Decimal], unit_ns: int) -> bool:
    """Do the quick ones among the frames follow each other as frames on a bus do?"""
    steps = sorted(step * unit_ns for before, after in pairwise(values) if (step := after - before) > 0)
    if not steps or steps[int(len(steps) * _QUICK_SHARE)] < _SHORT_FRAME_NS:
        return False
    return len(steps) < _MANY_FRAMES or steps[0] < _SLOW_ANSWER_NS


def _is_plausible(values: list[Decimal], unit_ns: int) -> bool:
    """Is the rate of frames one that a bus can have?"""
    steps = sum((max(after - before, Decimal(0)) for before, after in pairwise(values)), Decimal(0)) * unit_ns
    return bool(steps) and _SLOWEST_RATE < len(values) * SECOND_NS / float(steps) < _FASTEST_RATE


def _are_dates(values: list[Decimal], unit_ns: int) -> bool:
    seconds = [value * unit_ns / SECOND_NS for value in values]
    return bool(seconds) and min(seconds) >= _FIRST_DATE_S and max(seconds) <= _LAST_DATE_S
