"""A pause of the recorder that is shorter than a session: the cyclic messages tell it from a pause of the tester."""

from __future__ import annotations

from pathlib import Path

import pytest
from talk import CHECK, Piece, Talk, ask, cyclic, enter, gap, heard, only, programming

from analysis import analyse

ROOT = Path(__file__).parents[3]
GOOD = ask(CHECK, "71 01 0266 00")
PAUSE_S = 4


def session(*inside: Talk, others: int = 20) -> list[Talk]:
    """A programming whose exit comes behind what is given; a cyclic message before, between and behind."""
    *transfer, end = programming()
    return [enter(), transfer, cyclic(0x3A8, others), *inside, cyclic(0x3A8, others), end, GOOD]


def fitness(*talk: Talk) -> str:
    return str(heard(*talk).record.captures[0].trust.fitness)


def test_all_ids_silent_together_in_the_middle_of_a_transfer_is_no_good_recording() -> None:
    report = heard(*session(gap(PAUSE_S)))
    trust = report.record.captures[0].trust
    assert trust.fitness == "limited"
    assert any(reason.startswith("no frame for ") for reason in trust.reasons)
    assert only(report, "download").outcome.confidence != "high"


def test_a_tester_that_pauses_while_the_bus_goes_on_is_believed() -> None:
    assert fitness(*session(cyclic(0x3A8, 10 * PAUSE_S))) == "good"


def test_a_pause_on_a_bus_without_cyclic_messages_is_believed() -> None:
    assert fitness(*session(gap(PAUSE_S), others=0)) == "good"


def test_a_message_that_stopped_before_is_no_sign() -> None:
    """Its module was told to be quiet."""
    assert fitness(*session(gap(1), ask("3E 00", "7E 00"), gap(PAUSE_S), ask("3E 00", "7E 00"), gap(1))) == "good"


def test_a_message_that_often_pauses_is_no_sign() -> None:
    bursts: list[Piece | Talk] = [item for _ in range(4) for item in (cyclic(0x3A8, 20), gap(PAUSE_S - 1))]
    assert fitness(bursts, *session(gap(PAUSE_S))) == "good"


def test_a_silence_between_two_jobs_is_believed() -> None:
    talk = [ask("22 F190", "62 F190 4142"), cyclic(0x3A8, 20), gap(PAUSE_S), cyclic(0x3A8, 20)]
    assert fitness(*talk, ask("22 F188", "62 F188 4142")) == "good"


@pytest.mark.parametrize("frames", [2, 6])
def test_a_piece_cut_out_between_two_attempts_is_seen(frames: int, tmp_path: Path) -> None:
    """From inside a block to the same block of the second attempt, so that they read as one block begun anew."""
    lines = (ROOT / "fixtures" / "uds11-second-attempt-good" / "capture.log").read_text().splitlines(keepends=True)
    first, again = [at for at, line in enumerate(lines) if " 7E0#10823602E9C26E18" in line]
    path = tmp_path / "cut.log"
    path.write_text("".join(lines[: first + frames] + lines[again:]))
    assert analyse(path).to_dict()["captures"][0]["fitness"] == "limited"
