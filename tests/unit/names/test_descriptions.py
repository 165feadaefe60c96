"""Names from descriptions of makers: ODX and PDX (ISO 22901-1), DBC. Outside opinions: odxtools, cantools.

Broken, large and hostile files give one line and exit code 2; nothing outside the file is read or asked.
"""

from __future__ import annotations

import io
import re
import socket
import sys
import zipfile
from decimal import Decimal
from pathlib import Path
from random import Random

import cantools
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from odxtools.database import Database

from analysis import analyse
from analysis.cli import main
from analysis.supply import supply_readings
from canlog.errors import SheetError
from canlog.names import files, odx
from canlog.names.files import read_all, read_names
from canlog.names.signals import Quantity, SignalName, is_supply
from canlog.names.tables import IdentifierKind, Names, RoutineKind, StatusWord

FIXTURES = Path(__file__).parents[3] / "fixtures"
ODX = FIXTURES / "names" / "pump.odx-d"
DBC = FIXTURES / "names" / "bench.dbc"
TOML = FIXTURES / "uds11_names.toml"


def written(path: Path, content: bytes, name: str = "names") -> Path:
    (path / name).write_bytes(content)
    return path / name


def package(path: Path, members: dict[str, bytes]) -> Path:
    with zipfile.ZipFile(path / "names.pdx", "w", zipfile.ZIP_DEFLATED) as zipped:
        for name, content in members.items():
            zipped.writestr(name, content)
    return path / "names.pdx"


# -- ODX


def test_identifiers_come_with_the_layout_of_their_bytes() -> None:
    names = read_names(ODX)
    volume = names.identifier("PCU", 0x3B10)
    assert volume is not None
    assert (volume.name, volume.kind, volume.decode(b"\x01\xf4")[0].text) == (
        "prime volume", IdentifierKind.OTHER, "5.00 ml",
    )  # fmt: skip
    kinds = {one.first: one.kind.value for one in names.identifiers}
    assert kinds == {0xF188: "identification", 0x3B10: "other", 0xF442: "supply", 0x3A01: "other"}
    assert names.identifier("PMU", 0x3B10) is None


def test_the_values_are_those_that_odxtools_encodes() -> None:
    database = Database()
    database.add_odx_file(ODX)
    database.refresh()
    response = database.base_variants[0].services.read_trim_1.positive_responses[0]
    given = {"index": 3, "serial": b"\x12\x34\x56", "flow": 12.05, "pressure_offset": -2.5, "crc": 0xBEEF}
    data = bytes(response.encode(coded_request=b"\x22\x3a\x01", **given))
    name = read_names(ODX).identifier("PCU", 0x3A01)
    assert name is not None
    assert {one.name: one.value for one in name.decode(data[3:])} == {**given, "serial": "123456"}


def test_routines_say_no_more_than_their_name_and_the_standard() -> None:
    kinds = {one.first: (one.name, one.kind) for one in read_names(ODX).routines}
    assert kinds == {0x0266: ("check block", RoutineKind.UNSAID), 0xFF00: ("erase memory", RoutineKind.ERASE)}
    words = {meaning.word for one in read_names(ODX).routines for _, meaning in one.status}
    assert words == {StatusWord.SAYS}


def test_a_package_says_the_same_as_its_document(tmp_path: Path) -> None:
    path = package(tmp_path, {"a/pump.odx-d": ODX.read_bytes(), "../../evil.txt": b"not touched"})
    found, alone = read_names(path), read_names(ODX)
    assert (found.identifiers, found.routines) == (alone.identifiers, alone.routines)
    assert not (tmp_path.parent.parent / "evil.txt").exists()


