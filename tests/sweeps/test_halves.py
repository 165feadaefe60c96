"""Good jobs of which only requests or only answers were recorded: nothing is called dead, and nothing that writes is
advised. Common practice, no source.
"""

import re
from pathlib import Path

import pytest

from analysis import analyse
from analysis.report.text import render_text

FIXTURES = Path(__file__).parents[2] / "fixtures"
GOOD = (
    "coach-all-good", "coach-reflash", "coach-before-removal", "uds11-all-good", "uds11-all-good-short",
    "uds11-second-attempt-good", "uds11-only-reads", "van-trims-firing-order", "coach-next-day",
)  # fmt: skip
#: Ids that modules of the three worlds answer on, and ids of testers to one module.
ANSWERS = re.compile(r" (?:18DA(?:F1|F9)..|7[0-9A-F][89A-F])#", re.IGNORECASE)
REQUESTS = re.compile(r" (?:18DA..(?:F1|F9)|7[0-9A-F][0-7])#", re.IGNORECASE)
WRITES = re.compile(r"\b(program|write|clear) ", re.IGNORECASE)


def half_of(fixture: str, missing: re.Pattern[str], folder: Path, *, named: bool) -> dict:
    lines = (FIXTURES / fixture / "capture.log").read_text().splitlines(keepends=True)
    path = folder / "half.log"
    path.write_text("".join(line for line in lines if not missing.search(line)))
    names = [FIXTURES / f"{fixture.partition('-')[0]}_names.toml"] if named else []
    return analyse(path, names=names).to_dict()


@pytest.mark.parametrize("named", [True, False], ids=["names", "no names"])
@pytest.mark.parametrize("missing", [ANSWERS, REQUESTS], ids=["requests only", "answers only"])
@pytest.mark.parametrize("fixture", GOOD)
def test_half_a_talk_calls_nothing_dead_and_advises_no_writing(
    fixture: str, missing: re.Pattern[str], named: bool, tmp_path: Path
) -> None:
    report = half_of(fixture, missing, tmp_path, named=named)
    assert "silent" not in {module["now"] for module in report["modules"]}
    told = [*report["verdict"]["next_steps"], *(module["advice"] for module in report["modules"])]
    told += [item["would_change"] for item in report["operations"] if item["would_change"]]
    told += [text for part in report["verdict"]["parts"].values() for text in part["would_change"]]
    assert [text for text in told if WRITES.search(text)] == []
    assert report["captures"][0]["fitness"] == "poor"
    words = {item["word"] for item in report["operations"] if item["kind"] not in ("communication", "clear")}
    assert not words & {"confirmed", "interrupted"}  # a refusal is an answer: failed may stand


def test_where_one_module_alone_lacks_its_answers_that_is_said_first(tmp_path: Path) -> None:
    report = half_of("coach-all-good", re.compile(r" 18DAF12A#", re.IGNORECASE), tmp_path, named=True)
    assert report["verdict"]["headline"].startswith("Only one direction was recorded of DUC")
    assert [step for step in report["verdict"]["next_steps"] if WRITES.search(step)] == []
    assert len(report["verdict"]["next_steps"]) == 1
    assert [module["now"] for module in report["modules"] if module["label"] == "DUC"] == ["application"]


def test_a_channel_whose_answers_are_missing_makes_no_dead_module(tmp_path: Path) -> None:
    lines = (FIXTURES / "coach-all-good" / "capture.log").read_text().splitlines(keepends=True)
    moved = [line.replace(" can0 18DA2AF1#", " can1 18DA2AF1#") for line in lines if " 18DAF12A#" not in line]
    path = tmp_path / "channel.log"
    path.write_text("".join(moved))
    report = analyse(path, names=[FIXTURES / "coach_names.toml"]).to_dict()
    states = {module["link"]: module["now"] for module in report["modules"]}
    assert states["can1:18DA2AF1>18DAF12A"] == "unknown"
    assert report["verdict"]["overall"] == "not-shown"


def test_answers_of_a_dialect_without_an_exit_show_no_broken_transfer(tmp_path: Path) -> None:
    half_of("gmw-all-good", re.compile(r" (?:24B|101)#"), tmp_path, named=False)
    report = analyse(tmp_path / "half.log", job=sheet_of("gmw-all-good")).to_dict()  # the sheet tells the link
    assert {item["word"] for item in report["operations"] if item["kind"] == "download"} == {"unproven"}


WITH_SHEET = ("coach-all-good", "uds11-all-good")


def sheet_of(fixture: str) -> Path:
    return FIXTURES / f"{fixture.partition('-')[0]}.toml"


@pytest.mark.parametrize("fixture", WITH_SHEET)
def test_a_sheet_gets_no_more_out_of_requests_alone(fixture: str, tmp_path: Path) -> None:
    half_of(fixture, ANSWERS, tmp_path, named=False)
    names = [FIXTURES / f"{fixture.partition('-')[0]}_names.toml"]
    report = analyse(tmp_path / "half.log", job=sheet_of(fixture), names=names).to_dict()
    assert {item["word"] for item in report["expectations"]} == {"not-shown"}
    assert report["verdict"]["parts"]["programming"]["word"] == "not-shown"
    assert any("only requests were recorded" in text for text in report["verdict"]["parts"]["programming"]["because"])


@pytest.mark.parametrize("named", [True, False], ids=["names", "no names"])
@pytest.mark.parametrize("fixture", [*WITH_SHEET, "uds11-transfer-refused", "uds11-ends-mid-transfer"])
def test_answers_alone_tell_no_number_of_bytes(fixture: str, named: bool, tmp_path: Path) -> None:
    report = half_of(fixture, REQUESTS, tmp_path, named=named)
    text = " ".join(render_text(report, 4000).split())
    assert "bytes not recorded, in " in text
    assert not re.search(r"\b0 (of [0-9,]+ )?bytes\b", text)
    assert "0.0 %" not in text
