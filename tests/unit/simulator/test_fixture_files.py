"""The fixtures on disk are what the simulator makes, and say what its modules hold."""

from __future__ import annotations

import csv
import json

import pytest
from simulator import session
from simulator.fixture_files import ALL_NAMES, FOLDER, differences

WORDS = {"confirmed", "unproven", "failed", "interrupted", "not-shown"}
PARTS = ("programming", "trims", "vin", "fault_memory", "learn", "overall")


@pytest.mark.parametrize(
    "name",
    [
        "uds11-all-good",
        "uds11-doubled",
        "coach-next-day",
        "coach-all-good",
        "doip-module-silent",
        "gmw-all-good",
        "kwp-no-counter",
        "obd-clear",
        "mixed-three-dialects",
        "mix29-all-good",
    ],
)
def test_a_fixture_regenerates_byte_for_byte(name: str) -> None:
    """All of them: ``python -m tests.simulator --check``."""
    assert differences(name) == []


def test_there_is_a_folder_for_every_session_and_no_other() -> None:
    assert {path.parent.name for path in FOLDER.glob("*/capture.*") if path.parent.name != "broken"} == set(ALL_NAMES)


def _truth(name: str) -> dict:
    return json.loads((FOLDER / name / "truth.json").read_text())


def test_the_twins_show_the_same_frames_and_hold_different_trims() -> None:
    stored, lost = "coach-trims-not-read-back-stored", "coach-trims-not-read-back-lost"
    assert (FOLDER / stored / "capture.log").read_bytes() == (FOLDER / lost / "capture.log").read_bytes()
    held = [_truth(name)["modules"]["DUC"]["identifiers"]["4A13"] for name in (stored, lost)]
    assert held[0].startswith("0204260412")
    assert held[1] == "0204" + "FF" * 22


def test_the_failed_erase_leaves_no_application() -> None:
    unit = _truth("coach-erase-low-voltage")["modules"]["DUC"]
    assert (unit["state"], unit["application_valid"]) == ("boot", False)
    assert unit["memory"]["00020000"]["complete"] is False


def test_the_broken_transfer_stops_where_the_scenario_says() -> None:
    lines = (FOLDER / "coach-ends-mid-transfer" / "capture.log").read_text().splitlines()
    frames = [line.split()[2] for line in lines]
    first = max(at for at, frame in enumerate(frames) if frame.startswith("18DA2AF1#1402360B"))
    consecutive = [frame for frame in frames[first:] if frame.startswith("18DA2AF1#2")]
    assert len(consecutive) == 60
    assert frames[-1] == consecutive[-1]
    assert sum(frame.startswith("18DAF12A#0276") for frame in frames) == 2 + 10  # helper program, application


def test_the_logger_misses_one_frame_that_the_module_had() -> None:
    whole, short = (
        (FOLDER / name / "capture.log").read_text().splitlines()
        for name in ("coach-all-good", "coach-frame-missing-in-log")
    )
    (missing,) = set(whole) - set(short)
    at = whole.index(missing)
    assert short == whole[:at] + whole[at + 1 :]
    assert missing.split()[2].startswith("18DA2AF1#2")
    answers = [line.split()[2] for line in whole[at:] if "18DAF12A#" in line]
    assert answers[0] == "18DAF12A#02760CAAAAAAAAAA"


def test_every_frame_stands_twice_in_the_doubled_capture() -> None:
    lines = [line.split()[2] for line in (FOLDER / "uds11-doubled" / "capture.log").read_text().splitlines()]
    assert lines[::2] == lines[1::2]
    once = (FOLDER / "uds11-all-good" / "capture.log").read_text().splitlines()
    assert lines[::2] == [line.split()[2] for line in once]


def _rows() -> list[dict[str, str]]:
    with (FOLDER / "expected_words.csv").open() as file:
        return list(csv.DictReader(file))


def test_every_fixture_has_a_word_for_every_part_with_and_without_sheet_and_names() -> None:
    keys = [(row["fixture"], row["sheet"], row["names"], row["part"]) for row in _rows()]
    wanted = {(name, s, n, part) for name in ALL_NAMES for s in ("no", "yes") for n in ("no", "yes") for part in PARTS}
    assert len(keys) == len(set(keys))
    assert set(keys) == wanted


def test_words_and_confidences_are_the_known_ones() -> None:
    for row in _rows():
        assert row["word"] in WORDS
        assert (row["confidence"] == "") == (row["word"] == "not-shown")
        assert row["confidence"] in ("", "high", "medium", "low")
        assert row["reason"]


def test_nothing_is_called_confirmed_that_the_module_does_not_hold() -> None:
    unit = {
        "coach": "DUC", "van": "GEC", "uds11": "PCU", "doip": "PCU", "ext11": "PCU", "mix29": "PCU", "kwp": "SHU",
        "gmw": "LGU", "obd": "ENG", "mixed": "SHU",
    }  # fmt: skip
    for row in _rows():
        if row["word"] != "confirmed":
            continue
        held = _truth(row["fixture"])["modules"][unit[row["fixture"].split("-")[0]]]
        if row["part"] == "programming":
            assert held["application_valid"], row
            assert held["state"] == "application", row
            assert all(part["complete"] for part in held["memory"].values()), row
        if row["part"] == "fault_memory":
            assert held["dtcs"] == [] or row["fixture"].endswith("-dtc-returns"), row
        assert held["not_stored_yet"] == [] or row["fixture"] == "uds11-read-back-same-power-cycle", row


def test_truth_says_what_the_memory_of_the_scene_holds() -> None:
    from simulator.sessions import play

    scene = play("uds11-all-good")
    pump = scene.modules["PCU"]
    truth = scene.truth()["modules"]["PCU"]
    for number, data in scene.images.items():
        assert bytes(pump.block(number).content) == data
    assert truth["identifiers"]["F190"] == b"E0VLK3P06SM018931".hex().upper()
    assert truth == _truth("uds11-all-good")["modules"]["PCU"]


def test_the_same_seed_gives_the_same_lines_and_another_gives_others() -> None:
    assert session("uds11-all-good-short", 5) == session("uds11-all-good-short", 5)
    assert session("uds11-all-good-short", 5)[0] != session("uds11-all-good-short", 6)[0]


def test_captures_are_small_enough_to_live_in_the_repository() -> None:
    sizes = {path: path.stat().st_size for path in FOLDER.glob("*/capture.log")}
    assert sum(sizes.values()) < 25_000_000
    assert len((FOLDER / "uds11-all-good-short" / "capture.log").read_text().splitlines()) <= 400
