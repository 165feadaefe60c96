"""A clock that goes back leaves open what came last: the headline does not say beside it that all is well.

Common practice, no source.
"""

from __future__ import annotations

from talk import START_NS, Talk, ask, gap, judged, log_of, read, reset, write

from analysis.report.model import Report

MINUTE = 60 * 10**9
FIRST: list[Talk] = [read("4A10", "00000000"), write("4A10", "01020304"), reset(), read("4A10", "01020304")]
OTHER: list[Talk] = [read("4B10", "00000000"), write("4B10", "05060708"), reset(), read("4B10", "05060708")]
ACTIVE = ask("19 02 FF", "59 02 FF 123456 2F")


def joined(*talks: list[Talk]) -> Report:
    """Each part was recorded a minute before the one in front of it."""
    parts = [log_of(*talk, start_ns=START_NS - at * MINUTE) for at, talk in enumerate(talks)]
    return judged("".join(parts))


def test_what_came_last_is_not_known_and_each_act_is_confirmed_by_itself() -> None:
    verdict = joined(FIRST, OTHER).verdict
    assert verdict.overall == "confirmed"
    assert "what came last is not known. Each by itself confirmed" in verdict.headline
    assert "All confirmed" not in verdict.headline


def test_a_finding_beside_it_is_said_without_all_confirmed() -> None:
    headline = joined(FIRST, [*OTHER, gap(1), ACTIVE]).verdict.headline
    assert "what came last is not known. Each by itself confirmed, but a fault is active" in headline


def test_with_a_clock_that_goes_on_all_is_confirmed() -> None:
    headline = judged(log_of(*FIRST, *OTHER)).verdict.headline
    assert headline.startswith("All confirmed")
