"""The trim sheet: every value of a single unit, where it came from, whether it arrived. Forms: common practice."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Sequence
from pathlib import Path

import pytest
from click.testing import CliRunner
from talk import KEEPER, NAMES, Side, Talk, ask, heard, judged, log_of, raw, read, reset, tester, write

from analysis.cli import main
from analysis.report.lines import Lines
from analysis.sheet.jobsheet import load_job_sheet
from analysis.trims.page import COLUMNS, tell_trims
from analysis.trims.sheet import ModuleSheet, UnitLine, changed_form, trim_sheets

FIXTURES = Path(__file__).parents[3] / "fixtures"
VALUE = "0126514804A30001A153"
THIRD = Side(0x7E2, 0x7EA)


def sheets(*talk: Talk, names: str = "") -> dict[str, ModuleSheet]:
    return {one.link.partition(":")[2]: one for one in trim_sheets(heard(*talk, names=names))}


def line(*talk: Talk, names: str = "") -> UnitLine:
    return sheets(*talk, names=names)["7E0>7E8"].lines[0]


def told(found: Sequence[ModuleSheet], captures: int) -> str:
    page = Lines(100, color=False)
    tell_trims(page, found, captures)
    return str(page)


def page(*talk: Talk, names: str = "") -> str:
    return told(list(sheets(*talk, names=names).values()), 1)


def test_a_copy_names_its_source_and_arrives() -> None:
    found = line(read("3A01", VALUE, on=KEEPER), write("3A01", VALUE), reset(), read("3A01", VALUE))
    assert [(one.identifier, one.how) for one in found.sources] == [("3A01", "")]
    assert (found.is_equal, found.after_restart) == (True, True)


def test_every_module_that_said_the_same_is_named() -> None:
    talk = [read("3A01", VALUE, on=KEEPER), read("3A01", VALUE, on=THIRD), write("3A01", VALUE)]
    assert len(line(*talk).sources) == 2


def test_what_was_read_only_after_the_write_is_no_source() -> None:
    assert line(write("3A01", VALUE), read("3A01", VALUE, on=KEEPER)).sources == ()


@pytest.mark.parametrize(
    ("was", "wrote", "how"),
    [
        ("AABB" + VALUE, VALUE, "2 bytes less at the front"),
        (VALUE, VALUE + "FFFF", "2 bytes more at the end"),
        ("01020304", "02010403", "the two bytes of each word swapped"),
        ("3132333435363738", "12345678", "text digits against packed hex"),
        ("01020304", "01020305", ""),
        ("FFFFFFFFFFFF", "FFFFFFFF", ""),
        ("0102", "010203", ""),
    ],
)
def test_a_copy_in_another_form_only_looks_like_one(was: str, wrote: str, how: str) -> None:
    assert changed_form(raw(was), raw(wrote)) == how


def test_a_changed_form_is_told_as_such() -> None:
    text = page(read("3A01", "AABB" + VALUE, on=KEEPER), write("3A01", VALUE))
    assert "looks like a copy, form changed: 2 bytes less at the front" in text


def test_a_difference_is_marked_by_byte() -> None:
    text = page(write("3A01", "01020304"), read("3A01", "01020504"))
    assert "differs in byte 3" in text
    assert "0 of 1 read equal" in text


def test_a_value_not_read_since_says_so() -> None:
    assert "not read since" in " ".join(page(write("3A01", VALUE)).split())


def test_a_refused_write_is_not_shown_as_stored() -> None:
    text = page(read("3A01", "FF" * 10), write("3A01", VALUE, "7F 2E 22"), read("3A01", "FF" * 10))
    assert "refused, 22" in text
    assert "still holds the value before" in text
    assert "0 of 1 read equal" in text


def test_a_scan_without_names_lists_what_was_read() -> None:
    found = sheets(read("3A01", VALUE), read("F188", b"SW"), read("F442", "2F44"))["7E0>7E8"]
    assert [one.identifier for one in found.lines] == ["3A01"]
    assert not found.is_named
    assert "only read" in page(read("3A01", VALUE))


PCU_ON_THE_SHEET = """
[[module]]
label = "PCU"
link = "7E0:7E8"
trims = [ { identifiers = "3A01-3A02", value = "0102030405060708" } ]
"""


def with_job_sheet(*talk: Talk, names: str = "") -> ModuleSheet:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(PCU_ON_THE_SHEET)
        (found,) = trim_sheets(heard(*talk, names=names, sheet=PCU_ON_THE_SHEET), load_job_sheet(path))
    return found


def test_a_job_sheet_alone_hides_nothing_that_was_read() -> None:
    """It gives the module a label, and says nothing of what its values are."""
    found = with_job_sheet(read("3A01", VALUE), read("3B07", VALUE))
    assert (found.label, found.is_named) == ("PCU", False)
    assert [one.identifier for one in found.lines] == ["3A01", "3B07"]
    assert [text.partition(" ")[0] for text in found.not_read] == ["3A02"]


def test_what_the_job_sheet_asks_for_is_on_it_though_names_do_not_know_it() -> None:
    names = NAMES + '\n[[identifier]]\nid = "4A01"\nname = "pump trim"\nmodules = ["PCU"]\nkind = "trim"\n'
    found = with_job_sheet(read("3A01", VALUE), read("3B07", VALUE), read("4A01", VALUE), names=names)
    assert found.is_named
    assert [one.identifier for one in found.lines] == ["3A01", "4A01"]


def test_what_names_know_and_nobody_read_is_listed() -> None:
    names = NAMES + '\n[[identifier]]\nid = "3A01-3A03"\nname = "pump trim"\nmodules = ["PCU"]\nkind = "trim"\n'
    found = sheets(read("3A02", VALUE), names=names)["7E0>7E8"]
    missing = [text for text in found.not_read if "pump trim" in text]
    assert missing == ["3A01 (pump trim)", "3A03 (pump trim)"]


def test_a_job_over_several_captures_has_one_sheet() -> None:
    """Read in the first, written in the second, proved in the third."""
    logs = [
        log_of(read("3A01", VALUE, on=KEEPER)),
        log_of(write("3A01", VALUE), start_ns=1_795_000_100 * 10**9),
        log_of(reset(), read("3A01", VALUE), start_ns=1_795_000_200 * 10**9),
    ]
    (found,) = [one for one in trim_sheets(judged(*logs)) if one.link.endswith("7E0>7E8")]
    (only,) = found.lines
    assert (only.sources[0].place.capture, only.written_at and only.written_at.capture) == (1, 2)
    assert (only.read_at and only.read_at.capture, only.is_equal) == (3, True)


def test_values_of_one_byte_identifiers_are_on_it() -> None:
    enter = [ask("10 85", "50 85"), ask("1A 91", "5A 91 41")]
    found = line(*enter, ask("3B 20 01020304", "7B 20"), ask("21 20", "61 20 01020304"))
    assert (found.identifier, found.is_equal) == ("20", True)


def test_a_module_that_never_answers_has_no_sheet() -> None:
    assert "7E1>7E9" not in sheets(read("3A01", VALUE), tester("22 3A01", on=KEEPER))


@pytest.mark.parametrize("name", ["coach-all-good", "uds11-read-back-differs", "van-trims-firing-order"])
def test_the_page_has_one_table_a_module_and_keeps_to_80_columns(name: str) -> None:
    """Every whole value stands in it; 48 digits take two lines of their column."""
    world = name.partition("-")[0]
    args = [str(FIXTURES / name / "capture.log"), "--names", str(FIXTURES / f"{world}_names.toml")]
    text = CliRunner().invoke(main, ["trims", *args], env={"COLUMNS": "80"}).stdout
    table = list(csv.DictReader(io.StringIO(CliRunner().invoke(main, ["trims", *args, "--csv", "-"]).stdout)))
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("item              value") == len({row["link"] for row in table})
    for row in table:
        value = row["written"] or row["old"]
        assert all(value[at : at + 24] in text for at in range(0, len(value), 24))
        assert any(line.startswith(f"  {row['identifier']}") for line in text.splitlines())


def test_the_command_writes_rows_that_hold_the_whole_value(tmp_path: Path) -> None:
    capture, names = FIXTURES / "coach-all-good" / "capture.log", FIXTURES / "coach_names.toml"
    result = CliRunner().invoke(main, ["trims", str(capture), "--names", str(names), "--csv", "-"])
    assert result.exit_code == 0
    table = list(csv.DictReader(io.StringIO(result.stdout)))
    assert tuple(table[0]) == COLUMNS
    duc = {row["identifier"]: row for row in table if row["module"] == "DUC"}
    assert duc["4A10"]["written"] == duc["4A10"]["read_back"] == "020126041187000C009701970293039504940593068FDD2F"
    assert (duc["4A10"]["source"], duc["4A10"]["equal"], duc["4A10"]["after_restart"]) == ("VBM 4A10", "yes", "yes")


def test_a_capture_without_values_says_so() -> None:
    result = CliRunner().invoke(main, ["trims", str(FIXTURES / "uds11-no-diagnostics" / "capture.log")])
    assert result.exit_code == 0
    assert "No value of a single unit" in result.stdout


def test_the_values_of_the_module_taken_out_are_recovered_from_an_earlier_capture() -> None:
    """The old module was read on the link on which the new one is written."""
    logs = [
        log_of(read("3A01", VALUE), read("3A02", "1122334455")),
        log_of(
            read("3A01", "FF" * 10), write("3A01", VALUE), read("3A02", "FF" * 5), write("3A02", "5544332211"),
            start_ns=1_795_000_100 * 10**9,
        ),
    ]  # fmt: skip
    found = {one.identifier: one for sheet in trim_sheets(judged(*logs)) for one in sheet.lines}
    assert [(one.identifier, one.place.capture) for one in found["3A01"].sources] == [("3A01", 1)]
    assert [(value.hex(), place.capture) for value, place in found["3A02"].earlier] == [("1122334455", 1)]
    text = told(trim_sheets(judged(*logs)), 2)
    assert "earlier  1122334455 (" in text


def test_a_field_that_names_ignore_makes_no_difference() -> None:
    found = line(write("3A10", "012301"), reset(), read("3A10", "012302"), names=NAMES)
    assert found.is_equal is True
    assert str(found.word) == "confirmed"


def test_what_the_job_sheet_asks_for_and_nobody_read_is_listed_with_the_refusal() -> None:
    sheet = '[[module]]\nlabel = "PCU"\nlink = "7E0:7E8"\ntrims = [ { identifiers = "5A01-5A02", value = "00" } ]\n'
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "job.toml"
        path.write_text(sheet)
        report = heard(ask("22 5A01", "7F 22 31"), sheet=sheet)
        (found,) = trim_sheets(report, load_job_sheet(path))
    assert len(found.not_read) == 2
    assert found.not_read[0].startswith("5A01 (on the job sheet, refused: 31")
    assert found.not_read[1] == "5A02 (on the job sheet)"


def test_a_dead_module_says_what_could_not_be_read_of_it() -> None:
    capture, names = FIXTURES / "coach-before-removal-dead" / "capture.log", FIXTURES / "coach_names.toml"
    result = CliRunner().invoke(main, ["trims", str(capture), "--names", str(names)])
    text = " ".join(result.stdout.split())
    assert "Before removal, not read yet: 4A10" in text
    assert "4C20 (output shaft sensor offset" in text


def test_a_source_of_another_vehicle_is_said_above_the_values() -> None:
    """Equal to what was copied is not enough where the sheet's vehicle is another one."""
    capture, names = FIXTURES / "coach-foreign-keeper" / "capture.log", FIXTURES / "coach_names.toml"
    said = CliRunner().invoke(
        main, ["trims", str(capture), "--names", str(names), "--job", str(FIXTURES / "coach.toml")]
    )
    text = " ".join(said.stdout.split())
    doubt = "Not proven: VBM says the VIN E0KRC7HT9TD004205: its values may be those of another vehicle."
    assert text.count(doubt) == 1
    assert text.index(doubt) < text.index("4A10")
    alone = CliRunner().invoke(main, ["trims", str(capture), "--names", str(names)])
    assert "another vehicle" not in alone.stdout
