"""Speed and engine from cyclic messages: which signals are taken, what they say of the job. Outside opinion: cantools.

What a signal says by its name never proves an act: with and without it the words are the same.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import cantools
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analysis import analyse
from analysis.report.model import Report
from canlog.errors import SheetError
from canlog.names.files import read_names
from canlog.names.signals import Quantity, SignalName, quantity_of, running_states

FIXTURES = Path(__file__).parents[3] / "fixtures"
DBC = FIXTURES / "names" / "bench.dbc"
TOML = FIXTURES / "uds11_names.toml"
STANDS, SLOW, DRIVES = "0000", "6400", "B004"  # 0, 1 and 12 km/h
ENGINE_OFF, STARTER, IDLES = "0000FFFF0C", "0320FFFF0D", "0C80FFFF0E"  # 0, 200 and 800 in a minute


@pytest.mark.parametrize(
    ("name", "unit", "told"),
    [
        ("VehicleSpeed", "km/h", Quantity.SPEED), ("WheelBasedVehicleSpeed", "km/h", Quantity.SPEED),
        ("VEH_SPEED", "mph", Quantity.SPEED), ("RoadSpeed", "m/s", Quantity.SPEED),
        ("EngineSpeed", "rpm", Quantity.TURNS), ("ENG_RPM", "1/min", Quantity.TURNS),
        ("EngineRunning", "", Quantity.RUNNING), ("EngineState", "", Quantity.RUNNING),
        ("CruiseSetSpeed", "km/h", None), ("VehicleSpeedLimit", "km/h", None), ("WheelSpeedFL", "km/h", None),
        ("VehicleSpeed", "rpm", None), ("VehicleSpeed", "", None), ("FanSpeed", "rpm", None),
        ("EngineIdleTargetSpeed", "rpm", None), ("EngineFanSpeed", "rpm", None), ("MotorSpeed", "rpm", None),
        ("EngineOilState", "", None), ("EngineStartRequest", "", None), ("EngineRunningTime", "s", None),
        ("WindSpeed", "km/h", None), ("EngineMaxSpeed", "rpm", None), ("BatteryVoltage", "V", Quantity.SUPPLY),
    ],
)  # fmt: skip
def test_a_signal_is_taken_by_its_words_and_unit(name: str, unit: str, told: Quantity | None) -> None:
    assert quantity_of(name, unit) is told


def test_an_engine_state_is_taken_where_its_texts_say_both() -> None:
    assert running_states({0: "Off", 1: "Cranking", 2: "Engine_Running", 3: "SNA"}, 2) == ((0, False), (2, True))
    assert running_states({0: "Off", 1: "Fault"}, 1) == ()
    assert running_states({}, 1) == ((0, False), (1, True))
    assert running_states({}, 2) == ()


def test_the_bench_description_gives_speed_engine_and_supply() -> None:
    found = {one.name: one.quantity for one in read_names(DBC).signals}
    assert found == {
        "Supply.BatteryVoltage": Quantity.SUPPLY, "Traction.UbatMillivolt": Quantity.SUPPLY,
        "Dash.VehicleSpeed": Quantity.SPEED, "Engine.EngineSpeed": Quantity.TURNS,
        "Engine.EngineState": Quantity.RUNNING,
    }  # fmt: skip


@given(st.binary(min_size=8, max_size=8))
def test_values_are_those_of_cantools(data: bytes) -> None:
    theirs = cantools.database.load_file(DBC, strict=False)
    for signal in read_names(DBC).signals:
        if signal.quantity is Quantity.SUPPLY:
            continue
        message = theirs.get_message_by_frame_id(signal.can_id)
        value = message.decode(data, decode_choices=signal.quantity is Quantity.RUNNING)[signal.name.partition(".")[2]]
        ours = signal.reading(data)
        if signal.quantity is Quantity.RUNNING:
            assert ours == {"running": 1, "stopped": 0}.get(str(value))
        elif ours is not None:
            assert float(ours) == pytest.approx(value)
        else:
            assert not signal.minimum <= Decimal(str(value)) <= signal.maximum or signal.raw(data) == 0xFFFF


def test_miles_and_metres_become_kilometres_and_impossible_speeds_nothing() -> None:
    mph = SignalName(1, False, "s", 0, 16, unit="mph", quantity=Quantity.SPEED)
    assert mph.reading(b"\x0a\x00") == Decimal("16.09344")
    assert mph.reading(b"\x00\x7f") is None
    assert mph.reading(b"\xff\xff") is None
    assert mph.reading(b"\x01") is None


@pytest.mark.parametrize(
    "text",
    [
        'VAL_ 977 EngineState 0 "stopped" 1 ;;;\n', 'VAL_ 977 EngineState x "stopped";\n',
        'BO_ 977 Engine: 8 PCU\n SG_ EngineState : 32|2@1+ (1,0) [0|3] "\n',
    ],
)  # fmt: skip
def test_a_damaged_table_of_states_is_one_error_with_its_line(text: str, tmp_path: Path) -> None:
    (tmp_path / "bus").write_text(f'VERSION ""\n{text}')
    with pytest.raises(SheetError, match=r"bus:\d+: ") as error:
        read_names(tmp_path / "bus")
    assert "\n" not in str(error.value)


def test_texts_of_states_that_nobody_writes_are_no_states(tmp_path: Path) -> None:
    long = "running " * 5000
    (tmp_path / "bus").write_text(
        'VERSION ""\nBO_ 977 Engine: 8 PCU\n SG_ EngineState : 32|2@1+ (1,0) [0|3] "" PSM\n'
        f'VAL_ 977 EngineState 0 "stopped" 2 "{long}";\n'
    )
    assert read_names(tmp_path / "bus").signals == ()


# -- in the report


def with_frames(path: Path, name: str, *heads: str, spike: str = "") -> Path:
    """A session with cyclic messages every 100 ms; ``spike``: one frame in the middle of the downloads."""
    lines = (FIXTURES / name / "capture.log").read_text().splitlines()
    first, last = (float(line[1:18]) for line in (lines[0], lines[-1]))
    more = [
        f"({first + at / 10:.6f}) can0 {head}" for head in heads for at in range(int((last - first) * 10) + 1)
    ]  # fmt: skip
    lines = sorted([*lines, *more])
    if spike:
        at = next(at for at, line in enumerate(lines) if "7E0#10" in line and "3602" in line)
        lines.insert(at + 1, f"{lines[at].partition(' ')[0]} can0 {spike}")
    (path / "capture.log").write_text("\n".join(lines) + "\n")
    return path / "capture.log"


def heard(path: Path, *heads: str, name: str = "uds11-all-good", spike: str = "") -> Report:
    return analyse(with_frames(path, name, *heads, spike=spike), names=[TOML, DBC])


def ids(report: Report) -> set[str]:
    return {one.id for one in report.findings}


def test_standing_vehicle_and_engine_are_one_sentence_and_no_finding(tmp_path: Path) -> None:
    report = heard(tmp_path, f"3D0#{STANDS}000000000000", f"3D1#{ENGINE_OFF}000000")
    assert not ids(report)
    text = " ".join(report.to_text().split())
    assert "PCU, programming: the vehicle stood (Dash.VehicleSpeed 0 km/h, lines" in text
    assert "PCU, programming: the engine stood, so battery and support unit carried the supply alone" in text
    assert {one["moved"] for one in report.to_dict()["meanwhile"]} == {"standing", "stopped"}


def test_a_moving_vehicle_is_a_serious_finding_with_both_kinds_of_lines(tmp_path: Path) -> None:
    report = heard(tmp_path, f"3D0#{DRIVES}000000000000")
    (finding,) = [one for one in report.findings if one.id == "vehicle-moving"]
    assert finding.severity == "serious"
    assert "While PCU was programmed, the vehicle moved: Dash.VehicleSpeed 12 km/h." in finding.case
    lines = (tmp_path / "capture.log").read_text().splitlines()
    assert " 3D0#" in lines[finding.evidence[0].lines[0] - 1]
    assert " 7E0#" in lines[finding.evidence[1].lines[0] - 1]
    assert "Bring the vehicle to a stand" in " ".join(report.verdict.next_steps)


def test_a_running_engine_is_a_warning_and_a_starter_is_none(tmp_path: Path) -> None:
    running = heard(tmp_path, f"3D1#{IDLES}000000")
    (finding,) = [one for one in running.findings if one.id == "engine-ran"]
    assert finding.severity == "warning" and "800 1/min" in finding.case
    assert "engine-ran" not in ids(heard(tmp_path, f"3D1#{STARTER}000000"))


def test_a_slow_sensor_and_a_single_frame_are_no_moving_vehicle(tmp_path: Path) -> None:
    assert "vehicle-moving" not in ids(heard(tmp_path, f"3D0#{SLOW}000000000000"))
    spiked = heard(tmp_path, f"3D0#{STANDS}000000000000", spike=f"3D0#{DRIVES}000000000000")
    assert "vehicle-moving" not in ids(spiked)
    highest = {one["highest"] for one in spiked.to_dict()["meanwhile"]}
    assert highest == {0.0, 12.0}


@pytest.mark.parametrize("name", ["uds11-all-good", "uds11-read-back-differs", "uds11-no-check", "uds11-module-silent"])
def test_what_moves_decides_no_word(name: str, tmp_path: Path) -> None:
    plain = analyse(FIXTURES / name / "capture.log", names=[TOML])
    for heads in ((f"3D0#{DRIVES}000000000000", f"3D1#{IDLES}000000"), (f"3D0#{STANDS}000000000000",)):
        told = heard(tmp_path, *heads, name=name)
        assert [one.outcome.word for one in told.operations] == [one.outcome.word for one in plain.operations]
        assert told.verdict.overall == plain.verdict.overall


def test_the_limits_decide_from_when_on_it_moves_and_runs(tmp_path: Path) -> None:
    path = with_frames(tmp_path, "uds11-all-good", f"3D0#{SLOW}000000000000")
    report = analyse(path, names=[TOML, DBC])
    limits = report.record.limits.with_changes({"vehicle_moves_kmh": 1})
    assert "vehicle-moving" in ids(analyse(path, names=[TOML, DBC], limits=limits))


def test_a_falling_supply_says_that_the_engine_stood(tmp_path: Path) -> None:
    path = with_frames(tmp_path, "uds11-all-good", f"3D1#{ENGINE_OFF}000000")
    lines = path.read_text().splitlines()
    first = float(lines[0][1:18])
    volts = [12.9, 12.6, 12.1, 11.7, 11.4, 11.2]
    lines += [
        f"({first + at:.6f}) can0 3C0#{round(one * 1000).to_bytes(2, 'little').hex().upper()}000000000000"
        for at, one in enumerate(volts)
    ]
    path.write_text("\n".join(sorted(lines)) + "\n")
    (finding,) = [one for one in analyse(path, names=[TOML, DBC]).findings if one.id == "voltage-falls"]
    assert "The engine stood meanwhile: battery and support unit carried the supply alone." in finding.explanation
    assert "engine stands" in finding.evidence[0].text
