"""The page, the JSON and the text of a report say the same, on every shipped capture, with and without sheet and names.

The page is taken apart as XML and laid beside the JSON piece by piece; page and text are the same words in one order.
"""

from __future__ import annotations

import csv
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from given import FIXTURES, Key, read_with

from analysis import analyse
from analysis.report import html_gathered, wording
from analysis.report.contract import ReportDict
from analysis.report.html_gathered import html_of
from analysis.report.lines import short_hex
from analysis.report.model import Report
from analysis.report.text import render_text

with (FIXTURES / "expected_words.csv").open(newline="") as file:
    KEYS = sorted({(row["fixture"], row["sheet"], row["names"]) for row in csv.DictReader(file)})
REAL = sorted(path for path in (FIXTURES / "real").iterdir() if path.suffix in (".asc", ".csv"))
#: Sections that only the page has: it adds the steps, the frames and what belongs to paper.
PAGE_ALONE = (
    "the-session-in-one-picture", "step-by-step", "frames-of-the-evidence", "how-this-was-made", "notes", "see-more",
)  # fmt: skip
PARTS = ("programming", "trims", "vin", "fault_memory", "learn")


class Shown:
    """The page, taken apart."""

    def __init__(self, html: str) -> None:
        self.title = re.search(r"<title>(.*?)</title>", html)
        begin, end = html.index("<main>"), html.index("</main>") + len("</main>")
        self.main = ElementTree.fromstring(html[begin:end])
        self.sections = {str(one.get("id")): one for one in self.main.iter("section")}

    def items(self, section: str, tag: str) -> list[str]:
        return [said(one) for one in self.sections[section].iter(tag)] if section in self.sections else []

    def rows(self, section: str) -> list[list[str]]:
        if section not in self.sections:
            return []
        return [[said(cell) for cell in row] for row in self.sections[section].iter("tr") if row.get("class") != "more"]

    def shared(self) -> str:
        """All that the text has to say as well, in order."""
        parts = [said(one) for one in self.main if one.tag != "section"]
        for name, one in self.sections.items():
            if name not in PAGE_ALONE:
                parts += map(said, one)
        return " ".join(parts)


def said(element: ElementTree.Element) -> str:
    """What stands in it, blocks and cells told apart."""
    if element.tag in ("ul", "ol", "table", "tr"):
        return " ".join(map(said, element))
    return " ".join("".join(element.itertext()).split())


def words(text: str) -> list[str]:
    return re.findall(r"\w+", text.lower())


def text_words(data: ReportDict) -> list[str]:
    """Of the text, so wide that nothing is shortened; numbers of lists are counted by a browser itself."""
    text = render_text(data, 10_000)
    return words(re.sub(r"^ *\d+\. ", "", text[: text.index("SEE MORE")], flags=re.M))


def check_same_words(report: Report) -> None:
    data = report.to_dict()
    html = html_of(report, data=data)
    page = Shown(html)
    assert words(page.shared()) == text_words(data)
    check_first_screen(page, data)
    check_items(page, data)


def check_first_screen(page: Shown, data: ReportDict) -> None:
    verdict = data["verdict"]
    assert [said(one) for one in page.main.iter("h1")] == [verdict["headline"]]
    assert page.title is not None
    assert words(page.title[1].replace("&#x27;", "'").replace("&gt;", ">")) == words(verdict["headline"])
    now = next((page.items(name, "p") for name in ("the-module-now", "the-modules-now") if name in page.sections), [])
    for module in data["modules"]:
        called = module["label"] or wording.without_channel(data, module["link"])
        told = [
            one for one in now if called in one.partition(": ")[0].split(", ") and wording.NOW[module["now"]] in one
        ]
        assert told, module["link"]
        if "May it be tried again?" in told[0]:
            assert wording.MAY_RETRY[module["may_retry"]] in told[0].lower()
    wanted = [] if wording.nothing_attempted(data) else [_part(data, name) for name in PARTS]
    assert [row[:3] for row in page.rows("the-job")] == wanted
    assert page.items("what-to-do-next", "li") == verdict["next_steps"]


def _part(data: ReportDict, name: str) -> list[str]:
    part = data["verdict"]["parts"][name]  # type: ignore[literal-required]
    sure = "" if part["word"] == "not-shown" else f"confidence {part['confidence']}"
    return [wording.PART[name], wording.IN_PART if part["lacking"] else wording.WORD[part["word"]], sure]


def check_items(page: Shown, data: ReportDict) -> None:
    """Each item of the sheet with its word, and what was found where it differs."""
    rows = page.rows("the-job-sheet")
    assert len(rows) == len(data["expectations"])
    for row, item in zip(rows, data["expectations"], strict=True):
        assert row[0] == wording.WORD[item["word"]]
        assert row[1].startswith(item["item"])
    for item in data["expectations"]:
        if item["word"] == "failed" and item["found"]:
            assert short_hex(item["found"]) in said(page.sections["the-job-sheet"])


@pytest.fixture
def without_picture(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is drawn of the same acts in all four rows of a capture, and takes most of the time: once is enough."""
    monkeypatch.setattr(html_gathered, "draw_timeline", lambda *_: ("", ""))


@pytest.mark.parametrize("key", [key for key in KEYS if key[1:] == ("yes", "yes")], ids="|".join)
def test_page_json_and_text_say_the_same_with_sheet_and_names(key: Key) -> None:
    check_same_words(read_with(key))


@pytest.mark.usefixtures("without_picture")
@pytest.mark.parametrize("key", [key for key in KEYS if key[1:] != ("yes", "yes")], ids="|".join)
def test_page_json_and_text_say_the_same_without(key: Key) -> None:
    check_same_words(read_with(key))


@pytest.mark.usefixtures("without_picture")
@pytest.mark.parametrize("path", REAL, ids=lambda path: path.name)
def test_page_json_and_text_say_the_same_of_real_captures(path: Path) -> None:
    check_same_words(analyse(path))


def test_every_capture_is_among_them() -> None:
    assert {path.parent.name for path in FIXTURES.glob("*/truth.json")} == {key[0] for key in KEYS}
