"""The walk's page in Debian's Chromium: its keys, its sizes, its contrast, its paper.

Driver: Playwright; rules of accessibility: axe-core (WCAG 2.0 to 2.2, levels A and AA), both from PyPI.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from browser import CHROMIUM, WHY_SKIPPED
from playwright.sync_api import Browser, Page

from analysis import analyse
from analysis.walk.as_html import walk_html
from analysis.walk.audience import Audience
from analysis.walk.beside import beside
from analysis.walk.beside_pages import beside_html
from analysis.walk.lesson import load_lesson, whole_session
from analysis.walk.steps import walk_through

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = [FIXTURES / "coach_names.toml"]
SIZES = [(390, 844), (1280, 800), (1920, 1080)]
SERIOUS = ("serious", "critical")

pytestmark = [
    pytest.mark.skipif(not CHROMIUM, reason=WHY_SKIPPED),
    pytest.mark.xdist_group("browser"),
]


@pytest.fixture(scope="module")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Addresses of the pages by name."""
    folder = tmp_path_factory.mktemp("walk")
    good, bad = (analyse(FIXTURES / name / "capture.log", names=NAMES) for name in _SESSIONS)
    walk = walk_through(good)
    lesson = load_lesson(FIXTURES / "coach_lesson.toml", walk)
    made = {
        "class": walk_html(walk, whole_session(walk), Audience.CLASS),
        "trainer": walk_html(walk, lesson, Audience.TRAINER),
        "sheet": walk_html(walk, lesson, Audience.SHEET),
        "beside": beside_html(beside(good, bad), ("good.log", "bad.log"), Audience.CLASS),
    }
    for name, page in made.items():
        (folder / f"{name}.html").write_text(page, encoding="utf-8")
    return {name: (folder / f"{name}.html").as_uri() for name in made}


_SESSIONS = ("coach-all-good", "coach-erase-low-voltage")


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """What a page does against its own policy, or breaks on, fails the test."""
    opened = browser.new_page(viewport={"width": 1280, "height": 800})
    said: list[str] = []
    opened.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    opened.on("pageerror", lambda one: said.append(str(one)))
    yield opened
    opened.close()
    assert said == []


def shown(page: Page) -> str:
    """The number of the one step that is seen."""
    found = page.locator(".step:visible .no").all_inner_texts()
    assert len(found) == 1
    return found[0]


def test_arrow_keys_turn_one_step_at_a_time(page: Page, pages: dict[str, str]) -> None:
    page.goto(pages["class"])
    seen = [shown(page)]
    for key in ("ArrowRight", "ArrowRight", "ArrowLeft", "PageDown", "End", "ArrowRight", "Home", "ArrowLeft"):
        page.keyboard.press(key)
        seen.append(shown(page))
    last = page.locator(".here a").last.inner_text()
    numbers = ["1", "2", "3", "2", "3", last, last, "1", "1"]
    assert seen == [f"Step {number}" for number in numbers]


def test_answers_open_one_after_the_other_and_shut_when_all_are_open(page: Page, pages: dict[str, str]) -> None:
    page.goto(pages["class"])
    to_open = page.locator(".step.shown .asks details, .step.shown .tell")
    total = to_open.count()
    assert total >= 2
    counts = []
    for _ in range(total + 1):
        counts.append(page.locator(".step.shown details[open]").count())
        page.keyboard.press("o")
    counts.append(page.locator(".step.shown details[open]").count())
    assert counts == [*range(total + 1), 0]


def test_a_mark_of_the_line_and_the_address_lead_to_a_step(page: Page, pages: dict[str, str]) -> None:
    page.goto(pages["class"] + "#p20")
    assert shown(page) == "Step 20"
    page.locator(".here a", has_text="33").first.click()
    assert shown(page) == "Step 33" and page.evaluate("location.hash") == "#p33"


@pytest.mark.parametrize("name", ["class", "trainer", "sheet", "beside"])
@pytest.mark.parametrize(("width", "height"), SIZES)
def test_nothing_is_wider_than_the_window(
    page: Page, pages: dict[str, str], name: str, width: int, height: int
) -> None:
    page.set_viewport_size({"width": width, "height": height})
    page.goto(pages[name])
    for _ in range(4):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        page.keyboard.press("ArrowRight")


def test_on_a_projector_frames_and_questions_are_seen_together_in_large_type(page: Page, pages: dict[str, str]) -> None:
    page.set_viewport_size({"width": 1920, "height": 1080})
    page.goto(pages["class"] + "#p33")
    frames, asks = (page.locator(f".step.shown {one}").bounding_box() for one in (".raw", ".asks"))
    assert frames and asks
    assert asks["x"] >= frames["x"] + frames["width"] and asks["y"] + asks["height"] < 1080
    size = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.step.shown .asks p')).fontSize)")
    assert size >= 24


@pytest.mark.parametrize("name", ["class", "trainer", "sheet", "beside"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_axe_finds_no_serious_fault(browser: Browser, pages: dict[str, str], name: str, scheme: str) -> None:
    page = browser.new_page(color_scheme=scheme)  # type: ignore[arg-type]
    page.goto(pages[name])
    for one in page.locator("details").all()[:12]:
        one.evaluate("one => one.open = true")
    found = Axe().run(page).response["violations"]
    page.close()
    assert [(one["id"], one["nodes"][0]["html"]) for one in found if one["impact"] in SERIOUS] == []


@pytest.mark.parametrize("name", ["class", "trainer"])
def test_on_paper_every_step_stands_whatever_the_script_hid(page: Page, pages: dict[str, str], name: str) -> None:
    page.goto(pages[name])
    page.emulate_media(media="print")
    assert page.locator(".step:visible").count() == page.locator(".step").count()
    assert not page.locator(".here").is_visible()


@pytest.mark.parametrize("name", ["trainer", "sheet"])
def test_on_paper_frames_stand_in_one_table_beside_questions_with_room(
    page: Page, pages: dict[str, str], name: str
) -> None:
    page.set_viewport_size({"width": 695, "height": 1000})  # A4 less its margins, at 96 dots an inch
    page.emulate_media(media="print")
    page.goto(pages[name])
    widths = page.locator(".asks").evaluate_all("all => all.map(one => one.getBoundingClientRect().width)")
    assert widths and min(widths) > 250
    columns = page.locator(".stage .wide").evaluate_all("all => all.map(one => getComputedStyle(one).columnCount)")
    assert set(columns) == {"auto"}


def test_without_the_script_the_page_is_one_long_page(browser: Browser, pages: dict[str, str]) -> None:
    page = browser.new_page(java_script_enabled=False)
    page.goto(pages["class"])
    assert page.locator(".step:visible").count() == page.locator(".step").count() > 50
    page.close()
