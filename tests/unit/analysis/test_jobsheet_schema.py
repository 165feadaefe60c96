"""The JSON Schema of the job sheet, for editors, says the same as the loader."""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_jobsheet import GOOD

from analysis.sheet import jobsheet
from analysis.sheet.jobsheet import ACTS, PROGRAMMING_ITEMS, UNITS, load_job_sheet
from canlog.errors import SheetError

SCHEMA = json.loads((Path(jobsheet.__file__).parent / "jobsheet.schema.json").read_text())
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)
FIXTURES = Path(__file__).parents[3] / "fixtures"
SHEETS = sorted(path for path in FIXTURES.glob("*.toml") if not path.stem.endswith(("_names", "_lesson")))
#: What a schema cannot say, by the words of the loader: fields that hang together.
BEYOND_THE_SCHEMA = ("is used twice", "is no module of this sheet", "gives none", "4A12-4A10", "1-0")


def accepted(path: Path, text: str) -> str:
    """Empty where the loader takes it, else what it says."""
    path.write_text(text, encoding="utf-8")
    try:
        load_job_sheet(path)
    except SheetError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_the_schema_takes_every_sheet_that_is_shipped(path: Path) -> None:
    VALIDATOR.validate(tomllib.loads(path.read_text()))
    assert load_job_sheet(path).modules


def test_it_is_a_schema_and_lists_the_words_of_the_loader() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    module = SCHEMA["$defs"]["module"]["properties"]
    assert module["vin"]["enum"] == list(ACTS)
    assert module["unit"]["enum"] == list(UNITS)
    assert set(module["programming"]["properties"]) == set(PROGRAMMING_ITEMS)


any_text = st.sampled_from(
    ["PCU", "", "7E0:7E8", "7E0", "can0:18DA2AF1>18DAF12A", "write", "read", "4A10", "4A10-4A12, 4A1F", "4A1", "FF F6",
     "21", "21-23", "21-4A10"]
)  # fmt: skip
row = st.dictionaries(
    st.sampled_from(["identifier", "identifiers", "value", "copied_from", "other"]), any_text, max_size=3
)  # fmt: skip
programmed = st.dictionaries(st.sampled_from([*PROGRAMMING_ITEMS, "other"]), any_text, max_size=3)
any_value = st.one_of(
    any_text, st.booleans(), st.integers(-1, 3), st.lists(any_text, max_size=2), st.lists(row, max_size=2), programmed
)
FITTING: dict[str, Any] = {
    "label": any_text, "link": any_text, "programming": programmed, "vin": any_text, "trims": st.lists(row, max_size=2),
    "configuration": st.lists(row, max_size=2), "learn": st.lists(any_text, max_size=2), "clear_faults": st.booleans(),
    "unit": st.sampled_from(["new", "kept", "used"]), "hardware": any_text, "read_first": st.booleans(),
    "other": any_text,
}  # fmt: skip


def as_toml(value: Any) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {as_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(as_toml(one) for one in value) + "]"
    return json.dumps(value)


@given(data=st.data())
def test_loader_and_schema_agree_on_random_sheets(
    data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    keys = data.draw(st.lists(st.sampled_from(list(FITTING)), unique=True))
    table = {key: data.draw(st.one_of(FITTING[key], FITTING[key], any_value), label=key) for key in {"label", *keys}}
    text = '[vehicle]\nvin = "E0VLK3P06SM018931"\n[[module]]\n'
    text += "".join(f"{key} = {as_toml(value)}\n" for key, value in table.items())
    said = accepted(tmp_path_factory.mktemp("sheet") / "job.toml", text)
    if said and any(words in said for words in BEYOND_THE_SCHEMA):
        return
    assert (said == "") == VALIDATOR.is_valid(tomllib.loads(text)), f"{text}\n{said}"
    assert not said or re.search(r"job\.toml:\d+: [\w\[\].]+: ", said), said  # file, line, field


@pytest.mark.parametrize("field", ["vin", "link", "cvn", "copied_from", "value", "learn", "clear_faults"])
def test_a_good_sheet_with_one_field_spoilt_is_refused_by_both(tmp_path: Path, field: str) -> None:
    spoilt = re.sub(rf"\b{field} = ([^\n,}}]+)", f"{field} = 17", GOOD, count=1)
    assert spoilt != GOOD
    assert field in accepted(tmp_path / "job.toml", spoilt)
    assert not VALIDATOR.is_valid(tomllib.loads(spoilt))
