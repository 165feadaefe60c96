"""Every true link of every shipped capture is found, and no other one.

What is true: of simulated sessions, the modules of ``truth.json`` and the ids to groups written here; of the real
captures, what a person finds in their ids, written here. Links in other dialects: test_links_and_dialects.
"""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from canlog.read import read_capture, survey_links

FIXTURES = Path(__file__).parents[2] / "fixtures"
#: Requests to all modules, by the world of a session.
GROUPS = {
    "bus": set(), "coach": {"18DBFEF1>"}, "doip": {"0E00.E400>"}, "ext11": {"6F1.DF>"}, "gmw": {"101.FE>"},
    "kwp": {"7DF>"}, "mix29": {"18CD33F1.9C>"}, "mixed": {"101.FE>", "7DF>"}, "obd": {"7DF>"}, "uds11": {"7DF>"},
    "van": {"7DF>"},
}  # fmt: skip
#: Sessions in which not everybody is spoken to.
OTHERWISE = {
    "bus-canopen": set(), "bus-j1939": set(), "bus-xcp": set(), "uds11-no-diagnostics": set(),
    "coach-next-day": {"18DA2AF1>18DAF12A", "18DA2BF1>18DAF12B", "18DA31F1>18DAF131"},
}  # fmt: skip
#: No request to all of them.
ALONE = {"coach-before-removal", "coach-before-removal-dead"}
SECOND_TESTER = {"coach-two-testers": {"18DA2AF9>18DAF92A"}}
SESSIONS = sorted(path.parent.name for path in FIXTURES.glob("*/truth.json"))

BATTERY = {"7E4>7EC"}
#: Asked by their legislated ids without an answer in the excerpt.
UNANSWERED = {"7E0>7E8", "7E1>7E9", "7E7>7EF"}


def eight_apart(*answering: int) -> set[str]:
    """The links of modules that answer on an id eight above the one that asks."""
    return {f"{one - 8:03X}>{one:03X}" for one in answering}


#: Of the scans: every id that answers; 740, 751 and many more are asked and nobody answers.
REAL = {
    "ev_bench_2bus.csv": set(), "ev_bench_unit.csv": set(), "ev_noise_2bus.csv": set(), "ev_noise_2bus_b.csv": set(),
    "ev_noise_dir_column.csv": set(), "ev_bms_1.asc": BATTERY, "ev_bms_2.asc": BATTERY, "ev_bms_3.asc": BATTERY,
    "ev_bms_7.asc": BATTERY, "ev_bms_9.asc": BATTERY | {"7DF>"},
    "ev_dcan_scan_1.csv": {"7DF>"} | UNANSWERED | eight_apart(
        0x72D, 0x73B, 0x778, 0x77E, 0x788, 0x78B, 0x79E, 0x7A8, 0x7AD, 0x7BB, 0x7BF, 0x7CC, 0x7CE, 0x7DC,
        0x7EA, 0x7EB, 0x7EC, 0x7ED,
    ),
    "ev_dcan_scan_2.csv": {"7DF>"} | eight_apart(
        0x72D, 0x73B, 0x778, 0x788, 0x78B, 0x79E, 0x7A8, 0x7AD, 0x7BB, 0x7BF, 0x7CC, 0x7CE, 0x7DC,
        0x7EA, 0x7EB, 0x7EC, 0x7ED,
    ),
}  # fmt: skip


def links_of(path: Path) -> set[str]:
    """The links found, without their channel; each once."""
    _, links = survey_links(read_capture(path))
    found = [link.key.partition(":")[2] for link in links]
    assert len(found) == len(set(found))
    return set(found)


def truth_of(name: str) -> set[str]:
    """The links that a session has."""
    if name in OTHERWISE:
        return OTHERWISE[name]
    modules = json.loads((FIXTURES / name / "truth.json").read_text())["modules"]
    found = {one["link"].replace(":", ">") for one in modules.values()}
    groups = set() if name in ALONE else GROUPS[name.split("-")[0]]
    return found | groups | SECOND_TESTER.get(name, set())


@pytest.mark.parametrize("name", SESSIONS)
def test_every_link_of_a_session_is_found_and_no_other(name: str) -> None:
    (capture,) = (FIXTURES / name).glob("capture.*")
    assert links_of(capture) == truth_of(name)


def test_every_real_capture_has_its_list() -> None:
    shipped = {path.name for path in (FIXTURES / "real").iterdir() if path.suffix in (".asc", ".csv", ".log", ".trc")}
    assert shipped == set(REAL)


@pytest.mark.parametrize("name", sorted(REAL))
def test_every_link_of_a_real_capture_is_found_and_no_other(name: str) -> None:
    assert links_of(FIXTURES / "real" / name) == REAL[name]


#: A cut MF4 file is refused whole.
FORMS = sorted({*(FIXTURES / "formats").glob("*/*")} - {FIXTURES / "formats" / "damaged" / "session.mf4"})


@pytest.mark.parametrize("path", FORMS, ids=lambda path: f"{path.parent.name}-{path.name}")
def test_every_form_of_a_session_has_its_links(path: Path) -> None:
    assert links_of(path) == {"7E0>7E8", "7E1>7E9", "7DF>"}
