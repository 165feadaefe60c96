"""The command: what it writes, what it refuses, and that it never writes half."""

import csv
import io
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner

from analysis.cli import BAD_INPUT, main
from analysis.commands.writing import whole_files
from analysis.redact.redact import redact
from analysis.redact.replacements import Replacements
from analysis.sheet.jobsheet import load_job_sheet
from canlog.errors import CanlogError
from canlog.names.vin import check_vin
from canlog.read import read_capture, rebuild

FIXTURES = Path(__file__).parents[3] / "fixtures"
CAPTURE = FIXTURES / "uds11-all-good" / "capture.log"
SHEET, NAMES = FIXTURES / "uds11.toml", FIXTURES / "uds11_names.toml"
INPUTS = [str(CAPTURE), "--job", str(SHEET), "--names", str(NAMES)]


def run(*words: object) -> tuple[int, str]:
    done = CliRunner().invoke(main, ["redact", *map(str, words)])
    return done.exit_code, done.output


def test_capture_sheet_and_list_are_written(tmp_path: Path) -> None:
    copy, sheet, listed = tmp_path / "copy.log", tmp_path / "copy.toml", tmp_path / "list.csv"
    code, output = run(*INPUTS, "--output", copy, "--job-output", sheet, "--list", listed)
    assert code == 0
    assert "VIN  PCU F190" in output
    assert len(copy.read_bytes()) == len(CAPTURE.read_bytes())
    old, new = load_job_sheet(SHEET), load_job_sheet(sheet)
    assert new.vin != old.vin
    assert check_vin(new.vin).check_digit_right == check_vin(old.vin).check_digit_right
    assert [one.label for one in new.modules] == [one.label for one in old.modules]
    rows = list(csv.DictReader(io.StringIO(listed.read_text())))
    assert {"kind": "VIN", "module": "PMU", "identifier": "F190", "count": "1"} in rows
    assert old.vin not in listed.read_text() + output


def test_the_values_of_a_further_identifier_are_replaced_on_both_sides(tmp_path: Path) -> None:
    copy = tmp_path / "copy.log"
    assert run(*INPUTS, "--also", "F188", "--output", copy)[0] == 0

    def values(path: Path) -> list[bytes]:
        return [message.data[3:] for message in rebuild(read_capture(path)) if message.data[:3] == b"\x62\xf1\x88"]

    old, new = values(CAPTURE), values(copy)
    assert len(old) == len(new) > 1
    assert not set(old) & set(new)
    assert len(set(old)) == len(set(new))


def test_a_trim_copied_from_module_to_module_stays_equal_and_its_check_fits(tmp_path: Path) -> None:
    copy = tmp_path / "copy.log"
    copy.write_bytes(redact(CAPTURE, SHEET, [NAMES]).capture)
    records: dict[bytes, set[bytes]] = {}
    for message in rebuild(read_capture(copy)):
        if message.data[:2] in (b"\x62\x3a", b"\x2e\x3a"):
            records.setdefault(message.data[1:3], set()).add(message.data[3:])
    assert len(records) == 4
    for found in records.values():
        written = {one for one in found if one[1:4] != b"\xff\xff\xff"}
        assert len(written) == 1
        record = written.pop()
        assert record[1:4].hex().isdecimal()
        assert crc16(record[:-2]) == int.from_bytes(record[-2:], "big")


def crc16(data: bytes) -> int:
    """ITU-T V.41 polynomial from FFFF, bit by bit."""
    bits = "".join(f"{byte:08b}" for byte in data)
    crc = 0xFFFF
    for bit in bits:
        crc = (crc << 1) ^ (0x1021 if (crc >> 15) != int(bit) else 0)
        crc &= 0xFFFF
    return crc


def test_two_runs_differ_and_one_run_is_consistent() -> None:
    assert redact(CAPTURE, SHEET, [NAMES]).capture != redact(CAPTURE, SHEET, [NAMES]).capture
    one = Replacements()
    assert one.octets(b"SN-0042-ab") == one.octets(b"SN-0042-ab") != b"SN-0042-ab"
    assert one.octets(b"SN-0042-ab") != Replacements().octets(b"SN-0042-ab")


