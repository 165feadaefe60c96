"""What is made of a recording besides its report: walk, comparison, rows, copies, and the stream of progress."""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from pathlib import Path

import pytest
from conftest_web import BASE, CAPTURE, ROOT, Visitor

from analysis.serve.app import make_app
from analysis.serve.making import MAKERS
from analysis.serve.site import Site

GOOD = ("good.log", CAPTURE.read_bytes())
BAD = ("bad.log", (ROOT / "fixtures" / "coach-erase-low-voltage" / "capture.log").read_bytes())
SHEET = (ROOT / "fixtures" / "coach.toml").read_bytes()
EVIL = "<img src=x onerror=alert(1)>.log"


def id_of(place: str) -> str:
    return place.rpartition("/")[2]


def test_a_class_walks_with_answers_closed_and_the_trainer_with_all(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    pages = {one: visitor.get(f"{place}/walk/{one}") for one in ("class", "trainer", "sheet")}
    assert all(page.status_code == 200 for page in pages.values())
    assert "What became of it" in pages["trainer"].text and "What became of it" not in pages["class"].text
    assert "<details open" in pages["trainer"].text and "<script" not in pages["sheet"].text
    policy = pages["class"].headers["content-security-policy"]
    match = re.search(r"script-src '(sha256-[^']+)'", policy)
    assert match and f"'{match[1]}'" in pages["class"].text and "unsafe-inline'; script" in policy
    assert visitor.get(f"{place}/walk/nobody").status_code == 404


def test_two_recordings_are_compared_and_shown_beside_each_other(visitor: Visitor) -> None:
    good, bad = id_of(visitor.read(GOOD)), id_of(visitor.read(BAD))
    assert f'value="{bad}"' in visitor.get(f"/jobs/{good}").text
    page = visitor.get("/compare", params={"good": good, "bad": bad})
    assert page.status_code == 200 and "What was compared" in page.text and "good.log" in page.text
    same = visitor.get("/compare", params={"good": good, "bad": good})
    assert "do not part" in same.text
    for audience in ("class", "trainer"):
        beside = visitor.get(f"/compare/{audience}", params={"good": good, "bad": bad})
        assert beside.status_code == 200 and "Two sessions" in beside.text
    assert visitor.get("/compare", params={"good": good, "bad": "absent"}).status_code == 404
    assert "Choose a recording" in visitor.get("/compare").text


def test_a_copy_to_share_has_no_vin(visitor: Visitor) -> None:
    names = (ROOT / "fixtures" / "coach_names.toml").read_bytes()
    place = visitor.read(BAD, files=[("sheet", ("coach.toml", SHEET)), ("names", ("own.toml", names))])
    answer = visitor.get(f"{place}/redacted.zip")
    assert answer.status_code == 200 and answer.headers["content-disposition"].startswith("attachment")
    with zipfile.ZipFile(io.BytesIO(answer.content)) as archive:
        held = {name: archive.read(name) for name in archive.namelist()}
    assert set(held) == {"bad.log", "sheet.toml", "own.toml", "replaced.csv"}
    assert held["bad.log"] != BAD[1] and held["bad.log"].count(b"\n") == BAD[1].count(b"\n")
    assert b"E0KRC7HT5TD004217" in SHEET and b"E0KRC7HT5TD004217" not in held["sheet.toml"]


def test_copies_of_one_name_stand_apart(visitor: Visitor) -> None:
    place = visitor.read(("sheet.toml", BAD[1]), BAD, BAD, files=[("sheet", ("coach.toml", SHEET))])
    with zipfile.ZipFile(io.BytesIO(visitor.get(f"{place}/redacted.zip").content)) as archive:
        names = archive.namelist()
    assert len(set(names)) == 5 and sorted(name.partition("-")[2] for name in names) == sorted(
        ["sheet.toml", "bad.log", "bad.log", "replaced.csv", "sheet.toml"]
    )


def test_rows_are_kept_as_csv(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    rows = list(csv.DictReader(io.StringIO(visitor.get(f"{place}/exchanges.csv").text)))
    assert len(rows) == len(visitor.get(f"/api{place}/report").json()["exchanges"]) and rows[0]["request"]
    assert next(csv.reader(io.StringIO(visitor.get(f"{place}/trims.csv").text)))
    assert visitor.get(f"{place}/frames.csv").status_code == 404


def test_what_cannot_be_made_is_said_with_a_hint(visitor: Visitor) -> None:
    place = visitor.read(("quiet.log", b"(1436509052.249713) can0 123#00\n" * 5))
    answer = visitor.get(f"{place}/walk/class")
    assert answer.status_code == 400 and "no step to walk through" in answer.text and "What to do" in answer.text
    failed = visitor.read(("letter.txt", b"Dear colleague\n"))
    for rest in ("walk/class", "exchanges.csv", "redacted.zip"):
        assert visitor.get(f"{failed}/{rest}").status_code == 404
    assert visitor.get("/jobs/absent/walk/class").status_code == 404


def test_what_was_made_goes_with_its_job(visitor: Visitor, site: Site) -> None:
    good, bad = visitor.read(GOOD), visitor.read(BAD)
    visitor.get(f"{good}/walk/class")
    visitor.get("/compare", params={"good": id_of(good), "bad": id_of(bad)})
    made = site.store.data / "made"
    assert len(list(made.iterdir())) == 2
    visitor.post(f"{bad}/delete", data={"token": visitor.form_token()})
    assert [path.name for path in made.iterdir()] == [f"{id_of(good)}.walk-class"]


def test_a_name_with_html_is_text_on_every_page(visitor: Visitor) -> None:
    first, second = visitor.read((EVIL, GOOD[1])), visitor.read((EVIL, BAD[1]))
    pair = {"good": id_of(first), "bad": id_of(second)}
    pages = [visitor.get("/compare", params=pair), visitor.get("/compare/class", params=pair)]
    pages += [visitor.get(f"{first}/walk/{one}") for one in ("class", "trainer", "sheet")] + [visitor.get(first)]
    for page in pages:
        assert page.status_code == 200 and "<img" not in page.text


def test_trims_of_the_form_are_asked_for(visitor: Visitor) -> None:
    place = visitor.read(GOOD, link="7E0:7E8", trims="4C20 FF F6\n4C21=0A")
    items = str(visitor.get(f"/api{place}/report").json()["expectations"])
    assert "4C20" in items and "4C21" in items
    assert "no value" in visitor.upload(GOOD, link="7E0:7E8", trims="4C20").text
    assert "addresses" in visitor.upload(GOOD, trims="4C20 FFF6").text


def test_progress_is_streamed_until_the_report_is_there(visitor: Visitor) -> None:
    place = visitor.upload(GOOD).headers["location"]
    with visitor.stream("GET", f"{place}/progress") as stream:
        assert stream.headers["content-type"].startswith("text/event-stream")
        told = [json.loads(line.removeprefix("data: ")) for line in stream.iter_lines() if line]
    assert told[-1]["state"] == "done" and {one["state"] for one in told} <= {"waiting", "running", "done"}


@pytest.mark.parametrize("kind", sorted(MAKERS))
def test_no_kind_is_made_before_the_report_is_there(site: Site, kind: str) -> None:
    client = Visitor(make_app(site), base_url=BASE)  # no lifespan: nothing works through the queue
    place = client.upload(GOOD).headers["location"]
    paths = {"walk": f"{place}/walk/{kind.partition('-')[2]}", "redacted": f"{place}/redacted.zip",
             "beside": f"/compare/class?good={id_of(place)}&bad={id_of(place)}",
             "compare": f"/compare?good={id_of(place)}&bad={id_of(place)}"}  # fmt: skip
    path = paths.get(kind.partition("-")[0], f"{place}/{kind}.csv")
    assert client.get(path).status_code == 404
    assert list(Path(site.store.data / "made").iterdir()) == []
