"""A transfer carried from one capture into the next: a third one beside either of them proves nothing of it.

Common practice, no source.
"""

from __future__ import annotations

from talk import (
    CHECK,
    NAMES,
    SOFTWARE,
    START_NS,
    ask,
    enter,
    judged,
    log_of,
    programming,
    read,
    word_of,
)

MS = 10**6
WHOLE = log_of(read("F188", SOFTWARE), enter(), programming()).splitlines(keepends=True)
CUT = next(at for at, line in enumerate(WHOLE, 1) if "7E8#027602" in line)
FIRST, REST = "".join(WHOLE[:CUT]), "".join(WHOLE[CUT:])
GOOD = ask(CHECK, "71 01 0266 00")


def test_a_check_in_a_capture_beside_the_second_part_proves_nothing() -> None:
    """It may have been in front of the last block: two loggers' clocks differ by more than that."""
    beside = log_of(GOOD, start_ns=START_NS + 37 * MS)
    assert word_of(judged(FIRST, REST, beside, names=NAMES), "download")[0] != "confirmed"


def test_a_check_in_a_capture_behind_the_second_part_proves_it() -> None:
    behind = log_of(GOOD, start_ns=START_NS + 500 * MS)
    assert word_of(judged(FIRST, REST, behind, names=NAMES), "download") == ("confirmed", "medium")
