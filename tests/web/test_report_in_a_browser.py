"""The HTML report as people see it: on a phone, in the dark, on paper.

Driver: Playwright; rules of accessibility: axe-core (WCAG 2.0 to 2.2, levels A and AA), both from PyPI.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from browser import CHROMIUM, WHY_SKIPPED
from conftest_web import ROOT

if not CHROMIUM:
    pytest.skip(WHY_SKIPPED, allow_module_level=True)

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page

from analysis import analyse
from analysis.report.html_gathered import html_of

pytestmark = pytest.mark.xdist_group("browser")

SHOWN = ("coach-trims-exchanged", "doip-module-silent", "kwp-transfer-refused", "uds11-only-reads")
WIDTHS = (320, 390, 1280, 1920)
SERIOUS = ("serious", "critical")

#: Words of table cells that stand on more than one line although they are no bytes.
BROKEN_WORDS = """() => {
  const broken = [];
  for (const cell of document.querySelectorAll("table:not(.frames) :is(td, th):not(.long)")) {
    if (cell.closest(".more")) continue;
    const walker = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node; node = walker.nextNode()) {
      for (const found of node.data.matchAll(/[^\\s-]+/g)) {
        const range = document.createRange();
        range.setStart(node, found.index);
        range.setEnd(node, found.index + found[0].length);
        if (range.getClientRects().length > 1) broken.push(found[0]);
      }
    }
  }
  return broken;
}"""


@pytest.fixture(scope="module")
def files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    folder = tmp_path_factory.mktemp("reports")
    made = {}
    for name in SHOWN:
        kind = name.partition("-")[0]
        capture = next((ROOT / "fixtures" / name).glob("capture.*"))
        report = analyse(capture, ROOT / "fixtures" / f"{kind}.toml", [ROOT / "fixtures" / f"{kind}_names.toml"])
        made[name] = folder / f"{name}.html"
        made[name].write_text(html_of(report), encoding="utf-8")
    return made


@pytest.fixture(scope="module")
def page(browser: Browser) -> Page:
    """Past the policy of the report, so that the rules of axe-core can be put into it."""
    return browser.new_context(bypass_csp=True).new_page()


@pytest.mark.parametrize("name", SHOWN)
def test_nothing_is_cut_and_no_word_is_broken_at_any_width(page: Page, files: dict[str, Path], name: str) -> None:
    for width in WIDTHS:
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(files[name].as_uri())
        too_wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
        assert too_wide <= 0, width
        assert page.evaluate(BROKEN_WORDS) == [], width


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_report_has_no_serious_fault_of_accessibility(page: Page, files: dict[str, Path], scheme: str) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    page.emulate_media(color_scheme=scheme)  # type: ignore[arg-type]
    for file in files.values():
        page.goto(file.as_uri())
        found = Axe().run(page).response["violations"]
        assert [one["id"] for one in found if one["impact"] in SERIOUS] == []


def test_the_first_step_stands_on_the_first_screen_of_a_desk(page: Page, files: dict[str, Path]) -> None:
    page.set_viewport_size({"width": 1280, "height": 900})
    page.goto(files["kwp-transfer-refused"].as_uri())
    for wanted in ("#the-module-now p", "#the-job table", "#the-job p.caution", "#what-to-do-next li"):
        box = page.locator(wanted).first.bounding_box()
        assert box is not None, wanted
        assert box["y"] + box["height"] <= 900, wanted


def test_what_to_do_begins_on_the_first_screen_of_a_phone(page: Page, files: dict[str, Path]) -> None:
    page.set_viewport_size({"width": 390, "height": 844})
    for name in ("kwp-transfer-refused", "uds11-only-reads"):
        page.goto(files[name].as_uri())
        box = page.locator("#what-to-do-next li").first.bounding_box()
        assert box is not None
        assert box["y"] + box["height"] <= 844, name


def test_paper_has_room_for_notes_and_a_screen_has_none(page: Page, files: dict[str, Path]) -> None:
    page.goto(files["kwp-transfer-refused"].as_uri())
    page.emulate_media(media="screen")
    assert not page.locator("#notes").is_visible()
    page.emulate_media(media="print")
    assert page.locator("#notes .sign").is_visible()
    notes, steps = (page.locator(one).bounding_box() for one in ("#notes", "#step-by-step"))
    assert notes is not None
    assert steps is not None
    assert notes["y"] < steps["y"], "what is signed comes before what only a doubt makes one read"


def test_the_keyboard_reaches_the_evidence_of_a_word_and_opens_its_step(page: Page, files: dict[str, Path]) -> None:
    page.emulate_media(media="screen")
    page.goto(files["kwp-transfer-refused"].as_uri())
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.tagName").lower() == "a"
    page.keyboard.press("Enter")
    frame = page.evaluate("location.hash.slice(1)")
    assert page.evaluate("name => document.getElementById(name).tagName", frame) == "TR"
    page.locator("details summary").first.focus()
    page.keyboard.press("Enter")
    assert page.locator("details").first.get_attribute("open") is not None
