"""Every word of a report against the table of words worked out by hand from the rules (fixtures/README.md).

What the simulated modules really hold at the end stands in each fixture's truth.json; that the table calls
nothing confirmed which a module does not hold is tested with the simulator.
"""

import csv
from collections.abc import Iterator
from functools import lru_cache

import pytest
from given import FIXTURES, Key, read_with


def expected() -> dict[Key, list[dict[str, str]]]:
    table: dict[Key, list[dict[str, str]]] = {}
    with (FIXTURES / "expected_words.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            table.setdefault((row["fixture"], row["sheet"], row["names"]), []).append(row)
    return table


TABLE = expected()


@lru_cache(maxsize=3)  # the scope of the parameter has all tests of a report follow each other
def report_of(key: Key) -> dict:
    return read_with(key).to_dict()


def said(report: dict) -> Iterator[tuple[str, str, str]]:
    yield "overall", report["verdict"]["overall"], report["verdict"]["confidence"]
    for name, part in report["verdict"]["parts"].items():
        yield name, part["word"], part["confidence"]


@pytest.mark.parametrize("key", TABLE, ids="|".join, scope="module")
def test_the_report_says_the_words_of_the_table(key: Key) -> None:
    report = report_of(key)
    wanted = {row["part"]: (row["word"], row["confidence"]) for row in TABLE[key]}
    for part, word, confidence in said(report):
        want_word, want_confidence = wanted.pop(part)
        assert (part, word) == (part, want_word)
        assert not want_confidence or (part, confidence) == (part, want_confidence)
    assert not wanted


@pytest.mark.parametrize("key", TABLE, ids="|".join, scope="module")
def test_no_check_is_broken(key: Key) -> None:
    assert [finding["title"] for finding in report_of(key)["findings"] if finding["title"].endswith("is broken")] == []


@pytest.mark.parametrize("key", TABLE, ids="|".join, scope="module")
def test_what_is_not_confirmed_says_what_would_change_it(key: Key) -> None:
    report = report_of(key)
    verdict = report["verdict"]
    words = [*verdict["parts"].items(), *((one["kind"], one) for one in report["operations"])]
    words += [(one["item"], one) for one in report["expectations"]]
    assert [name for name, one in words if one["word"] != "confirmed" and not one["would_change"]] == []
    if any(part["word"] in ("unproven", "failed", "interrupted") for part in verdict["parts"].values()):
        assert verdict["next_steps"]


def test_every_fixture_is_in_the_table() -> None:
    folders = {path.parent.name for path in FIXTURES.glob("*/truth.json")}
    assert folders == {fixture for fixture, _, _ in TABLE}
