"""The HTML report: nothing from the network, no secret, links that lead somewhere. Its words: test_same_words.py."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from benchmark.captures import write_capture

from analysis import analyse
from analysis.report.html_gathered import html_of
from analysis.report.model import Report

FIXTURES = Path(__file__).parents[3] / "fixtures"
SHOWN = [
    "coach-all-good", "coach-erase-low-voltage", "coach-before-removal", "coach-trims-exchanged",
    "uds11-check-bad", "uds11-reset-no-return", "uds11-no-diagnostics", "doip-module-silent",
]  # fmt: skip
VOID = {"meta", "br", "hr", "path", "use", "rect", "link"}


class Reader(HTMLParser):
    """Collects text, ids, links and sources, and minds that every element is closed in order."""

    def __init__(self) -> None:
        super().__init__()
        self.words: list[str] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.sources: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag not in VOID:
            self.open.append(tag)
        if given.get("id"):
            self.ids.append(str(given["id"]))
        for name in ("href", "xlink:href"):
            if given.get(name):
                self.links.append(str(given[name]))
        self.sources += [str(value) for name, value in attrs if name in ("src", "srcset", "data", "action")]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag: str) -> None:
        if tag not in VOID:
            assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if self.open and self.open[-1] not in ("style", "title"):
            self.words.append(data)


def opened(name: str) -> Report:
    kind = name.partition("-")[0]
    sheet = FIXTURES / f"{kind}.toml"
    capture = next((FIXTURES / name).glob("capture.*"))
    return analyse(capture, job=sheet, names=[FIXTURES / f"{kind}_names.toml"])


def read(html: str) -> Reader:
    reader = Reader()
    reader.feed(html)
    reader.close()
    assert reader.open == []
    return reader


@pytest.mark.parametrize("name", SHOWN)
def test_links_lead_somewhere_and_nothing_comes_from_elsewhere(name: str) -> None:
    html = html_of(opened(name))
    reader = read(html)
    assert len(reader.ids) == len(set(reader.ids))
    for link in reader.links:
        assert link.startswith("#"), link
        assert link[1:] in reader.ids, link
    assert reader.sources == []
    assert "<script" not in html
    assert "@import" not in html
    assert "url(http" not in html
    assert "default-src 'none'" in html


def test_lines_named_as_evidence_stand_among_the_frames() -> None:
    reader = read(html_of(opened("uds11-check-bad")))
    assert "#c1-l273" in reader.links
    row = "".join(reader.words)
    assert "3101026601" in row.replace(" ", "")


def test_every_mark_of_the_picture_leads_to_a_step_of_its_own_and_is_named() -> None:
    html = html_of(opened("coach-all-good"))
    marks = re.findall(r'<a href="#(\w+)"><title>([^<]+)</title>', html)
    assert len({target for target, _ in marks}) > 20
    assert all(target.startswith("step") for target, _ in marks)
    assert all(": " in name for _, name in marks)
    assert any(name.endswith(", confirmed") for _, name in marks)


def test_each_of_several_captures_has_its_number_and_its_part_of_the_picture() -> None:
    captures = [
        FIXTURES / name / "capture.log" for name in ("coach-before-removal", "coach-all-good", "coach-next-day")
    ]
    html = html_of(analyse(captures, names=[FIXTURES / "coach_names.toml"]))
    trusted = html[html.index('<section id="can-these-captures-be-trusted"') :]
    assert re.findall(r'<li value="(\d)"', trusted[: trusted.index("</section>")]) == ["1", "2", "3"]
    picture = html[html.index("<svg") : html.index("</svg>")]
    assert re.findall(r">(\d\. capture.log)<", picture) == ["2. capture.log", "3. capture.log"], "the first only reads"


def test_a_frame_leads_back_to_the_step_that_it_belongs_to() -> None:
    html = html_of(opened("uds11-check-bad"))
    step = re.search(r'<tr id="c1-l273"><td><a href="#step(\d+)">273</a>', html)
    assert step is not None
    opened_step = html[html.index(f'<details id="step{step[1]}"') :]
    assert "31 01 02 66 01" in opened_step[:900] or "3101026601" in opened_step[:900]


def test_seeds_and_keys_are_masked() -> None:
    html = html_of(opened("coach-all-good"))
    for secret in ("5A3C91E7", "90CEE908", "11C0FFEE", "6EF9EDAD"):
        assert secret not in html


def test_firmware_is_not_carried_whole() -> None:
    """A download of 24 kB: only the first and the last block's frames stand on the page."""
    html = html_of(opened("coach-all-good"))
    assert len(html) < 600_000


def test_a_download_of_a_megabyte_gives_a_page_that_a_phone_opens(tmp_path: Path) -> None:
    capture = tmp_path / "capture.log"
    write_capture(capture, 250_000, 256)
    report = analyse(capture)
    assert any(item["details"].get("size_carried", 0) > 900_000 for item in report.to_dict()["operations"])
    assert len(html_of(report)) < 300_000


def test_a_hostile_name_is_text(tmp_path: Path) -> None:
    file = tmp_path / "<script>alert(1)<script>.log"
    file.write_bytes((FIXTURES / "uds11-only-reads" / "capture.log").read_bytes())
    html = html_of(analyse(file))
    assert "<script" not in html
    assert "&lt;script&gt;" in html
