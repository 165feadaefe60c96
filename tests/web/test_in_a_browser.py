"""What a technician and a class do, in a real browser: every page at every width, with and without a script.

Driver: Playwright; rules of accessibility: axe-core (WCAG 2.0 to 2.2, levels A and AA), both from PyPI.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import CHROMIUM, WHY_SKIPPED
from conftest_web import ROOT
from kills import served

if not CHROMIUM:
    pytest.skip(WHY_SKIPPED, allow_module_level=True)

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Locator, Page

pytestmark = pytest.mark.xdist_group("browser")  # one browser and one page for all of them

GOOD = ROOT / "fixtures" / "uds11-all-good-short" / "capture.log"
BAD = ROOT / "fixtures" / "coach-erase-low-voltage" / "capture.log"
PHONE = {"width": 390, "height": 844}
DESK = {"width": 1280, "height": 800}
SERIOUS = ("serious", "critical")


@pytest.fixture(scope="module")
def base(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    with served(tmp_path_factory.mktemp("browser") / "data") as (_, address):
        yield address


@pytest.fixture
def page(browser: Browser, base: str) -> Iterator[Page]:
    """A fresh visitor on a phone. What a page does against its own policy, or breaks on, fails the test."""
    context = browser.new_context(base_url=base, viewport=PHONE)  # type: ignore[arg-type]
    opened = context.new_page()
    said: list[str] = []
    opened.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    opened.on("pageerror", lambda one: said.append(str(one)))
    yield opened
    context.close()
    assert [one for one in said if not one.startswith("Failed to load resource")] == []


@pytest.fixture(scope="module")
def jobs(browser: Browser, base: str) -> dict[str, str]:
    """A good job with its names, and a failed one: sent once, without a script."""
    context = browser.new_context(base_url=base, java_script_enabled=False)
    opened = context.new_page()
    places = {"good": send_and_look_again(opened, GOOD), "bad": send_and_look_again(opened, BAD)}
    context.close()
    return places


def send(page: Page, *captures: Path) -> str:
    """Choose files and press the button; the address of the job once its words are there."""
    page.goto("/")
    page.get_by_label("Recordings of the bus").set_input_files(list(captures))
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("link", name="Read the report").wait_for()
    return re.sub(r"^http://[^/]+", "", page.url)


def send_and_look_again(page: Page, *captures: Path) -> str:
    """The same without a script: the visitor reloads, as the page does by itself where scripts are really off."""
    page.goto("/")
    page.get_by_label("Recordings of the bus").set_input_files(list(captures))
    follow(page, page.get_by_role("button", name="Read it"))
    for _ in range(100):
        if page.get_by_role("link", name="Read the report").count():
            break
        page.wait_for_timeout(100)
        page.reload()
    return re.sub(r"^http://[^/]+", "", page.url)


def follow(page: Page, what: Locator) -> None:
    """Click what leads to another page, and be there: a click alone comes back before the new page stands."""
    with page.expect_navigation():
        what.click()


def drop(page: Page, *captures: Path) -> None:
    """What a browser hands to the page when files are dropped on it."""
    files = [{"name": one.name, "text": one.read_text()} for one in captures]
    page.locator(".drop").evaluate(
        """(zone, files) => {
          const carried = new DataTransfer();
          for (const one of files) carried.items.add(new File([one.text], one.name));
          for (const kind of ["dragenter", "dragover", "drop"]) {
            zone.dispatchEvent(new DragEvent(kind, {dataTransfer: carried, bubbles: true, cancelable: true}));
          }
        }""",
        files,
    )


def faults(page: Page) -> list[Any]:
    """Serious faults that axe-core finds."""
    found = Axe().run(page).response["violations"]
    return [(one["id"], [node["html"] for node in one["nodes"]][:3]) for one in found if one["impact"] in SERIOUS]


def sticks_out(page: Page) -> bool:
    return bool(page.evaluate("document.documentElement.scrollWidth > innerWidth"))


def test_dropped_recordings_become_words(page: Page) -> None:
    page.goto("/")
    drop(page, GOOD)
    assert page.locator("[role=status]").inner_text() == "1 chosen"
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("link", name="Read the report").wait_for()
    assert "confirmed" in page.locator("main").inner_text()


def test_a_refused_upload_keeps_what_was_filled_in(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Recordings of the bus").set_input_files(GOOD)
    page.get_by_text("What was meant to happen").click()
    page.get_by_label("VIN", exact=True).fill("SHORT")
    page.get_by_role("button", name="Read it").click()
    page.get_by_text("17 capital letters").wait_for()
    assert page.get_by_label("VIN", exact=True).input_value() == "SHORT"
    assert page.get_by_role("button", name="Read it").is_enabled()


def test_words_lead_to_their_frames(page: Page, jobs: dict[str, str]) -> None:
    page.goto(jobs["good"])
    follow(page, page.get_by_role("link", name="Read the report"))
    assert "confirmed" in page.locator("main").inner_text()
    link = page.locator("main a[href^='#c1-l']").first
    target = link.get_attribute("href") or ""
    link.click()
    assert page.evaluate("document.querySelector(':target').id") == target.removeprefix("#")
    page.locator(".steps summary").first.click()
    assert page.locator(".steps details[open] pre").is_visible()


def test_a_failed_programming_is_said(page: Page, jobs: dict[str, str]) -> None:
    page.goto(jobs["bad"])
    words = page.locator("main").inner_text()
    assert "failed" in words or "interrupted" in words
    assert page.locator("main .bad").count()


def test_a_failed_job_is_compared_with_one_that_worked(page: Page, jobs: dict[str, str]) -> None:
    page.goto(jobs["bad"])
    assert page.get_by_role("heading", name="Note", exact=True).is_visible()
    page.get_by_label("This one did not work").select_option(jobs["good"].rpartition("/")[2])
    follow(page, page.get_by_role("button", name="Compare"))
    page.get_by_role("heading", name="What was compared").wait_for()
    assert page.get_by_label("The one that did not").input_value() == jobs["bad"].rpartition("/")[2]


def test_nothing_that_was_sent_runs(page: Page) -> None:
    """Names, notes, the form and the capture hold scripts; the page fixture fails on what its policy had to stop."""
    ran: list[str] = []
    page.on("dialog", lambda one: (ran.append(one.message), one.dismiss()))
    evil = "<img src=x onerror=alert(1)><script>alert(2)</script>\"'><svg onload=alert(3)>{{7*7}}"
    capture = {"name": f"{evil}.log", "mimeType": "text/html", "buffer": evil.encode() + b"\n" + GOOD.read_bytes()}
    page.goto("/")
    page.get_by_label("Recordings of the bus").set_input_files([capture, capture])  # type: ignore[list-item]
    page.get_by_text("What was meant to happen").click()
    page.get_by_label("CAN ids").fill("7E0:7E8")
    page.get_by_label("Software id").fill(evil)
    page.get_by_label("Note (optional)").fill(evil)
    page.get_by_role("button", name="Read it").click()
    page.get_by_role("link", name="Read the report").wait_for()
    place = re.sub(r"^http://[^/]+", "", page.url)
    name = place.rpartition("/")[2]
    assert page.locator("#note").input_value() == evil  # shown, as text
    more = ("/report", "/walk/class", "/walk/trainer", "/walk/sheet", "/delete")
    pair = f"good={name}&bad={name}"
    for path in (*(f"{place}{one}" for one in more), f"/compare?{pair}", f"/compare/class?{pair}", "/?q=" + evil):
        page.goto(path)
        assert page.locator("img[src=x], svg[onload]").count() == 0, path
    page.goto(f"{place}/delete")
    follow(page, page.get_by_role("button", name="Delete for good"))
    assert ran == []


def test_two_recordings_are_compared(page: Page, jobs: dict[str, str]) -> None:
    page.goto(jobs["good"])
    page.get_by_label("This one worked").select_option(jobs["bad"].rpartition("/")[2])
    follow(page, page.get_by_role("button", name="Compare"))
    page.get_by_role("heading", name="What was compared").wait_for()
    assert not sticks_out(page) and faults(page) == []
    follow(page, page.get_by_role("link", name="Both beside each other"))
    page.get_by_role("heading", name="Two sessions").wait_for()
    assert faults(page) == []


def test_a_class_walks_by_keyboard(page: Page, jobs: dict[str, str]) -> None:
    page.goto(jobs["good"])
    follow(page, page.get_by_role("link", name="answers closed"))
    assert page.locator(".step.shown").count() == 1
    first = page.locator(".step.shown").get_attribute("id")
    page.keyboard.press("ArrowRight")
    assert page.locator(".step.shown").get_attribute("id") != first
    before = page.locator(".step.shown details[open]").count()
    page.keyboard.press("o")
    assert page.locator(".step.shown details[open]").count() > before
    assert not sticks_out(page) and faults(page) == []
    page.goto(f"{jobs['good']}/walk/trainer")
    page.get_by_role("heading", name="What became of it").wait_for()
    assert faults(page) == []


def test_an_upload_needs_only_the_keyboard(page: Page) -> None:
    page.goto("/")
    page.get_by_label("Recordings of the bus").set_input_files(GOOD)  # the file chooser belongs to the browser
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.textContent") == "To the content"
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Read it":
            break
    page.keyboard.press("Enter")
    page.get_by_role("link", name="Read the report").wait_for()
    for _ in range(20):
        page.keyboard.press("Tab")
        if page.evaluate("document.activeElement.textContent") == "Read the report":
            break
    page.keyboard.press("Enter")
    page.wait_for_url("**/report")


def test_a_recording_is_found_noted_and_deleted(page: Page) -> None:
    place = send(page, GOOD, BAD)
    page.get_by_label("What you want to remember").fill("the blue bus")
    follow(page, page.get_by_role("button", name="Keep the note"))
    page.goto("/")
    page.get_by_label("Search: VIN").fill("blue bus")
    follow(page, page.get_by_role("button", name="Search"))
    assert page.locator(".jobs li").count() == 1
    follow(page, page.locator(".jobs a"))
    follow(page, page.get_by_role("link", name="Delete…"))
    assert not sticks_out(page) and faults(page) == []
    follow(page, page.get_by_role("button", name="Delete for good"))
    assert page.url.endswith("/") and place not in page.content()


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("size", [PHONE, DESK], ids=["phone", "desk"])
def test_every_page_fits_and_has_no_serious_fault(
    browser: Browser, base: str, jobs: dict[str, str], size: dict[str, int], scheme: Any
) -> None:
    context = browser.new_context(base_url=base, viewport=size, color_scheme=scheme)  # type: ignore[arg-type]
    page = context.new_page()
    good, bad = (jobs[one].rpartition("/")[2] for one in ("good", "bad"))
    paths = ["/", "/formats", "/nowhere", jobs["good"], f"{jobs['bad']}/report", f"/compare?good={good}&bad={bad}"]
    for path in paths:
        page.goto(path)
        assert not sticks_out(page), path
        assert faults(page) == [], path
    context.close()
