"""Where a capture says too little, nothing is made of it."""

from pathlib import Path

import pytest

from analysis import analyse

REFUSED = "(17955540{second:02d}.000000) can0 7E0#0322{did}\n(17955540{second:02d}.010000) can0 7E8#037F2231\n"


def now_of(path: Path, text: str) -> str:
    path.write_text(text)
    return analyse(path).to_dict()["modules"][0]["now"]


def test_a_request_in_the_last_line_makes_no_module_silent(tmp_path: Path) -> None:
    assert now_of(tmp_path / "one.log", "(1795554000.000000) can0 7E0#021003\n") == "unknown"


def test_a_module_that_never_answers_while_the_bus_goes_on_is_silent(tmp_path: Path) -> None:
    busy = "".join(f"(1795554{second:03d}.000000) can0 120#0011\n" for second in range(1, 12))
    assert now_of(tmp_path / "mute.log", f"(1795554000.000000) can0 7E0#021003\n{busy}") == "silent"


@pytest.mark.parametrize("asked", [("F190", "F190"), ("F190", "F188", "F187")])
def test_refused_identifiers_alone_make_no_boot_loader(tmp_path: Path, asked: tuple[str, ...]) -> None:
    text = "".join(REFUSED.format(second=at, did=did) for at, did in enumerate(asked))
    assert now_of(tmp_path / "refused.log", text) == "unknown"


def test_refused_identifiers_beside_a_boot_identification_make_one(tmp_path: Path) -> None:
    boot = "(1795554009.000000) can0 7E0#0322F180\n(1795554009.010000) can0 7E8#0562F1800142\n"
    assert now_of(tmp_path / "boot.log", REFUSED.format(second=0, did="F190") + boot) == "boot"


def test_a_module_that_only_put_off_a_request_to_all_is_not_silent_and_has_not_failed(tmp_path: Path) -> None:
    path = tmp_path / "scan.log"
    busy = "".join(f"(1795554{second:03d}.000000) can0 120#0011\n" for second in range(2, 40))
    asked = "(1795554000.000000) can0 7DF#021902\n"
    wait = "(1795554000.010000) can0 7E8#037F1978\n"
    other = "(1795554000.020000) can0 7E9#037F1911\n"
    path.write_text(asked + wait + other + busy)
    report = analyse(path).to_dict()
    assert {module["now"] for module in report["modules"]} == {"unknown"}
    assert not any(module["cautions"] for module in report["modules"])
    assert {item["word"] for item in report["operations"]} == {"not-shown"}
    assert {finding["severity"] for finding in report["findings"]} <= {"note"}


def test_addresses_that_a_scan_went_by_make_one_note(tmp_path: Path) -> None:
    path = tmp_path / "scan.log"
    text = "(1795554000.000000) can0 7E2#023E00\n(1795554000.010000) can0 7EA#027E00\n"
    text += "".join(f"(17955540{at:02d}.000000) can0 7E{at % 2}#021003\n" for at in range(10, 30))
    path.write_text(text + "(1795554040.000000) can0 120#0011\n")
    found = [item for item in analyse(path).to_dict()["findings"] if item["id"] == "request-unanswered"]
    assert [item["severity"] for item in found] == ["note"]
