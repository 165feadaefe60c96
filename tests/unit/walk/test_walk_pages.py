"""The walk as pages: for the class, for the trainer, for the pupils, by keys and as HTML."""

from __future__ import annotations

import base64
import hashlib
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis.cli import main
from analysis.walk.keys import CLEAR, Pages, walk_by_keys, you_are_here

FIXTURES = Path(__file__).parents[3] / "fixtures"
COACH = [str(FIXTURES / "coach-erase-low-voltage" / "capture.log"), "--names", str(FIXTURES / "coach_names.toml")]
GOOD = [str(FIXTURES / "coach-all-good" / "capture.log"), "--names", str(FIXTURES / "coach_names.toml")]


def walked(*options: str) -> str:
    result = CliRunner(env={"COLUMNS": "80", "NO_COLOR": "1"}).invoke(main, ["walk", *options])
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*options: str) -> str:
    result = CliRunner().invoke(main, ["walk", *options])
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
    return result.stderr


def test_answers_are_on_the_trainers_page_only() -> None:
    pages = {name: walked(*COACH, *more) for name, more in (("class", ()), ("trainer", ("--trainer",)))}
    assert "Question" in pages["class"] and "Answer:" not in pages["class"]
    assert "Answer:" in pages["trainer"] and "Found here:" in pages["trainer"]
    assert "the erase broke off" in pages["trainer"] and "the erase broke off" not in pages["class"]


def test_the_sheet_holds_questions_and_bytes_but_nothing_that_answers_them() -> None:
    page = walked(*COACH, "--sheet")
    assert "Question" in page and "........" in page
    for word in ("Answer", "In words", "It means", "Found here", "general programming failure", "Came back"):
        assert word not in page
    assert max(map(len, page.splitlines())) <= 80


@pytest.mark.parametrize("more", [[], ["--trainer"], ["--sheet"]])
def test_the_page_needs_no_network_and_allows_its_own_script_only(tmp_path: Path, more: list[str]) -> None:
    target = tmp_path / "walk.html"
    walked(*COACH, *more, "--html", str(target))
    page = target.read_text(encoding="utf-8")
    scripts = re.findall(r"<script>(.*?)</script>", page, re.S)
    policy = re.search(r'Content-Security-Policy" content="([^"]*)"', page)
    assert policy and "default-src 'none'" in policy[1]
    allowed = [f"'sha256-{base64.b64encode(hashlib.sha256(one.encode()).digest()).decode()}'" for one in scripts]
    assert re.findall(r"'sha256-[^']*'", policy[1]) == allowed
    assert len(scripts) == (0 if more == ["--sheet"] else 1)
    assert not re.findall(r'(?:src|href)="(?!#)', page)
    assert page.count("<section") == page.count("</section>") > 10
    targets = set(re.findall(r' id="([^"]+)"', page))
    assert set(re.findall(r'href="#([^"]+)"', page)) <= targets


def test_a_seed_is_nowhere_on_the_pages(tmp_path: Path) -> None:
    target = tmp_path / "walk.html"
    for page in (walked(*GOOD, "--trainer"), walked(*GOOD, "--html", str(target)) or target.read_text("utf-8")):
        for secret in ("5A 3C 91 E7", "5A3C91E7", "90 CE E9 08", "90CEE908"):
            assert secret not in page
    assert "5A 3C 91 E7" in walked(*GOOD, "--secrets")


def turned_by(*keys: str) -> str:
    """The pages shown, one letter each; capitals are opened ones."""
    shown: list[str] = []
    pages = Pages(["a", "b", "c"], ["A", "B", "C"], [1, 7, 12], 20)
    left = iter(keys)
    walk_by_keys(pages, lambda: next(left), shown.append)
    assert all(text.startswith(CLEAR) for text in shown)
    return "".join(text.splitlines()[1] for text in shown)


def test_keys_turn_pages_and_open_answers() -> None:
    assert turned_by("o", "n", "p", "p", "\x1b[C", "\x1b[C", "x", "q") == "aAbaabcc"
    assert turned_by("\x1b[F", "n", "\x1b[H", "\x1b[6~", "\x1b[5~", " ", "\r", "") == "accabab" + "c"
    assert turned_by("o", "x", "\x1b[D", "q") == "aAAA"  # a key that leads nowhere shuts no answer


def test_a_number_and_enter_go_to_that_step() -> None:
    assert turned_by("1", "2", "\r", "q") == "aaac"
    assert turned_by("1", "2", "\x7f", "\r", "q") == "aaaaa"  # 1 alone
    assert turned_by("9", "9", "\r", "n", "q") == "aaaab"  # there is no such step