def test_what_a_person_wrote_wins_over_a_description_in_any_order() -> None:
    for order in ([TOML, ODX], [ODX, TOML]):
        names = read_all(order, Names())
        check, trim = names.routine("PCU", 0x0266), names.identifier("PCU", 0x3A01)
        assert check is not None and check.kind is RoutineKind.CHECK
        assert trim is not None and trim.kind is IdentifierKind.TRIM
        supply = names.identifier("PCU", 0xF442)
        assert supply is not None and supply.name == "supply voltage"


def test_a_layout_on_which_two_services_do_not_agree_is_left_out(tmp_path: Path) -> None:
    text = ODX.read_text()
    for tag in ("DIAG-SERVICE", "REQUEST", "POS-RESPONSE"):
        (block,) = re.findall(rf'<{tag} ID="[a-z]+\.read_prime_volume">.*?</{tag}>', text, re.DOTALL)
        other = block.replace("read_prime_volume", "read_prime_volume_2").replace("dop.volume", "dop.byte")
        text = text.replace(block, block + other)
    name = read_names(written(tmp_path, text.encode())).identifier("PCU", 0x3B10)
    assert name is not None and (name.name, name.layout) == ("prime volume", ())


BILLION = (
    b'<!DOCTYPE ODX [<!ENTITY a "aaaaaaaaaa">'
    + b"".join(f'<!ENTITY {chr(98 + n)} "{f"&{chr(97 + n)};" * 10}">'.encode() for n in range(9))
    + b"]><ODX>&j;</ODX>"
)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (BILLION, ":1: DOCTYPE: not allowed"),
        (b'<!DOCTYPE ODX [<!ENTITY x SYSTEM "file:///etc/passwd">]><ODX>&x;</ODX>', ":1: DOCTYPE: not allowed"),
        (b'<?xml version="1.0"?>\n<!DOCTYPE ODX SYSTEM "http://192.0.2.1/x.dtd"><ODX/>', ":2: DOCTYPE: not allowed"),
        ('<?xml version="1.0" encoding="UTF-16"?><!DOCTYPE ODX [<!ENTITY a "b">]><ODX/>'.encode("utf-16"), "DOCTYPE"),
        (b"<a>" * 100_000, ":1: elements more than 200 deep"),
        (b"<ODX>\n<broken>\n</ODX>", ":3: no well-formed XML"),
        (b'<?xml version="1.0" encoding="nothing"?><ODX/>', "no well-formed XML"),
        (b"<html/>", ":1: html: the first element of ODX is ODX"),
        (b"<ODX/>", "no usable ODX: Each ODX document must contain exactly one category"),
        (b"<ODX MODEL-VERSION='2.2.0'><DIAG-LAYER-CONTAINER ID='x'/></ODX>", "no usable ODX"),
        (b"PK\x03\x04 and no package", "no well-formed XML"),
    ],
)
def test_a_broken_or_hostile_document_is_one_line(
    content: bytes, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> None:
        raise AssertionError("no network")

    monkeypatch.setattr(socket, "socket", refuse)
    path = written(tmp_path, content)
    capture = FIXTURES / "uds11-only-reads" / "capture.log"
    result = CliRunner().invoke(main, ["report", str(capture), "--names", str(path)])
    assert result.exit_code == 2
    assert said in result.stderr and result.stderr.count("\n") == 1
    assert "root:" not in result.output


def test_a_dangling_reference_names_the_file(tmp_path: Path) -> None:
    path = written(tmp_path, ODX.read_bytes().replace(b'ID-REF="dop.volume"', b'ID-REF="dop.nowhere"'))
    with pytest.raises(SheetError, match=r"names: no usable ODX: .*dop\.nowhere"):
        read_names(path)


def test_a_package_that_unpacks_to_too_much_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(odx, "MOST_BYTES", 1_000_000)
    with pytest.raises(SheetError, match="more than 1,000 documents or 1,000,000 bytes unpacked"):
        read_names(package(tmp_path, {"bomb.odx-d": b" " * 50_000_000}))


def test_a_package_of_too_many_documents_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(odx, "MOST_DOCUMENTS", 3)
    with pytest.raises(SheetError, match="more than 3 documents"):
        read_names(package(tmp_path, {f"{at}.odx-d": b"<ODX/>" for at in range(4)}))


def test_a_package_without_a_document_a_damaged_and_a_locked_one_are_refused(tmp_path: Path) -> None:
    with pytest.raises(SheetError, match="no ODX document is in it"):
        read_names(package(tmp_path, {"readme.txt": b"hello"}))
    content = bytearray(package(tmp_path, {"a.odx-d": ODX.read_bytes()}).read_bytes())
    content[60:90] = bytes(30)
    with pytest.raises(SheetError, match="damaged or locked"):
        read_names(written(tmp_path, bytes(content)))
    whole = package(tmp_path, {"a.odx-d": b"<ODX/>"}).read_bytes()
    at = whole.index(b"PK\x01\x02") + 8
    locked = bytearray(whole)
    locked[6] |= 1
    locked[at] |= 1
    with pytest.raises(SheetError, match="damaged or locked"):
        read_names(written(tmp_path, bytes(locked)))


def test_a_file_larger_than_the_limit_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "MOST_BYTES", 1000)
    for path in (ODX, DBC):
        if path.stat().st_size > 1000:
            with pytest.raises(SheetError, match="are more than 1,000"):
                read_names(path)


