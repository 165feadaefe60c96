"""Two sessions side by side, and exercises: one fault planted, and the report finds what it should."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis import analyse
from analysis.cli import main
from analysis.commands.walk_command import PLANTED
from analysis.report.model import Report
from analysis.walk.plant import KINDS

FIXTURES = Path(__file__).parents[3] / "fixtures"
GOOD = FIXTURES / "coach-all-good" / "capture.log"
NAMES = FIXTURES / "coach_names.toml"


def run(*options: str) -> str:
    result = CliRunner(env={"COLUMNS": "100", "NO_COLOR": "1"}).invoke(main, ["walk", *options])
    assert result.exit_code == 0, result.output
    return result.stdout


def refused(*options: str) -> str:
    result = CliRunner().invoke(main, ["walk", *options])
    assert result.exit_code == 2
    return result.stderr


def test_the_command_line_offers_every_fault_there_is() -> None:
    assert tuple(KINDS) == PLANTED


@pytest.fixture(scope="module")
def good_lines() -> list[str]:
    return GOOD.read_text(encoding="ascii").splitlines()


@pytest.fixture(scope="module")
def planted(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[list[str], dict[str, object], Report]]:
    folder = tmp_path_factory.mktemp("planted")
    made = {}
    for kind in PLANTED:
        target = folder / f"{kind}.log"
        run(str(GOOD), "--names", str(NAMES), "--plant", kind, "--output", str(target))
        truth = tomllib.loads((folder / f"{kind}.log.truth.toml").read_text(encoding="utf-8"))
        lines = target.read_text(encoding="ascii").splitlines()
        made[kind] = lines, truth, analyse(target, names=[NAMES])
    return made


def test_a_lost_frame_is_one_line_less_and_nothing_else(
    planted: dict[str, tuple[list[str], dict[str, object], Report]], good_lines: list[str]
) -> None:
    lines, truth, report = planted["lost-frame"]
    at = truth["source_line"]
    assert isinstance(at, int)
    assert lines == good_lines[: at - 1] + good_lines[at:]
    assert good_lines[at - 1].split("#")[1][0] == "2"  # a consecutive frame, ISO 15765-2 (M)
    assert "frames-dropped-by-logger" in {one.id for one in report.findings}


def test_a_wrong_read_back_changes_one_bit_and_is_found(
    planted: dict[str, tuple[list[str], dict[str, object], Report]], good_lines: list[str]
) -> None:
    lines, truth, report = planted["wrong-read-back"]
    differ = [at for at, pair in enumerate(zip(lines, good_lines, strict=True), start=1) if pair[0] != pair[1]]
    assert differ == [truth["source_line"]]
    ours, theirs = (int(one[differ[0] - 1].split("#")[1], 16) for one in (lines, good_lines))
    assert (ours ^ theirs).bit_count() == 1
    assert "trims-read-back-differs" in {one.id for one in report.findings}
    assert report.to_dict()["verdict"]["overall"] == "failed"


@pytest.mark.parametrize(("kind", "word"), [("refused-block", "failed"), ("silence", "interrupted")])
def test_a_broken_transfer_is_not_confirmed(
    planted: dict[str, tuple[list[str], dict[str, object], Report]], good_lines: list[str], kind: str, word: str
) -> None:
    lines, truth, report = planted[kind]
    assert report.to_dict()["verdict"]["parts"]["programming"]["word"] == word
    at = truth["source_line"]
    assert isinstance(at, int)
    assert lines[: at - 1] == good_lines[: at - 1]
    behind = [one.split()[2].partition("#")[0] for one in lines[at:]]
    assert behind and not [one for one in behind if one.startswith("18DA")]  # only everyday traffic goes on
    last = report.record.exchanges[-1]
    assert last.asked[:1] == b"\x36"
    assert (last.nrc == 0x72) is (kind == "refused-block")


@pytest.mark.parametrize(("kind", "now"), [("refused-block", "boot loader answers"), ("silence", "does not answer")])
def test_nothing_that_a_restart_brought_back_is_left_in_a_job_that_broke_off(
    planted: dict[str, tuple[list[str], dict[str, object], Report]], kind: str, now: str
) -> None:
    lines, truth, _ = planted[kind]
    said = str(truth["report"])
    assert now in said and "anew" not in said and "its application runs" not in said
    assert "counted in hex" in str(truth["what"])
    assert not any(" 0CFF102A#" in line for line in lines[int(str(truth["source_line"])) :])  # told to be quiet


def test_without_its_checks_the_download_has_less_proof(
    planted: dict[str, tuple[list[str], dict[str, object], Report]], good_lines: list[str]
) -> None:
    lines, _, report = planted["missing-check"]
    gone = len(good_lines) - len(lines)
    assert gone > 8
    told = [one.asked[:4].hex() for one in report.record.exchanges if one.asked[:1] == b"\x31"]
    assert "31010312" not in told and "3101ff01" not in told and "3101ff00" in told


def test_the_truth_says_what_the_report_then_says(
    planted: dict[str, tuple[list[str], dict[str, object], Report]],
) -> None:
    for kind, (_, truth, report) in planted.items():
        assert truth["kind"] == kind and truth["what"]
        assert truth["report"] == report.to_dict()["verdict"]["headline"]
        new = truth["new_findings"]
        assert isinstance(new, list) and set(new) <= {one.id for one in report.findings}


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((str(GOOD), "--plant", "silence"), "go together"),
        ((str(GOOD), "--output", "x.log"), "go together"),
        ((str(GOOD), str(GOOD), "--plant", "silence", "--output", "x.log"), "--plant takes one capture"),
        ((str(GOOD), str(GOOD), "--beside", str(GOOD)), "--beside takes one capture"),
        ((str(GOOD), "--plant", "thunder", "--output", "x.log"), "thunder"),
        ((str(GOOD), "--plant", "silence", "--output", str(GOOD)), "is read by this command"),
    ],
)
def test_options_that_do_not_fit_are_refused(options: tuple[str, ...], said: str) -> None:
    assert said in refused(*options)


def test_a_session_without_a_transfer_has_no_place_for_a_refused_block(tmp_path: Path) -> None:
    scan = FIXTURES / "coach-before-removal" / "capture.log"
    target = tmp_path / "x.log"
    assert "no place to plant 'refused-block'" in refused(
        str(scan), "--plant", "refused-block", "--output", str(target)
    )
    assert not target.exists()


def test_two_sessions_stand_side_by_side_where_they_part(tmp_path: Path) -> None:
    bad = FIXTURES / "coach-erase-low-voltage" / "capture.log"
    options = (str(GOOD), "--beside", str(bad), "--names", str(NAMES))
    page = run(*options)
    assert "Answer:" not in page
    assert any("FIRST SESSION" in line and "SECOND SESSION" in line for line in page.splitlines())
    assert "GOOD" not in page and "BAD" not in page  # that is for the class to find
    assert max(map(len, page.splitlines())) <= 100
    trainer = run(*options, "--trainer")
    assert any("GOOD SESSION" in line and "BAD SESSION" in line for line in trainer.splitlines())
    answer = re.search(r"Answer: (.*?)Question 2", trainer, re.S)
    assert answer and "refused, 72" in " ".join(answer[1].split()) and "FF00" in answer[1]
    target = tmp_path / "beside.html"
    run(*options, "--html", str(target))
    html = target.read_text(encoding="utf-8")
    assert html.count('class="step"') == 8 and "<script" not in html
    assert '<details class="tell" open>' not in html and "<h2>first recording</h2>" in html
    assert len(set(re.findall(r' id="([^"]+)"', html))) == 8


def test_a_session_beside_itself_does_not_part() -> None:
    assert "do not part" in run(str(GOOD), "--beside", str(GOOD), "--names", str(NAMES))
