"""A reset that was accepted is a restart only where the module can have started, and did not stay where it was."""

from __future__ import annotations

from talk import SOFTWARE, ask, enter, gap, heard, programming, read, reset, word_of

NEW = b"PCU-SW-1207"
ACCEPTED = ask("11 01", "51 01")
BEFORE = [read("F188", SOFTWARE), enter(), programming()]


def test_an_identification_read_at_once_behind_a_reset_is_read_before_the_restart() -> None:
    report = heard(BEFORE, ACCEPTED, read("F188", NEW), gap(2), ask("3E 00", "7E 00"))
    assert word_of(report, "download")[0] == "unproven"


def test_one_that_is_read_again_when_the_module_has_started_proves() -> None:
    report = heard(BEFORE, ACCEPTED, read("F188", NEW), gap(2), read("F188", NEW))
    assert word_of(report, "download") == ("confirmed", "high")


def test_a_module_that_is_still_in_its_session_has_not_started() -> None:
    report = heard(BEFORE, ask("10 03", "50 03 0032 01F4"), reset(), read("F188", NEW), read("F186", "03"))
    assert word_of(report, "download")[0] == "unproven"
    assert word_of(report, "reset")[0] == "unproven"


def test_a_session_that_was_asked_for_again_says_nothing_against_the_restart() -> None:
    report = heard(BEFORE, reset(), ask("10 03", "50 03 0032 01F4"), read("F186", "03"), read("F188", NEW))
    assert word_of(report, "download") == ("confirmed", "high")
