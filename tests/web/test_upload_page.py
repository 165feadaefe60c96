"""What a technician does on the page, from the upload to deleting for good."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from conftest_web import CAPTURE, ROOT, Visitor, wait_for
from jsonschema import Draft202012Validator

from analysis.report.schema import SCHEMA_FILE
from analysis.serve.site import Site
from canlog.capture.registry import FORMATS

GOOD = ("good.log", CAPTURE.read_bytes())


def test_a_capture_becomes_a_report_at_its_own_address(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    assert re.fullmatch(r"/jobs/[\w-]{24}", place)
    page = visitor.get(place).text
    assert "confirmed" in page and f'href="{place}/report"' in page
    report = visitor.get(f"{place}/report")
    assert report.headers["content-type"] == "text/html; charset=utf-8"
    assert "good.log" in report.text and "<script" not in report.text
    data = visitor.get(f"/api{place}/report").json()
    assert data["captures"][0]["name"] == "good.log"
    assert [*Draft202012Validator(json.loads(SCHEMA_FILE.read_text())).iter_errors(data)] == []


def test_a_sheet_and_names_are_used(visitor: Visitor) -> None:
    fixtures = ROOT / "fixtures"
    place = visitor.read(
        ("bus.log", (fixtures / "coach-erase-low-voltage" / "capture.log").read_bytes()),
        files=[("sheet", ("coach.toml", (fixtures / "coach.toml").read_bytes())),
               ("names", ("coach_names.toml", (fixtures / "coach_names.toml").read_bytes()))],
    )  # fmt: skip
    data = visitor.get(f"/api{place}/report").json()
    assert data["expectations"] and data["made_by"]["job_sha256"] and data["made_by"]["names_sha256"]
    assert "DUC" in visitor.get(place).text


def test_the_small_form_is_a_job_sheet(visitor: Visitor) -> None:
    place = visitor.read(GOOD, vin="e0krc7ht5td004217", link="7E0:7E8", software='A"1', calibration="B2")
    items = {item["item"]: item["asked"] for item in visitor.get(f"/api{place}/report").json()["expectations"]}
    assert 'A"1' in str(items) and "B2" in str(items) and "E0KRC7HT5TD004217" in str(items)


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"vin": "SHORT"}, "17 capital letters"),
        ({"software": "A1"}, "addresses"),
        ({"link": "nonsense", "software": "A1"}, "form.toml"),
        ({"note": "x" * 5000}, "too many"),
    ],
)
def test_a_mistake_in_the_form_is_said_and_nothing_is_kept(
    visitor: Visitor, site: Site, fields: dict[str, str], said: str
) -> None:
    answer = visitor.upload(GOOD, **fields)
    assert answer.status_code == 400 and said in answer.text
    assert site.store.search("", 10) == []
    assert [path for path in site.store.data.rglob("*") if path.parent.name in ("arriving", "originals")] == []


def test_without_a_capture_nothing_begins(visitor: Visitor) -> None:
    assert visitor.upload().status_code == 400
    assert "no capture was chosen" in visitor.upload(files=[("captures", ("", b""))]).text


def test_what_is_no_capture_is_said_with_a_hint(visitor: Visitor) -> None:
    place = visitor.read(("letter.txt", b"Dear colleague,\n" * 50))
    page = visitor.get(place).text
    assert "could not be read" in page and "canlog formats" in page
    assert visitor.get(f"{place}/report").status_code == 404


def test_earlier_captures_are_found_by_vin_word_note_name_and_date(visitor: Visitor, site: Site) -> None:
    place = visitor.read(GOOD, note="the red_van 100%")
    name = place.rpartition("/")[2]
    job = site.store.job(name)
    assert job is not None
    for wanted in ("good.log", "red_van", "100%", job.created[:10], "7E0", "confirmed", "good red_van", "GOOD.LOG"):
        assert place in visitor.get("/", params={"q": wanted}).text, wanted
    for wanted in ("absent", "redxvan", "good absent", "1000%", "'", '"', "!", "\\"):
        assert place not in visitor.get("/", params={"q": wanted}).text, wanted


def test_a_note_can_be_changed(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    visitor.post(f"{place}/note", data={"token": visitor.form_token(), "note": "first line\r\nsecond"})
    assert "first line\nsecond" in visitor.get(place).text


def test_the_original_comes_back_byte_for_byte(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    answer = visitor.get(f"{place}/files/0")
    assert answer.content == GOOD[1]
    assert answer.headers["content-disposition"] == 'attachment; filename="good.log"'
    for form in ("html", "json"):
        assert visitor.get(f"{place}/report.{form}").headers["content-disposition"].startswith("attachment")


def test_what_is_deleted_is_gone_for_good(visitor: Visitor, site: Site) -> None:
    first, second = visitor.read(GOOD, note="unmistakable"), visitor.read(GOOD)
    assert "Delete for good" in visitor.get(f"{first}/delete").text

    def originals() -> list[Path]:
        return [path for path in (site.store.data / "originals").rglob("*") if path.is_file()]

    assert len(originals()) == 1
    visitor.post(f"{first}/delete", data={"token": visitor.form_token()})
    assert visitor.get(first).status_code == 404 and visitor.get(f"{first}/report").status_code == 404
    assert visitor.get(f"{second}/files/0").content == GOOD[1]
    visitor.post(f"{second}/delete", data={"token": visitor.form_token()})
    assert originals() == [] and list((site.store.data / "reports").iterdir()) == []
    for path in site.store.data.glob("jobs.sqlite*"):
        assert b"unmistakable" not in path.read_bytes()


def test_the_page_says_what_can_be_read(visitor: Visitor) -> None:
    page = visitor.get("/formats").text
    for item in FORMATS:
        assert f"<dt>{item.NAME}</dt>" in page


def test_the_list_names_the_captures(visitor: Visitor) -> None:
    visitor.upload(("before.log", GOOD[1]), ("after.log", GOOD[1]))
    assert "before.log, after.log" in visitor.get("/").text


def test_the_pages_need_no_script(visitor: Visitor) -> None:
    home = visitor.get("/").text
    assert re.findall(r"<script[^>]*>", home) == ['<script src="/static/serve.js" defer>']
    assert not re.search(r"\son\w+=|style=|javascript:", home)
    for name in re.findall(r'<(?:input|textarea)(?![^>]*type="hidden")[^>]*id="([^"]+)"', home):
        assert f'<label for="{name}">' in home
    for landmark in ("<main", "<header", "<footer", "<nav", 'role="search"', 'aria-live="polite"', 'lang="en"'):
        assert landmark in home


def test_the_page_waits_without_a_script_too(site: Site) -> None:
    from conftest_web import BASE

    from analysis.serve.app import make_app

    client = Visitor(make_app(site), base_url=BASE)  # no lifespan: nothing works through the queue
    place = client.upload(GOOD).headers["location"]
    page = client.get(place).text
    assert '<noscript><meta http-equiv="refresh" content="3"></noscript>' in page and "Waiting" in page
    assert client.get(f"/api{place}").json()["state"] == "waiting"


def test_programs_send_and_read(visitor: Visitor) -> None:
    sent = visitor.post("/api/jobs", files=[("captures", GOOD)], headers={"X-Canlog-Request": "1"})
    assert sent.status_code == 201
    job = wait_for(visitor, sent.json()["page"])
    assert job["state"] == "done" and job["percent"] == 100 and visitor.get(job["report"]).json()["verdict"]
    assert job in visitor.get("/api/jobs").json()["jobs"]
    assert visitor.delete(sent.headers["location"], headers={"X-Canlog-Request": "1"}).status_code == 204
    assert visitor.get(sent.headers["location"]).json()["problem"]


def test_the_openapi_document_names_every_path_and_field(visitor: Visitor, site: Site) -> None:
    from analysis.serve.api import Api

    document = visitor.get("/api/openapi.json").json()
    routes = {
        (route.path, method) for route in Api(site).routes for method in (route.methods or ()) if method != "HEAD"
    }
    methods = {"get", "post", "delete"}
    told = {(path, key.upper()) for path, item in document["paths"].items() for key in item if key in methods}
    assert told == routes
    visitor.upload(GOOD)
    job = visitor.get("/api/jobs").json()["jobs"][0]
    schema = {**document["components"]["schemas"]["Job"], "additionalProperties": False}
    assert [*Draft202012Validator(schema).iter_errors(job)] == []
