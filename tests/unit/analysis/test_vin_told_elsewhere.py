"""A module may keep its VIN in several places: one that says another VIN since speaks against the write.

SAE J1979 service 09 infotype 02 and F802 are what emission diagnostics tell; F190 is what a tester writes.
"""

from __future__ import annotations

import pytest
from talk import KEEPER, Talk, ask, heard, item, only, read, reset, word_of, write

OLD, NEW = b"E0VLK3P06SM018677", b"E0VLK3P06SM018931"
WRITTEN: list[Talk] = [read("F190", OLD), write("F190", NEW), reset(), read("F190", NEW)]
SHEET = f"""
[vehicle]
vin = "{NEW.decode()}"
[[module]]
label = "PCU"
link = "7E0:7E8"
vin = "write"
"""


def elsewhere(vin: bytes) -> Talk:
    return ask("09 02", b"\x49\x02\x01" + vin)


PLACES = {"service 09": elsewhere, "F802": lambda vin: read("F802", b"\x01" + vin)}


@pytest.mark.parametrize("place", PLACES.values(), ids=PLACES)
def test_another_vin_told_since_the_restart_takes_the_proof_away(place: object) -> None:
    report = heard(WRITTEN, place(OLD))  # type: ignore[operator]
    outcome = only(report, "write").outcome
    assert (outcome.word, outcome.confidence) == ("unproven", "medium")
    assert f"says {OLD.decode()} since" in outcome.because[0]
    assert any(str(step).startswith("Compare ") for step in report.verdict.next_steps)
    assert word_of(heard(WRITTEN, place(NEW)), "write") == ("confirmed", "high")  # type: ignore[operator]


def test_the_sheets_item_is_not_proven_either() -> None:
    assert item(heard(WRITTEN, elsewhere(OLD), sheet=SHEET), "VIN").word == "unproven"


@pytest.mark.parametrize(
    "talk",
    [
        [elsewhere(OLD), WRITTEN],
        [read("F190", OLD), write("F190", NEW), elsewhere(OLD), reset(), read("F190", NEW)],
        [WRITTEN, elsewhere(OLD), elsewhere(NEW)],
        [WRITTEN, elsewhere(b"\xff" * 17)],
    ],
    ids=["before the write", "before the restart", "put right since", "holds none there"],
)
def test_what_was_told_before_or_is_no_vin_takes_nothing_away(talk: Talk) -> None:
    assert word_of(heard(talk), "write") == ("confirmed", "high")


def test_another_module_may_say_what_it_wants() -> None:
    report = heard(WRITTEN, read("F190", OLD, on=KEEPER))
    assert word_of(report, "write") == ("confirmed", "high")


def test_a_vin_that_reads_differently_is_compared_with_the_plate_and_not_simply_written_again() -> None:
    report = heard(read("F190", OLD), write("F190", NEW), reset(), read("F190", b"E0VLK3P06SM018932"))
    steps = " ".join(map(str, report.verdict.next_steps))
    assert "with the plate on the vehicle" in steps
    assert "label on the part" not in steps
