"""What a hostile page, network or file tries: it is refused or shown as text, and nothing breaks."""

from __future__ import annotations

import gc
import gzip
import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from conftest_web import BASE, CAPTURE, Visitor, wait_for

from analysis.serve.access import Access, is_own_host
from analysis.serve.api import Api
from analysis.serve.app import make_app, open_site
from analysis.serve.further import Further
from analysis.serve.guard import POLICY, REPORT_POLICY
from analysis.serve.limits import ServeLimits
from analysis.serve.names import plain_name
from analysis.serve.pages import Pages
from analysis.serve.site import Site
from analysis.serve.watching import Watching

GOOD = ("good.log", CAPTURE.read_bytes())
EVIL = "<img src=x onerror=alert(1)>\"'><script>alert(2)</script>{{7*7}}"


@pytest.fixture
def bounded(tmp_path: Path, request: pytest.FixtureRequest) -> Iterator[Visitor]:
    """A page with some limits tight."""
    limits = replace(ServeLimits(), **request.param)
    with Visitor(make_app(open_site(tmp_path / "bounded", lan=False, limits=limits)), base_url=BASE) as client:
        yield client


def kept_files(site: Site) -> list[Path]:
    return [
        path for name in ("originals", "arriving") for path in (site.store.data / name).rglob("*") if path.is_file()
    ]


# forged requests


def test_every_form_is_refused_without_the_token_of_its_session(visitor: Visitor, site: Site) -> None:
    place = visitor.read(GOOD)
    visitor.get("/")
    forms = [route.path for route in Pages(site).routes if "POST" in (route.methods or ())]
    assert len(forms) == 4
    stranger = Visitor(visitor.app, base_url=BASE)
    for path in forms:
        where = path.replace("/jobs/{job}", place)
        for data in ({}, {"token": ""}, {"token": "0" * 64}, {"token": stranger.form_token()}):
            assert visitor.post(where, data=data).status_code == 403, where
    assert site.store.job(place.rpartition("/")[2]) is not None


def test_a_form_without_a_cookie_is_refused_before_it_is_read(visitor: Visitor) -> None:
    token = visitor.form_token()
    visitor.cookies.clear()
    assert visitor.post("/jobs", data={"token": token}, files=[("captures", GOOD)]).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://elsewhere.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"},
     {"Sec-Fetch-Site": "same-site"}, {"Origin": "http://127.0.0.1:9999"}],
)  # fmt: skip
def test_a_form_of_another_site_is_refused(visitor: Visitor, headers: dict[str, str]) -> None:
    token = visitor.form_token()
    sent = visitor.post("/jobs", data={"token": token}, files=[("captures", GOOD)], headers=headers)
    assert sent.status_code == 403
    own = {**headers, "X-Canlog-Request": "1"}
    assert visitor.post("/api/jobs", files=[("captures", GOOD)], headers=own).status_code == 403


def test_the_api_changes_nothing_without_the_header_of_our_own(visitor: Visitor, site: Site) -> None:
    place = visitor.read(GOOD)
    for route in Api(site).routes:
        for method in (route.methods or set()) - {"GET", "HEAD"}:
            assert visitor.request(method, route.path.replace("/jobs/{job}", place)).status_code == 403


@pytest.mark.parametrize(
    "host",
    ["rebound.example", "rebound.example:8077", "127.0.0.1.rebound.example", "localhost.example", "192.0.2.7", ""],
)
def test_another_host_name_is_refused(visitor: Visitor, host: str) -> None:
    assert visitor.get("/", headers={"Host": host}).status_code == 421


def test_own_hosts_are_addresses_in_digits_and_own_names() -> None:
    for host in ("127.0.0.1", "127.0.0.1:8077", "localhost:1", "[::1]:8077", "LOCALHOST"):
        assert is_own_host(host, lan=False), host
    assert is_own_host("192.0.2.7:8077", lan=True)
    for host in ("rebound.example", "[rebound", "[::1", "", ":8077", "0x7f.1", "2130706433"):
        assert not is_own_host(host, lan=True) or host == "[::1", host


# headers


