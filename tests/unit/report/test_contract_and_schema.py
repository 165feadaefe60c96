"""The contract's types, its schema and its page say the same.

Outside source: JSON Schema, draft 2020-12, as the library jsonschema 4 implements it.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Iterator
from typing import Any, get_args, get_type_hints

import pytest
from jsonschema import Draft202012Validator
from report_examples import EXAMPLES

from analysis import words
from analysis.breaks.silence import Silent
from analysis.exchanges import Answer
from analysis.modules import Now, Retry
from analysis.operations.model import Kind
from analysis.report import contract, schema, wording
from analysis.trust.fitness import Fitness
from canlog.frames import TimeKind
from canlog.isotp.addressing import Addressing

PUBLISHED: dict[str, Any] = json.loads(schema.SCHEMA_FILE.read_text(encoding="utf-8"))
VALIDATOR = Draft202012Validator(PUBLISHED)


def objects() -> Iterator[tuple[str, dict[str, Any]]]:
    yield "Report", PUBLISHED
    yield from PUBLISHED["$defs"].items()


def test_the_published_schema_is_written_from_the_contract() -> None:
    assert schema.report_schema() == PUBLISHED, "run: python -m analysis.report.schema"


def test_the_published_page_is_written_from_the_contract() -> None:
    assert schema.PAGE_FILE.read_text(encoding="utf-8") == schema.contract_page(), (
        "run: python -m analysis.report.schema"
    )


def test_the_published_schema_is_a_schema() -> None:
    Draft202012Validator.check_schema(PUBLISHED)


def test_every_object_of_the_schema_has_the_fields_of_its_type_and_no_others() -> None:
    for name, definition in objects():
        kind = getattr(contract, f"{name}Dict", None) or getattr(contract, name)
        assert set(definition["properties"]) == set(get_type_hints(kind)), name
        assert set(definition["required"]) == set(get_type_hints(kind)), name
        assert definition["additionalProperties"] is False, name
        assert definition["description"], name


def test_every_field_is_described() -> None:
    for name, definition in objects():
        for field, rule in definition["properties"].items():
            assert rule.get("description"), f"{name}.{field}"


@pytest.mark.parametrize(
    ("token", "enum"),
    [
        (contract.Word, words.Word),
        (contract.Confidence, words.Confidence),
        (contract.Severity, words.Severity),
        (contract.TimeKind, TimeKind),
        (contract.Addressing, Addressing),
        (contract.Kind, Kind),
        (contract.ExchangeOutcome, Answer),
        (contract.Fitness, Fitness),
        (contract.Now, Now),
        (contract.MayRetry, Retry),
        (contract.SilentFirst, Silent),
    ],
)
def test_the_tokens_are_those_of_the_code(token: Any, enum: Any) -> None:
    assert set(get_args(token)) == {item.value for item in enum}


def test_every_token_has_its_words() -> None:
    for token, texts in (
        (contract.Word, wording.WORD), (contract.Word, wording.WORD_COLOUR), (contract.Now, wording.NOW),
        (contract.Now, wording.NOW_COLOUR), (contract.MayRetry, wording.MAY_RETRY),
        (contract.Fitness, wording.FITNESS_COLOUR), (contract.Severity, wording.SEVERITY_COLOUR),
        (contract.Kind, wording.KIND), (contract.Stage, wording.STAGE), (contract.SilentFirst, wording.SILENT_FIRST),
    ):  # fmt: skip
        assert list(texts) == list(get_args(token))
    assert list(wording.PART) == list(get_type_hints(contract.PartsDict))


@pytest.mark.parametrize("name", EXAMPLES)
def test_the_examples_validate(name: str) -> None:
    assert [error.message for error in VALIDATOR.iter_errors(EXAMPLES[name]())] == []


def broken() -> Iterator[tuple[str, dict[str, Any]]]:
    def changed(*path: str | int, value: object) -> dict[str, Any]:
        report: Any = copy.deepcopy(EXAMPLES["all_good"]())
        place = report
        for step in path[:-1]:
            place = place[step]
        place[path[-1]] = value
        return report

    yield "another edition", changed("schema", value="canlog-report/2")
    yield "a field that is not in the contract", changed("extra", value=1)
    yield "a word that does not exist", changed("verdict", "overall", value="ok")
    yield "confirmed without proof", changed("operations", 3, "proof", value=[])
    yield "a download without its address", changed("operations", 3, "details", value={"size_asked": 1})
    yield "a write with a field of its own", changed("operations", 5, "details", value={"identifier": "4A10", "x": 1})
    yield "evidence without lines", changed("modules", 0, "evidence", 0, "lines", value=[])
    yield "line zero", changed("modules", 0, "evidence", 0, "lines", value=[0])
    yield "a time in float seconds", changed("operations", 0, "begin_ns", value=1.5)
    yield "an id of five digits", changed("links", 0, "request_id", value="007E0")
    yield "small hex digits", changed("trims", 0, "written", value="0a")
    yield "half a byte", changed("trims", 0, "written", value="0AB")


@pytest.mark.parametrize(("what", "report"), list(broken()), ids=[what for what, _ in broken()])
def test_the_schema_refuses(what: str, report: dict[str, Any]) -> None:
    assert not VALIDATOR.is_valid(report), what
