"""What a class is not shown: whole VINs, serial numbers, seeds and keys, memory; and what it still sees."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from sessions import FIXTURES, frames, walk_of

from analysis import analyse
from analysis.cli import main
from analysis.walk.frames import frames_of
from analysis.walk.questions import all_questions
from analysis.walk.steps import Walk, walk_through

GOOD = "coach-all-good"
VIN, OTHER_VIN, SERIAL, TRIM_SERIAL = "E0KRC7HT5TD004217", "E0KRC5HTXRD002086", "7741035100092", "26041187"


def masked(name: str, *, with_order: bool = False) -> Walk:
    vehicle = name.partition("-")[0]
    capture = next((FIXTURES / name).glob("capture.*"))
    job = FIXTURES / f"{vehicle}.toml" if with_order else None
    return walk_through(analyse(capture, job, [FIXTURES / f"{vehicle}_names.toml"]))


def pages(tmp_path: Path, name: str, *options: str) -> str:
    """Text and HTML of a walk, one behind the other, without line breaks."""
    vehicle, target = name.partition("-")[0], tmp_path / "walk.html"
    capture = next((FIXTURES / name).glob("capture.*"))
    given = ["walk", str(capture), "--names", str(FIXTURES / f"{vehicle}_names.toml"), *options]
    runner = CliRunner(env={"COLUMNS": "200", "NO_COLOR": "1"})
    text = runner.invoke(main, given)
    html = runner.invoke(main, [*given, "--html", str(target)])
    assert (text.exit_code, html.exit_code) == (0, 0), text.output + html.output
    return " ".join((text.stdout + target.read_text(encoding="utf-8")).split())


def spaced(text: str) -> str:
    return text.encode().hex(" ").upper()


@pytest.mark.parametrize("audience", [(), ("--trainer",), ("--sheet",)])
def test_no_page_tells_a_whole_vin_or_a_serial_number(tmp_path: Path, audience: tuple[str, ...]) -> None:
    page = pages(tmp_path, GOOD, "--job", str(FIXTURES / "coach.toml"), *audience)
    for secret in (VIN, OTHER_VIN, SERIAL, TRIM_SERIAL, "5A 3C 91 E7", "90 CE E9 08", "26 04 11 87"):
        assert secret not in page and spaced(secret) not in page
        assert secret[3:] not in page.replace(" ", "")


def test_secrets_shows_all_of_it(tmp_path: Path) -> None:
    page = pages(tmp_path, GOOD, "--secrets", "--trainer")
    for shown in (VIN, OTHER_VIN, SERIAL, TRIM_SERIAL, "5A 3C 91 E7"):
        assert shown in page


@pytest.mark.parametrize("name", ["kwp-all-good", "gmw-all-good", "obd-scan", "doip-all-good", "van-wrong-calibration"])
def test_no_dialect_tells_a_vin(tmp_path: Path, name: str) -> None:
    whole = pages(tmp_path, name, "--secrets", "--trainer")
    vins = set(re.findall(r"(?<![0-9A-Z])E0[A-HJ-NPR-Z0-9]{11}[0-9]{4}(?![0-9A-Z])", whole))
    assert vins
    page = pages(tmp_path, name, "--trainer")
    for vin in vins:
        assert vin not in page and spaced(vin) not in page and vin[3:] not in page.replace(" ", "")


def test_the_same_vin_has_the_same_letter_everywhere() -> None:
    told = [step.told for step in masked(GOOD).steps if "read F190" in step.told]
    marks = [text.rpartition(" ")[2] for text in told]
    assert all(text.partition(": ")[2].startswith("E0K**************") for text in told)
    assert marks == ["(A)", "(A)", "(A)", "(B)", "(A)", "(A)"]  # the fourth is the new module as it came


def test_a_question_about_agreement_is_answered_with_the_letters() -> None:
    walk = masked(GOOD)
    found = [one for step in walk.steps for one in all_questions(walk, step) if one.kind == "vins-agree"]
    assert found[0].answer.startswith("no: DUC says E0K************** (B)") and found[-1].answer.startswith("yes: ")


def test_what_needs_a_whole_vin_is_asked_only_with_secrets_shown() -> None:
    walk = masked(GOOD)
    kinds = {one.kind for step in walk.steps for one in all_questions(walk, step)}
    assert "vin-check-digit" not in kinds and {"letters", "scaled-value", "as-bytes", "copied-from"} <= kinds
    assert all("E0K" not in one.ask for step in walk.steps for one in all_questions(walk, step))


def test_control_bytes_service_and_identifier_stay_readable_in_frames() -> None:
    walk = masked(GOOD)
    shown = frames_of(walk, walk.steps[:1])[1]
    assert [one.data for one in shown] == [
        "0322F190AAAAAAAA", "101462F19045304B", "300000AAAAAAAAAA", "21" + 7 * "**", "22" + 7 * "**",
    ]  # fmt: skip


def test_a_frame_is_shown_as_recorded_but_for_its_secret_bytes() -> None:
    walk = masked(GOOD)
    for step_frames in frames_of(walk, walk.steps).values():
        for one in step_frames:
            raw = next(frames(GOOD, one.line, one.line))[2].hex().upper()
            assert len(raw) == len(one.data)
            assert all(a in (b, "*") for a, b in zip(one.data, raw, strict=True))


def test_a_second_copy_of_a_secret_frame_is_hidden_whole() -> None:
    walk = masked("uds11-doubled")
    keys = [step for step in walk.steps if step.first.asked[:1] == b"\x27" and len(step.first.asked) > 2]
    assert keys
    for step in keys:
        secret = step.first.asked[2:].hex().upper()
        assert all(secret not in one.data for one in frames_of(walk, [step])[step.number])


def test_masks_change_no_step_and_no_line() -> None:
    plain, hidden = walk_of(GOOD), masked(GOOD)
    assert [(one.number, one.lines, one.who, one.at) for one in plain.steps] == [
        (one.number, one.lines, one.who, one.at) for one in hidden.steps
    ]


def test_of_a_trim_only_the_serial_number_is_hidden_read_or_written() -> None:
    walk = masked(GOOD)
    trims = [step for step in walk.steps if b"\x4a\x10" in (step.first.asked[1:3],) and step.number > 10]
    assert {step.first.asked[0] for step in trims} == {0x22, 0x2E}
    for step in trims:
        first = step.first
        message = first.request if first.asked[0] == 0x2E else first.response
        assert message is not None and walk.masks.of(message) == {5, 6, 7, 8}  # version, index, then four of BCD
