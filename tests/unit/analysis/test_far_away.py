"""What is far away in a session belongs to nothing here."""

from pathlib import Path

from analysis import analyse
from analysis.exchanges import OPEN_MEMORY

FIXTURES = Path(__file__).parents[3] / "fixtures"


def polled(path: Path, n_unanswered: int) -> Path:
    """One request answered only after so many others of the same link that nobody answered."""
    lines = ["(1795554000.000000) can0 7E0#0322F18C", "(1795554000.010000) can0 7E8#0562F18C1122"]
    lines += ["(1795554001.000000) can0 7E0#0322F188"]
    lines += [f"({1795554001 + step / 10:.6f}) can0 7E0#0322F4{step % 250:02X}" for step in range(1, n_unanswered + 1)]
    lines += [f"({1795554002 + n_unanswered / 10:.6f}) can0 7E8#0562F1883344"]
    path.write_text("\n".join(lines) + "\n")
    return path


def outcome_of_the_late_one(path: Path) -> str:
    exchanges = analyse(path).to_dict()["exchanges"]
    return next(item["outcome"] for item in exchanges if item["request"] == "22F188")


def test_an_answer_after_a_few_other_requests_is_still_its_answer(tmp_path: Path) -> None:
    assert outcome_of_the_late_one(polled(tmp_path / "few.log", 5)) == "positive"


def test_an_answer_after_very_many_other_requests_answers_none_of_them(tmp_path: Path) -> None:
    assert outcome_of_the_late_one(polled(tmp_path / "many.log", OPEN_MEMORY + 5)) == "silent"


def test_an_unnamed_routine_behind_the_restart_is_no_check_of_the_download() -> None:
    report = analyse(FIXTURES / "coach-all-good" / "capture.log")
    downloads = [item for item in report.operations if item.kind == "download"]
    assert downloads
    assert not any("0340" in text for item in downloads for text in item.outcome.because)


def test_a_value_read_before_its_write_is_not_what_was_found() -> None:
    report = analyse(
        FIXTURES / "coach-trims-not-read-back-lost" / "capture.log",
        job=FIXTURES / "coach.toml",
        names=[FIXTURES / "coach_names.toml"],
    )
    item = next(one for one in report.expectations if "trim 4A10" in one.item)
    assert (item.word, item.found) == ("unproven", None)