@pytest.mark.parametrize("value", [b"\x26\x51\x67", b"\x04\x19\x87", b"VB260417", b"12345678", b"AB-12 cd"])
def test_a_replacement_has_the_alphabet_of_its_value(value: bytes) -> None:
    new = Replacements().octets(value)
    assert len(new) == len(value)
    assert new != value
    assert not value.hex().isdecimal() or new.hex().isdecimal()
    if value.isalnum():
        assert [chr(one).isdigit() for one in new] == [chr(one).isdigit() for one in value]


def test_memory_never_written_stays_within_other_bytes() -> None:
    new = Replacements().octets(b"\x91\x82\x73\x64" + b"\xff" * 8 + b"\x91")
    assert new[4:12] == b"\xff" * 8
    assert new[:4] != b"\x91\x82\x73\x64"


def test_a_mistyped_vin_stays_as_far_from_the_right_one() -> None:
    vins = Replacements(["1FAKE00X7YA000042", "1FAKE00X7YA000043"]).vins
    one, other = vins.values()
    assert sum(a != b for a, b in zip(one, other, strict=True)) == 1
    assert [check_vin(new).check_digit_right for new in vins.values()] == [
        check_vin(old).check_digit_right for old in vins
    ]


def test_no_output_goes_over_an_input_or_another_output(tmp_path: Path) -> None:
    capture, sheet = tmp_path / "capture.log", tmp_path / "sheet.toml"
    capture.write_bytes(CAPTURE.read_bytes())
    sheet.write_bytes(SHEET.read_bytes())
    base = [capture, "--job", sheet]
    for words in (
        ["--output", capture], ["--output", sheet], ["--output", tmp_path / "a", "--job-output", sheet],
        ["--output", tmp_path / "a", "--list", tmp_path / "a"],
    ):  # fmt: skip
        assert run(*base, *words)[0] == BAD_INPUT
    assert run(capture, "--output", tmp_path / "a", "--job-output", tmp_path / "b")[0] == BAD_INPUT
    assert run(capture, "--also", "F1", "--also", "XY", "--output", tmp_path / "a")[0] == BAD_INPUT
    assert sorted(path.name for path in tmp_path.iterdir()) == ["capture.log", "sheet.toml"]
    assert capture.read_bytes() == CAPTURE.read_bytes()


def test_names_files_are_copied_with_the_same_replacements(tmp_path: Path) -> None:
    vin = load_job_sheet(SHEET).vin
    names, described = tmp_path / "of-this-vehicle.toml", FIXTURES / "names" / "bench.dbc"
    names.write_text(f"# names for {vin}\n{NAMES.read_text()}")
    base = [str(CAPTURE), "--job", str(SHEET), "--names", str(names)]
    copy, sheet, named = tmp_path / "copy.log", tmp_path / "copy.toml", tmp_path / "names.toml"
    assert run(*base, "--output", copy, "--job-output", sheet, "--names-output", named)[0] == 0
    first, *rest = named.read_text().splitlines()
    assert vin not in first
    assert first == f"# names for {load_job_sheet(sheet).vin}"
    assert rest == NAMES.read_text().splitlines()
    code, output = run(*base, "--names", described, "--output", tmp_path / "x", "--names-output", tmp_path)
    assert code == BAD_INPUT
    assert "TOML" in output
    assert not (tmp_path / "x").exists()


def test_several_outputs_appear_together_or_not_at_all(tmp_path: Path) -> None:
    def interrupted() -> Iterator[tuple[str, bytes]]:
        yield str(tmp_path / "one"), b"first"
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        whole_files(interrupted())
    with pytest.raises(CanlogError):
        whole_files([(str(tmp_path / "one"), b"first"), (str(tmp_path / "nowhere" / "two"), b"second")])
    assert not list(tmp_path.iterdir())
    whole_files([(str(tmp_path / "one"), b"first"), (str(tmp_path / "two"), b"second")])
    assert (tmp_path / "one").read_bytes() + (tmp_path / "two").read_bytes() == b"firstsecond"


def test_a_copy_that_would_read_otherwise_is_not_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("analysis.redact.redact.copied_text", lambda text, *_: text.replace(b"#", b"#00", 1))
    code, output = run(*INPUTS, "--output", tmp_path / "copy.log")
    assert code == BAD_INPUT
    assert "read as the original" in output
    assert not list(tmp_path.iterdir())