@pytest.mark.parametrize(("path", "module"), [(ODX, "odxtools.database"), (DBC, "cantools")])
def test_without_the_library_the_file_says_what_is_needed(
    path: Path, module: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, module, None)
    with pytest.raises(SheetError) as error:
        read_names(path)
    assert error.value.hint == "pip install 'canlog[names]'"


@pytest.mark.parametrize("path", [ODX, DBC], ids=lambda path: path.name)
@pytest.mark.parametrize("seed", range(40))
def test_any_damage_gives_names_or_one_error(path: Path, seed: int, tmp_path: Path) -> None:
    rng = Random(seed)
    content = bytearray(path.read_bytes())
    for _ in range(rng.randrange(1, 6)):
        at = rng.randrange(len(content))
        content[at : at + rng.choice([0, 1, 1, 40])] = rng.choice([b"", b"9", b"-", b"<", bytes([rng.randrange(256)])])
    try:
        read_names(written(tmp_path, bytes(content)))
    except SheetError as error:
        assert "\n" not in str(error)


# -- DBC


def test_only_the_supply_of_the_vehicle_is_taken_from_a_bus_description() -> None:
    supply = [one for one in read_names(DBC).signals if one.quantity is Quantity.SUPPLY]
    assert [(one.name, one.can_id, one.extended) for one in supply] == [
        ("Supply.BatteryVoltage", 960, False), ("Traction.UbatMillivolt", 0x18FF002A, True),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("name", "unit", "wanted"),
    [
        ("BatteryVoltage", "V", True), ("U_BATT", "V", True), ("VBat", "V", True), ("KL30_Voltage", "mV", True),
        ("Terminal30Voltage", "V", True), ("SupplyVoltage", "V", True), ("Batt_V", "Volt", True),
        ("HVBatteryVoltage", "V", False), ("CellSupplyMin", "V", False), ("SensorSupply", "V", False),
        ("BatteryCurrent", "A", False), ("VehicleSpeed", "km/h", False), ("ThrottleVoltage", "V", False),
        ("BatteryVoltageMax", "V", False), ("CombatMode", "V", False),
    ],
)  # fmt: skip
def test_a_signal_counts_as_supply_by_its_words_and_unit(name: str, unit: str, wanted: bool) -> None:
    assert is_supply(name, unit) is wanted