def test_every_answer_carries_the_policy(visitor: Visitor) -> None:
    place = visitor.read(GOOD)
    for path in ("/", place, f"{place}/files/0", "/nowhere", "/api/jobs", "/static/serve.js", f"{place}/report.html"):
        headers = visitor.get(path).headers
        assert headers["content-security-policy"] == POLICY, path
        assert headers["x-content-type-options"] == "nosniff" and headers["cache-control"] == "no-store"
    assert visitor.get(f"{place}/report").headers["content-security-policy"] == REPORT_POLICY
    # A browser says "Origin: null" of our own forms where the policy is no-referrer (Fetch Standard, "append a request
    # Origin header"), and such forms are refused.
    assert visitor.get("/").headers["referrer-policy"] == "same-origin"
    assert "unsafe" not in POLICY and "script" not in REPORT_POLICY
    cookie = Visitor(visitor.app, base_url=BASE).get("/").headers["set-cookie"]
    assert "HttpOnly" in cookie and "SameSite=Strict" in cookie


# files and words


NAMES = (
    "../../../etc/passwd", "..\\..\\boot.ini", "/etc/shadow", ".", "..", "a/b.log", "x" * 500 + ".log", "nul\x00l.log",
    "line\nbreak.log", "\u202egol.exe", "-rf", EVIL, "'; DROP TABLE jobs; --", "ä" * 200, "CON", "a\x1b[2J.log",
)  # fmt: skip


def test_no_name_leaves_its_folder_or_breaks_a_page(site: Site) -> None:
    client = Visitor(make_app(site), base_url=BASE)  # no lifespan: nothing is read
    for name in NAMES:
        sent = client.post("/api/jobs", files=[("captures", (name, GOOD[1]))], headers={"X-Canlog-Request": "1"})
        assert sent.status_code in (201, 400), sent.text  # 400: some cannot even be sent as one header
        if sent.status_code == 201:
            page = client.get(sent.json()["page"])
            assert page.status_code == 200 and "<img" not in page.text and "<script>" not in page.text
            original = client.get(f"{sent.json()['page']}/files/0")
            assert original.headers["content-disposition"].startswith("attachment; filename")
        plain = plain_name(name, 120)
        assert "/" not in plain and "\\" not in plain and plain not in ("", ".", "..") and len(plain) <= 120
    assert {path.name for path in kept_files(site)} == {hashlib.sha256(GOOD[1]).hexdigest()}


def test_odd_names_are_read_and_shown_in_the_report_as_text(visitor: Visitor) -> None:
    place = visitor.read(*((name, GOOD[1]) for name in (EVIL, "-rf", "../../../etc/passwd", "ä" * 200)))
    report = visitor.get(f"{place}/report")
    assert report.status_code == 200 and "passwd" in report.text
    assert "<script" not in report.text and "<img" not in report.text


def test_html_in_notes_and_searches_is_shown_as_text(visitor: Visitor) -> None:
    place = visitor.read(GOOD, note=EVIL)
    for page in (
        visitor.get(place),
        visitor.get("/"),
        visitor.get("/", params={"q": EVIL}),
        visitor.get(f"{place}/delete"),
    ):
        assert page.status_code == 200
        assert "<img" not in page.text and not re.search(r"<script(?! src=\"/static/serve.js\" defer>)", page.text)
    assert "{{7*7}}" in visitor.get(place).text


def test_html_in_a_capture_or_sheet_is_never_run(visitor: Visitor) -> None:
    page = visitor.read(("x.html", b"<html><script>alert(1)</script></html>" + GOOD[1]))
    answer = visitor.get(f"{page}/files/0")
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"].startswith("attachment")
    sheet = f"[[module]]\nlabel = '''{EVIL.replace(chr(39), '')}'''\nlink = '7E0:7E8'\nlearn = ['0340']\n".encode()
    place = visitor.read(GOOD, files=[("sheet", ("sheet.toml", sheet))])
    for text in (visitor.get(place).text, visitor.get(f"{place}/report").text):
        assert "<img" not in text and "<script>" not in text


