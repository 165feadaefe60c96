"""Items that ask for a copy: the module to copy from is held to what it said when the copy was made."""

from __future__ import annotations

from talk import KEEPER, Talk, gap, heard, item, read, reset, write

GOOD, OTHER, BLANK, ZEROS = "41 42 43 44 45 46", "41 42 43 44 45 99", "FF FF FF FF FF FF", "00 00 00 00 00 00"
SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
trims = [ { identifier = "3A01", copied_from = "PMU" } ]
[[module]]
label = "PMU"
link = "7E1:7E9"
"""


def copied(*talk: Talk) -> tuple[str, str, str]:
    found = item(heard(*talk, sheet=SHEET), "trim 3A01")
    return str(found.word), found.note, found.would_change


def proved(value: str) -> list[Talk]:
    return [write("3A01", value), reset(), read("3A01", value)]


def test_a_good_copy_stays_good_where_the_keeper_is_overwritten_later() -> None:
    talk = [read("3A01", GOOD, KEEPER), *proved(GOOD), gap(1), write("3A01", BLANK, on=KEEPER)]
    assert copied(*talk, read("3A01", BLANK, KEEPER))[0] == "confirmed"


def test_a_copy_of_what_the_keeper_said_long_ago_is_none() -> None:
    talk = [read("3A01", OTHER, KEEPER), write("3A01", GOOD, on=KEEPER), read("3A01", GOOD, KEEPER)]
    assert copied(*talk, *proved(OTHER))[0] == "failed"


def test_a_keeper_read_behind_the_copy_alone_still_tells_its_value() -> None:
    assert copied(*proved(GOOD), read("3A01", GOOD, KEEPER))[0] == "confirmed"


def test_a_keeper_overwritten_in_front_of_its_only_reading_tells_nothing() -> None:
    word, note, _ = copied(*proved(GOOD), write("3A01", BLANK, on=KEEPER), read("3A01", BLANK, KEEPER))
    assert word == "unproven"
    assert "source's value is not in the capture" in note


def test_a_blank_trim_does_not_read_as_asked_where_the_keeper_was_overwritten_with_blanks() -> None:
    talk = [read("3A01", GOOD, KEEPER), read("3A01", BLANK), write("3A01", BLANK, on=KEEPER)]
    word, note, _ = copied(*talk, read("3A01", BLANK, KEEPER), read("3A01", BLANK))
    assert word == "not-shown"
    assert "as asked" not in note


def test_equal_blanks_are_never_as_asked() -> None:
    for value in (BLANK, ZEROS):
        word, note, wish = copied(read("3A01", value, KEEPER), read("3A01", value))
        assert word == "not-shown"
        assert "as asked" not in note
        assert "another source" in wish


def test_copied_blanks_are_never_confirmed() -> None:
    for value in (BLANK, ZEROS):
        word, note, wish = copied(read("3A01", value, KEEPER), *proved(value))
        assert word == "unproven"
        assert note.startswith("PMU itself holds")
        assert "another source" in wish