def test_a_page_longer_than_the_screen_is_scrolled_before_it_is_turned() -> None:
    shown: list[str] = []
    long = "\n".join(f"line {number}" for number in range(1, 11))
    pages = Pages([long, "b"], [long, "B"], [1, 2], 20, 10)  # six lines have room
    keys = iter([" ", "\x1b[A", " ", " ", "q"])
    walk_by_keys(pages, lambda: next(keys), shown.append)
    seen = [[line for line in text.splitlines() if line.startswith(("line", "b"))] for text in shown]
    assert [(one[0], one[-1]) for one in seen] == [
        ("line 1", "line 6"), ("line 5", "line 10"), ("line 1", "line 6"), ("line 5", "line 10"), ("b", "b"),
    ]  # fmt: skip
    assert ["more below" in text for text in shown] == [True, False, True, False, False]


def test_a_line_says_where_in_the_session_the_page_is() -> None:
    pages = Pages(["a", "b", "c"], ["A", "B", "C"], [1, 7, 12], 20)
    assert [you_are_here(pages, page) for page in range(3)] == [
        "step 1  O-------  12", "step 7  ---O----  12", "step 12  ------O  12",
    ]  # fmt: skip


def test_a_lesson_stops_where_it_says_and_asks_its_own_questions() -> None:
    page = walked(*GOOD, "--lesson", str(FIXTURES / "coach_lesson.toml"), "--trainer")
    assert "FROM THE ERASE TO THE PROOF  5 steps" in page
    assert page.count("\nSTEP ") == 5
    assert "May the key be turned off now?" in page and "who would turn the key off now?" in page
    quiet = walked(*GOOD, "--lesson", str(FIXTURES / "coach_lesson.toml"))
    assert "who would turn the key off now?" not in quiet and "the memory is empty" not in quiet


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "lesson.stop: missing"),
        ("[[stop]]\nstep = 500\n", ":2: stop[0].step: 500 is not in this session: it has "),
        ("[[stop]]\nstep = 1\nline = 2\n", "give one of step, exchange, line, and only one"),
        ("[[stop]]\ntitle = 'x'\n", "give one of step, exchange, line, and only one"),
        ("[[stop]]\nline = 1\n", ":2: stop[0].line: 1 is not in this session: no step holds that line"),
        ("[[stop]]\nexchange = 1\n", ":2: stop[0].exchange: 1 is not in this session"),
        ("[[stop]]\nstep = 1\nquestions = [ { ask = 'why?' } ]\n", ":3: stop[0].questions[0].answer: missing"),
        ("[[stop]]\nstep = 1\ncolour = 'red'\n", ":3: stop[0].colour: not known"),
        ("tittle = 'x'\n", ":1: tittle: not known"),
        ("[[stop]]\nstep = '1'\n", ":2: stop[0].step: '1' is not a whole number"),
    ],
)
def test_a_wrong_lesson_is_refused_with_file_line_and_field(tmp_path: Path, text: str, said: str) -> None:
    file = tmp_path / "lesson.toml"
    file.write_text(text, encoding="utf-8")
    assert said in refused(*COACH, "--lesson", str(file))


def test_trainer_and_sheet_exclude_each_other() -> None:
    assert "one of them" in refused(*COACH, "--trainer", "--sheet")


def test_a_capture_without_diagnostics_has_no_steps() -> None:
    assert "no step to walk through" in refused(str(FIXTURES / "uds11-no-diagnostics" / "capture.log"))


@pytest.mark.parametrize(
    "name", ["kwp-no-counter", "gmw-all-good", "obd-scan", "doip-module-silent", "uds11-doubled", "uds11-wrong-key"]
)
def test_every_dialect_can_be_walked_through(name: str, tmp_path: Path) -> None:
    capture = next((FIXTURES / name).glob("capture.*"))
    options = (str(capture), "--names", str(FIXTURES / f"{name.partition('-')[0]}_names.toml"))
    target = tmp_path / "walk.html"
    for more in ((), ("--trainer",), ("--sheet",)):
        page = walked(*options, *more)
        steps = page.count("\nSTEP ")
        assert steps >= 10 and page.count("Question ") >= 10
        assert max(map(len, page.splitlines())) <= 80
        walked(*options, *more, "--html", str(target))
        assert target.read_text(encoding="utf-8").count('<section class="step') == steps