@pytest.mark.parametrize(
    "path",
    ["/static/../store.py", "/static/%2e%2e%2fstore.py", "/jobs/..%2f..", "/jobs/a/files/-1", "/jobs/x/report.exe",
     "/enter/x", "/jobs/" + "a" * 5000, "/jobs/%00", "/?q=%00%ff"],
)  # fmt: skip
def test_no_address_leads_anywhere_or_breaks(visitor: Visitor, path: str) -> None:
    answer = visitor.get(path)
    assert answer.status_code in (200, 403, 404) and "Traceback" not in answer.text and "import" not in answer.text


FORM = "multipart/form-data; boundary=x"
PART = b'--x\r\nContent-Disposition: form-data; name="'


@pytest.mark.parametrize(
    ("body", "kind"),
    [(b"", "multipart/form-data"), (b"--x\r\n", FORM), (b"\xff\x00", "multipart/form-data; boundary="),
     (b"a=1", "text/plain"), (b"{", "application/json"), (b"token=%ff%fe", "application/x-www-form-urlencoded"),
     (PART + b'captures"; filename="a"\r\n\r\nhalf', FORM),
     (PART + b'note"\r\n\r\n' + b"n" * 100_000 + b"\r\n--x--\r\n", FORM)],
)  # fmt: skip
@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")  # half a file: closed by the collector
def test_a_broken_form_is_refused_and_leaves_nothing(visitor: Visitor, site: Site, body: bytes, kind: str) -> None:
    headers = {"Content-Type": kind, "X-Canlog-Request": "1"}
    assert visitor.post("/api/jobs", content=body, headers=headers).status_code == (400 if "multipart" in kind else 415)
    visitor.get("/")
    assert visitor.post("/jobs", content=body, headers=headers).status_code in (400, 403)
    gc.collect()
    assert kept_files(site) == [] and site.store.search("", 9) == []


# limits


@pytest.mark.parametrize("bounded", [{"upload_bytes": 100_000}], indirect=True)
def test_what_is_too_large_is_refused_while_it_arrives(bounded: Visitor) -> None:
    assert bounded.upload(("big.log", b"x" * 200_000)).status_code == 413

    def unannounced() -> Iterator[bytes]:
        yield b'--x\r\nContent-Disposition: form-data; name="captures"; filename="a"\r\n\r\n'
        for _ in range(200):
            yield b"x" * 1000

    headers = {"Content-Type": "multipart/form-data; boundary=x", "X-Canlog-Request": "1"}
    assert bounded.post("/api/jobs", content=unannounced(), headers=headers).status_code == 413
    assert bounded.get("/api/jobs").json() == {"jobs": []}


@pytest.mark.parametrize("bounded", [{"files_per_job": 3}], indirect=True)
def test_too_many_files_are_refused(bounded: Visitor) -> None:
    assert bounded.upload(GOOD, GOOD, GOOD, GOOD).status_code == 400


@pytest.mark.parametrize("bounded", [{"analysis_file_bytes": 1_000_000, "analysis_s": 20}], indirect=True)
def test_a_bomb_ends_with_its_child(bounded: Visitor) -> None:
    line = b"(1436509052.249713) can0 7E0#021003\n"
    place = bounded.upload(("bomb.log.gz", gzip.compress(line * 2_000_000))).headers["location"]
    job = wait_for(bounded, place)
    assert job["state"] == "failed" and job["problem"] and job["hint"]
    assert bounded.read(GOOD)  # the next one is read


@pytest.mark.parametrize("bounded", [{"analysis_memory_bytes": 60 << 20}], indirect=True)
def test_an_analysis_without_memory_fails_with_words(bounded: Visitor) -> None:
    job = wait_for(bounded, bounded.upload(GOOD).headers["location"])
    assert job["state"] == "failed" and "memory" in job["problem"]


@pytest.mark.parametrize("bounded", [{"uploads_per_minute": 2}], indirect=True)
def test_uploads_have_a_rate(bounded: Visitor) -> None:
    answers = [bounded.upload() for _ in range(3)]
    assert [one.status_code for one in answers] == [400, 400, 429] and answers[2].headers["retry-after"] == "60"


@pytest.mark.parametrize("bounded", [{"requests_per_minute": 5}], indirect=True)
def test_requests_have_a_rate(bounded: Visitor) -> None:
    assert [bounded.get("/").status_code for _ in range(6)] == [200] * 5 + [429]