@given(
    data=st.binary(min_size=8, max_size=8), start=st.integers(0, 63), length=st.integers(1, 32), big=st.booleans(),
    signed=st.booleans(),
)  # fmt: skip
def test_the_bits_of_a_signal_are_those_that_cantools_takes(
    data: bytes, start: int, length: int, big: bool, signed: bool
) -> None:
    name = SignalName(1, False, "s", start, length, big, signed)
    if name.raw(data) is None:
        return
    text = f'BO_ 1 M: 8 N\n SG_ s : {start}|{length}@{0 if big else 1}{"-" if signed else "+"} (1,0) [0|0] "" N\n'
    theirs = cantools.database.load_string(f'VERSION ""\nNS_ :\nBS_:\nBU_: N\n{text}', "dbc")
    assert name.raw(data) == theirs.decode_message(1, data)["s"]


def test_not_available_out_of_range_and_impossible_voltages_are_no_reading() -> None:
    name = SignalName(1, False, "s", 0, 16, scale=Decimal("0.001"), unit="V", minimum=Decimal(0), maximum=Decimal(40))
    assert name.millivolts(bytes.fromhex("10270000")) == 10_000
    assert name.millivolts(bytes.fromhex("FFFF0000")) is None
    assert name.millivolts(bytes.fromhex("FFFE0000")) is None
    assert name.millivolts(b"\x10") is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b'VERSION ""\nBO_ 1 A: 8 X\n SG_ b : 0|8@1+ (1,0) [0|0] "V X\n', "names"),
        (b'VERSION ""\n\nBO_ nothing\n', r"names:3: .*line 3"),
    ],
)
def test_a_broken_bus_description_names_the_line(content: bytes, said: str, tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=said):
        read_names(written(tmp_path, content))


def with_supply(path: Path, volts: list[float]) -> Path:
    """A good session with a cyclic message of the supply voltage, one frame a second."""
    lines = (FIXTURES / "uds11-all-good" / "capture.log").read_text().splitlines()
    start = float(lines[0][1:18])
    more = [
        f"({start + at:.6f}) can0 3C0#{round(one * 1000).to_bytes(2, 'little').hex().upper()}000000000000"
        for at, one in enumerate(volts)
    ]
    path = path / "capture.log"
    path.write_text("\n".join(sorted([*lines, *more])) + "\n")
    return path


def test_a_cyclic_voltage_that_sinks_is_found_and_a_steady_one_is_not(tmp_path: Path) -> None:
    sinking = analyse(with_supply(tmp_path, [12.9, 12.6, 12.1, 11.7, 11.4, 11.2]), names=[TOML, DBC])
    readings = supply_readings(sinking.record)
    assert [one.millivolts for one in readings] == [12900, 12600, 12100, 11700, 11400, 11200]
    assert {one.source for one in readings} == {"can0:3C0"}
    (finding,) = [one for one in sinking.findings if one.id == "voltage-falls"]
    assert "11.2 V at Supply.BatteryVoltage" in finding.explanation
    steady = analyse(with_supply(tmp_path, [13.2, 13.25, 13.2, 13.3, 13.2, 13.2]), names=[TOML, DBC])
    assert [one.millivolts for one in supply_readings(steady.record)] == [13200, 13300, 13200]
    assert not [one for one in steady.findings if one.id == "voltage-falls"]
    assert not any("supply voltage" in text for text in steady.cannot_show)


def test_a_report_with_descriptions_keeps_its_words_and_its_contract(tmp_path: Path) -> None:
    path = with_supply(tmp_path, [13.2] * 6)
    plain, described = (analyse(path, names=names).to_dict() for names in ([TOML], [TOML, ODX, DBC]))
    assert plain["verdict"]["overall"] == described["verdict"]["overall"] == "confirmed"
    assert len(described["made_by"]["names_sha256"]) == 3


def test_a_utf8_mark_in_front_changes_nothing(tmp_path: Path) -> None:
    assert read_names(written(tmp_path, b"\xef\xbb\xbf" + ODX.read_bytes())).identifiers
    assert zipfile.is_zipfile(io.BytesIO(b"")) is False
