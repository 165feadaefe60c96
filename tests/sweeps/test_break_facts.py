"""The facts round a break, held against the lines of every shipped capture by a small reader of their own."""

from __future__ import annotations

import re
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from analysis import analyse
from analysis.report.text import render_text

FIXTURES = Path(__file__).parents[2] / "fixtures"
NAMES = [path.parent.name for path in sorted(FIXTURES.glob("*/capture.log"))]
LINE = re.compile(r"\(\d+\.\d+\) (\S+) ([0-9A-F]+)#([0-9A-F]*)")


@cache
def told(name: str) -> dict[str, Any]:
    world = name.partition("-")[0]
    names = FIXTURES / f"{world}_names.toml"
    return dict(analyse(FIXTURES / name / "capture.log", None, [names] if names.exists() else []).to_dict())


def facts(name: str) -> list[dict[str, Any]]:
    post_mortem = told(name)["post_mortem"]
    return list(post_mortem["facts"]) if post_mortem else []


def ids(name: str) -> list[str]:
    lines = (FIXTURES / name / "capture.log").read_text().splitlines()
    return [found[2] if (found := LINE.fullmatch(line)) else "" for line in lines]


@pytest.mark.parametrize("name", NAMES)
def test_the_last_frame_is_the_last_line_of_the_modules_id(name: str) -> None:
    for fact in facts(name):
        if fact["text"].startswith("last frame of"):
            line, found = fact["lines"][0], ids(name)
            can_id = found[line - 1]
            assert can_id in {link["link"].partition(">")[2] for link in told(name)["links"]}
            assert can_id not in found[line:]


@pytest.mark.parametrize("name", NAMES)
def test_every_fact_is_printed(name: str) -> None:
    page = " ".join(render_text(told(name), color=False).split())  # type: ignore[arg-type]
    for fact in facts(name) if "WHERE IT BROKE" in page else ():
        assert fact["text"] in page


@pytest.mark.parametrize("name", NAMES)
def test_no_protocol_word_stands_where_plain_words_do(name: str) -> None:
    post_mortem = told(name)["post_mortem"]
    for item in (post_mortem["first_bad"], post_mortem["last_good"]) if post_mortem else ():
        if item is not None:
            assert not re.search(r"TransferData|ReadDataByIdentifier|RoutineControl|answered positively", item["text"])


def said(name: str) -> str:
    return "; ".join(fact["text"] for fact in facts(name))


def test_the_block_and_the_part_are_counted() -> None:
    text = said("coach-module-silent")
    assert "block 11 of 24; 10,240 of 24,576 bytes were answered" in text
    assert "part 1 of 2 (application)" in text


def test_a_flow_control_is_the_last_sign_of_life() -> None:
    text = "last frame of DUC: it let the tester send on (flow control), and answered nothing since"
    assert text in said("coach-module-silent")
    assert "last frame of PCU: an answer" in said("uds11-reset-no-return")


def test_what_the_tester_tried_is_told() -> None:
    assert "the tester waited 2.030 s, then sent 3E 00 (3 times)" in said("uds11-module-silent")
    assert "never 10 01" in said("uds11-module-silent")
    assert "10 01 (5 times)" in said("uds11-reset-no-return")
    assert "never" not in said("uds11-reset-no-return")


def test_a_recording_that_ends_there_is_told_as_such() -> None:
    assert "the request broke off: 27 of its 130 bytes are in the capture" in said("uds11-ends-mid-transfer")
    assert "nothing more; the recording ends there" in said("uds11-ends-mid-transfer")


def test_the_first_of_two_bad_checks_is_the_first_bad_thing(tmp_path: Path) -> None:
    text = (FIXTURES / "uds11-all-good" / "capture.log").read_text()
    path = tmp_path / "refused.log"
    path.write_text(text.replace("7E8#057101026600CC", "7E8#037F3172CCCCCC"))
    report = analyse(path, None, [FIXTURES / "uds11_names.toml"])
    assert report.post_mortem is not None and report.post_mortem.first_bad is not None
    assert report.post_mortem.first_bad.lines == (273, 277)
    assert report.post_mortem.stage == "in-check"


def test_a_module_lost_behind_its_reset_had_got_everything() -> None:
    post_mortem = told("uds11-reset-no-return")["post_mortem"]
    assert (post_mortem["stage"], post_mortem["share_carried"]) == ("after-reset", 1.0)


def test_what_the_module_said_next_is_told() -> None:
    """Behind a refusal it answers; a module that stays silent says nothing."""
    assert "PCU answered " in said("uds11-transfer-refused")
    assert "answered" not in said("coach-module-silent").replace("and answered nothing since", "").replace(
        "bytes were answered", ""
    )


@pytest.mark.parametrize("name", NAMES)
def test_the_next_answer_is_behind_the_break_and_none_of_the_module_is_between(name: str) -> None:
    found = told(name)
    answered = [fact for fact in facts(name) if " later: " in fact["text"] and " answered " in fact["text"]]
    for fact in answered:
        bad = found["post_mortem"]["first_bad"]
        label = fact["text"].partition(" answered ")[0]
        links = {link["link"] for link in found["links"] if link["label"] == label or label in link["link"]}
        between = [
            item
            for item in found["exchanges"]
            if item["link"] in links
            and bad["lines"][-1] < item["lines"][0] < fact["lines"][0]
            and item["response"] is not None
        ]
        assert between == []
        assert fact["lines"][0] > bad["lines"][-1]
