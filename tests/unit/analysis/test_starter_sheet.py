"""A sheet filled from a good capture: it loads, and the capture confirms every item of it."""

from __future__ import annotations

import csv
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner
from talk import KEEPER, NAMES, Talk, ask, gap, log_of, programming, raw, read, reset, write

from analysis import analyse
from analysis.cli import main
from analysis.sheet.jobsheet import load_job_sheet

FIXTURES = Path(__file__).parents[3] / "fixtures"


#: Its modules say two VINs: no recording to fill a sheet from.
NOT_GOOD = {"coach-vin-swapped"}


def _good() -> list[str]:
    rows = csv.DictReader((FIXTURES / "expected_words.csv").read_text().splitlines())
    wanted = {"sheet": "no", "names": "yes", "part": "overall", "word": "confirmed"}
    return sorted({row["fixture"] for row in rows if wanted.items() <= row.items()} - NOT_GOOD)


GOOD = _good()


def filled(capture: Path, names: list[Path], tmp_path: Path) -> Path:
    target = tmp_path / "filled.toml"
    given = [piece for one in names for piece in ("--names", str(one))]
    result = CliRunner().invoke(main, ["sheet", str(capture), *given, "--output", str(target)])
    assert result.exit_code == 0, result.output
    return target


def test_there_are_good_captures() -> None:
    assert len(GOOD) >= 5


@pytest.mark.parametrize("with_names", [False, True], ids=["without names", "with names"])
@pytest.mark.parametrize("name", GOOD)
def test_every_item_of_the_sheet_is_confirmed_by_the_capture_it_came_from(
    name: str, with_names: bool, tmp_path: Path
) -> None:
    capture = next((FIXTURES / name).glob("capture.*"))
    names = [FIXTURES / f"{name.split('-')[0]}_names.toml"] if with_names else []
    sheet = filled(capture, names, tmp_path)
    report = analyse(capture, job=sheet, names=names)
    assert report.expectations
    assert {one.item: str(one.word) for one in report.expectations if one.word != "confirmed"} == {}
    asked = tomllib.loads(sheet.read_text())
    assert any(set(one) - {"label", "link"} for one in asked["module"])


def test_the_filled_sheet_of_the_coach_asks_for_what_the_written_one_asks(tmp_path: Path) -> None:
    sheet = filled(FIXTURES / "coach-all-good" / "capture.log", [FIXTURES / "coach_names.toml"], tmp_path)
    ours, theirs = load_job_sheet(sheet), load_job_sheet(FIXTURES / "coach.toml")
    one, other = ours.module("DUC"), theirs.module("DUC")
    assert ours.vin == theirs.vin
    assert (one.programming, one.vin, one.learn, one.clear_faults) == (
        other.programming, other.vin, other.learn, other.clear_faults,
    )  # fmt: skip
    assert set(one.trims) == set(other.trims)
    assert one.configuration == other.configuration
    assert one.link.key == other.link.key


def sheet_of(tmp_path: Path, *talk: Talk, names: str = "") -> str:
    log = tmp_path / "capture.log"
    log.write_text(log_of(*talk))
    paths = []
    if names:
        paths.append(tmp_path / "names.toml")
        paths[0].write_text(names)
    return filled(log, paths, tmp_path).read_text()


def test_what_the_capture_does_not_prove_is_only_a_comment(tmp_path: Path) -> None:
    text = sheet_of(tmp_path, write("3A20", "11223344"), reset(), write("3A21", "55667788"), read("3A21", "55667788"))
    assert "3A20" not in str(tomllib.loads(text))
    assert "# trims: 3A20:" in text
    assert "completed, not proven" in text


def test_trims_and_configuration_in_turn_make_one_field_each(tmp_path: Path) -> None:
    names = NAMES + '[[identifier]]\nid = "3B00-3B01"\nname = "set-up"\nkind = "configuration"\n'
    talk = [[write(did, "A1B2C3D4"), read(did, "A1B2C3D4")] for did in ("3C00", "3B00", "3C01", "3B01")]
    (module,) = tomllib.loads(sheet_of(tmp_path, *talk, names=names))["module"]
    assert [one["identifiers"] for one in module["trims"]] == ["3C00-3C01"]
    assert [one["identifiers"] for one in module["configuration"]] == ["3B00-3B01"]


def test_a_copy_under_another_number_is_asked_for_by_its_value(tmp_path: Path) -> None:
    text = sheet_of(tmp_path, read("5000", "A1B2C3D4", on=KEEPER), write("3C00", "A1B2C3D4"), read("3C00", "A1B2C3D4"))
    assert 'value = "A1B2C3D4"' in text


def test_a_capture_without_a_job_gives_a_sheet_that_asks_for_nothing(tmp_path: Path) -> None:
    text = sheet_of(tmp_path, ask("3E 00", "7E 00"), gap(1))
    assert tomllib.loads(text) == {}


@pytest.mark.parametrize(
    ("number", "blank"), [("F806", "FF FF FF FF"), ("F806", "00 00 00 00"), ("F188", "20 20 20 20")]
)
def test_a_blank_identification_is_no_wish(number: str, blank: str, tmp_path: Path) -> None:
    text = sheet_of(tmp_path, programming(), reset(), read(number, blank), write("3C00", "A1B2C3D4"))
    assert "programming" not in str(tomllib.loads(text))
    what = {"F806": "cvn", "F188": "software"}[number]
    assert f"# programming: {what} reads blank in this recording, so it is not asked for." in text


@pytest.mark.parametrize("blank", ["FF FF FF FF FF FF", "00 00 00 00", "20 20 20 20"])
def test_blanks_written_are_no_wish(blank: str, tmp_path: Path) -> None:
    text = sheet_of(tmp_path, write("3C00", blank), reset(), read("3C00", blank), write("3C01", "A1B2C3D4"))
    assert "3C00" not in str(tomllib.loads(text))
    assert "# trims: 3C00 is blank in this recording, so it is not asked for." in text
    assert raw(blank).hex().upper() not in text


def test_a_blank_by_the_names_is_no_wish(tmp_path: Path) -> None:
    names = NAMES + '[[identifier]]\nid = "3B00"\nname = "trim"\nkind = "trim"\ndefault = "A1FF*"\n'
    text = sheet_of(tmp_path, write("3B00", "A1FFFFFF"), reset(), read("3B00", "A1FFFFFF"), names=names)
    assert "3B00" not in str(tomllib.loads(text))
    assert "# trims: 3B00 is blank in this recording" in text


def test_a_short_zero_is_a_value(tmp_path: Path) -> None:
    assert 'value = "00"' in sheet_of(tmp_path, write("3C00", "00"), reset(), read("3C00", "00"))