@pytest.mark.parametrize("bounded", [{"free_bytes": 1 << 60}], indirect=True)
def test_a_full_disk_is_said_before_anything_is_kept(bounded: Visitor) -> None:
    assert bounded.upload(GOOD).status_code == 507


# the network


@pytest.fixture
def on_the_network(tmp_path: Path) -> Iterator[tuple[Visitor, Site]]:
    site = open_site(tmp_path / "lan", lan=True)
    with Visitor(make_app(site), base_url="http://192.0.2.7:8077") as client:
        yield client, site


def key_of(site: Site) -> str:
    return (site.store.data / "access_key").read_text(encoding="ascii").strip()


def enter_token(client: Visitor, path: str = "/enter") -> str:
    match = re.search(r'name="token" value="([^"]+)"', client.get(path).text)
    assert match
    return match[1]


def test_on_the_network_nothing_is_shown_without_the_key(on_the_network: tuple[Visitor, Site]) -> None:
    client, site = on_the_network
    for route in (*Pages(site).routes, *Further(site).routes, *Watching(site).routes):
        path = re.sub(r"\{(\w+)(:\w+)?\}", "0", route.path)
        if path.startswith("/enter"):
            continue
        for method in (route.methods or set()) - {"HEAD"}:
            answer = client.request(method, path, follow_redirects=False)
            assert (answer.status_code, answer.headers["location"]) == (303, "/enter"), path
    for route in Api(site).routes:
        for method in (route.methods or set()) - {"HEAD"}:
            assert client.request(method, route.path).status_code == 401


def test_the_address_lets_in_one_device_once(on_the_network: tuple[Visitor, Site]) -> None:
    client, site = on_the_network
    once = site.access.once()
    client.get(f"/enter/{once}")  # as a preview does
    answer = client.post("/enter", data={"token": enter_token(client, f"/enter/{once}"), "once": once})
    assert answer.status_code == 200 and "Recordings of the bus" in answer.text
    second = Visitor(client.app, base_url="http://192.0.2.7:8077")
    assert second.get(f"/enter/{once}").status_code == 403
    assert second.post("/enter", data={"token": enter_token(second), "once": once}).status_code == 403
    assert second.get("/", follow_redirects=False).status_code == 303


def test_the_key_lets_in_and_wrong_ones_are_counted(on_the_network: tuple[Visitor, Site]) -> None:
    client, site = on_the_network
    token = enter_token(client)
    for wrong in ("", "guess", key_of(site)[:-1], key_of(site) + "x"):
        assert client.post("/enter", data={"token": token, "key": wrong}).status_code == 403
    assert "Recordings" in client.post("/enter", data={"token": token, "key": key_of(site)}).text
    codes = [client.post("/enter", data={"token": client.form_token(), "key": "guess"}).status_code for _ in range(9)]
    assert 429 in codes
    assert (site.store.data / "access_key").stat().st_mode & 0o777 == 0o600


def test_programs_show_the_key(on_the_network: tuple[Visitor, Site]) -> None:
    client, site = on_the_network
    assert client.get("/api/jobs", headers={"Authorization": "Bearer guess"}).status_code == 401
    assert client.get("/api/jobs", headers={"X-Canlog-Request": "1"}).status_code == 401
    assert client.get("/api/jobs", headers={"Authorization": f"Bearer {key_of(site)}"}).json() == {"jobs": []}


def test_no_cookie_but_ours_is_a_session() -> None:
    access = Access(b"secret", "key", 60)
    good = access.new_session(entered=True)
    assert access.session(access.cookie(good)) == good
    number, entered, ends, signature = access.cookie(access.new_session(entered=False)).split(".")
    forged = [f"{number}.1.{ends}.{signature}", f"{number}.{entered}.{int(ends) + 9}.{signature}", "", "...", "a.b.c.d",
              f"{number}.{entered}.{ends}.", "é.1.2.3", "." * 50]  # fmt: skip
    for cookie in [*forged, Access(b"secret", None, 60).cookie(good), Access(b"secret", "other", 60).cookie(good),
                   access.cookie(good._replace(ends=1))]:  # fmt: skip
        assert access.session(cookie) is None, cookie
