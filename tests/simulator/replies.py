"""What a service hands back: an answer on its way, or a refusal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

DEFAULT, PROGRAMMING, EXTENDED = 1, 2, 3  # sessions

#: Negative response codes used here. ISO 14229-1:2020, annex A (M); names and numbers agree with udsoncan.
SERVICE_UNKNOWN, SUBFUNCTION_UNKNOWN, BAD_LENGTH = 0x11, 0x12, 0x13
SEQUENCE, OUT_OF_RANGE, LOCKED, INVALID_KEY = 0x24, 0x31, 0x33, 0x35
NOT_ACCEPTED, WRONG_COUNTER, NOT_IN_SESSION = 0x70, 0x73, 0x7F


@dataclass
class Reply:
    """An answer on its way: ``final`` ``None`` is silence; ``before`` and ``after`` happen around sending it."""

    final: bytes | None
    take_ns: int = 0
    pending_ns: tuple[int, ...] = ()
    before: Callable[[], None] | None = None
    after: Callable[[], None] | None = None


class Refused(Exception):  # noqa: N818  (a refusal is an answer, not an error)
    """A final negative response with this code."""

    def __init__(self, code: int) -> None:
        super().__init__(f"{code:02X}")
        self.code = code
