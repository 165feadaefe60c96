"""A comparison says the same as a text and on the upload page, for every shipped capture beside a good one."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from xml.etree import ElementTree

import pytest

from analysis import analyse
from analysis.compare.page import render_comparison, tell_comparison
from analysis.compare.sessions import Comparison, Difference, compare
from analysis.report.html_page import HtmlPage
from analysis.report.lines import short_hex
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"
NAMES = sorted(path.parent.name for path in FIXTURES.glob("*/truth.json"))


@cache
def good_of(world: str, named: bool) -> Report:
    """The whole job of a world, or else its first session."""
    of_world = [name for name in NAMES if name.partition("-")[0] == world]
    return opened(f"{world}-all-good" if f"{world}-all-good" in NAMES else of_world[0], named)


def opened(name: str, named: bool) -> Report:
    names = FIXTURES / f"{name.partition('-')[0]}_names.toml"
    return analyse(next((FIXTURES / name).glob("capture.*")), names=[names] if named else [])


def words(text: str) -> list[str]:
    return re.findall(r"\w+", text.lower())


def said(element: ElementTree.Element) -> str:
    """Blocks told apart."""
    if element.tag in ("main", "section", "ul", "ol"):
        return " ".join(map(said, element))
    return "".join(element.itertext())


def sides(one: Difference) -> list[str]:
    return [f"{step.who}, {short_hex(step.told)}" for step in (one.good, one.bad) if step is not None]


def must_be_said(found: Comparison) -> list[str]:
    """What the answer rests on: the parting and its two sides, the last step alike, how many steps there are."""
    if not found.n_good or not found.n_bad:
        return ["nothing to compare"]
    counts = [f"good, {found.n_good:,} step", f"bad, {found.n_bad:,} step", f"alike: {found.n_alike};"]
    if found.parting is None:
        return ["do not part", *counts]
    alike = [short_hex(found.last_alike[0].told)] if found.last_alike is not None else []
    return [found.parting.kind.value, *sides(found.parting), *alike, *counts]


@pytest.mark.parametrize("named", [True, False], ids=["named", "unnamed"])
@pytest.mark.parametrize("name", NAMES)
def test_a_comparison_says_the_same_on_the_page_and_as_text(name: str, named: bool) -> None:
    found = compare(good_of(name.partition("-")[0], named), opened(name, named))
    page = HtmlPage()
    tell_comparison(page, found, "the good", "the bad")
    on_page = said(ElementTree.fromstring(f"<main>{page}</main>"))
    text = render_comparison(found, "the good", "the bad", 10_000, color=False)
    assert words(on_page) == words(text)
    for wanted in must_be_said(found):
        assert words(wanted)[0] in words(text)
        assert "".join(words(wanted)) in "".join(words(text)), wanted
