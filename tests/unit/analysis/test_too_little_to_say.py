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
