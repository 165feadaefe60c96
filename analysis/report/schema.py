"""The JSON Schema and the page of the contract, both written from :mod:`analysis.report.contract`.

``python -m analysis.report.schema`` writes them again after a change of the contract.
Source: JSON Schema, draft 2020-12.
"""

from __future__ import annotations

import json
import types
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin, get_type_hints, is_typeddict

from analysis.report import contract

SCHEMA_FILE = Path(__file__).with_name("report.schema.json")
PAGE_FILE = Path(__file__).with_name("json_contract.md")

_NUMERIC_KEYWORDS = ("minimum", "minItems", "maxItems")
_SIMPLE: Mapping[object, str] = {str: "string", int: "integer", float: "number", bool: "boolean", type(None): "null"}


def report_schema() -> dict[str, Any]:
    """The contract as a JSON Schema."""
    definitions = {_title(item): _object(item) for item in _dictionaries()}
    root = definitions.pop(_title(contract.ReportDict))
    operation = definitions[_title(contract.OperationDict)]
    operation["allOf"] = [
        {
            "if": {"properties": {"kind": {"const": kind}}},
            "then": {"properties": {"details": {"$ref": f"#/$defs/{_title(details)}"}}},
        }
        for kind, details in contract.DETAILS.items()
    ] + [{
        "if": {"properties": {"word": {"const": "confirmed"}}},
        "then": {"properties": {"proof": {"minItems": 1}}},
    }]  # fmt: skip
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": contract.SCHEMA,
        **root,
        "$defs": definitions,
    }


def contract_page() -> str:
    """The contract as a page to read."""
    lines = ["# The JSON contract", ""]
    lines += ["Written from `analysis/report/contract.py` by `python -m analysis.report.schema`: change it there.", ""]
    lines += _plain((contract.__doc__ or "").split("\n\n", 2)[2]).splitlines()
    for item in _dictionaries():
        lines += ["", f"## {_title(item)}", _plain(item.__doc__), ""]
        lines += ["| field | type | what it is |", "|---|---|---|"]
        for name, hint in get_type_hints(item, include_extras=True).items():
            lines.append(f"| `{name}` | {_type_text(hint)} | {_description(hint)} |")
    return "\n".join(lines) + "\n"


def _dictionaries() -> Iterator[type]:
    """Every dictionary of the contract, the report first and the others in order of use."""
    queue: list[type] = [contract.ReportDict]
    seen: set[type] = set()
    while queue:
        item = queue.pop(0)
        if item in seen:
            continue
        seen.add(item)
        yield item
        for hint in get_type_hints(item, include_extras=True).values():
            queue += _dictionaries_in(hint)
        if item is contract.OperationDict:
            queue += contract.DETAILS.values()


def _dictionaries_in(hint: Any) -> list[type]:
    if is_typeddict(hint):
        return [hint]
    return [item for argument in get_args(hint) for item in _dictionaries_in(argument)]


def _object(item: type) -> dict[str, Any]:
    fields = get_type_hints(item, include_extras=True)
    return {
        "description": _plain(item.__doc__),
        "type": "object",
        "additionalProperties": False,
        "required": list(fields),
        "properties": {name: _schema(hint) for name, hint in fields.items()},
    }


def _schema(hint: Any) -> dict[str, Any]:
    if is_typeddict(hint):
        return {"$ref": f"#/$defs/{_title(hint)}"}
    if hint in _SIMPLE:
        return {"type": _SIMPLE[hint]}
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _annotated(arguments[0], arguments[1:])
    if origin is Literal:
        return {"enum": list(arguments)}
    if origin is list:
        return {"type": "array", "items": _schema(arguments[0])}
    if origin in (Union, types.UnionType):
        return {"anyOf": [_schema(argument) for argument in arguments]}
    if origin is Mapping:
        return {"type": "object"}
    raise TypeError(f"the contract has no schema for {hint}")


def _annotated(hint: Any, notes: tuple[str, ...]) -> dict[str, Any]:
    result = _schema(hint)
    for note in notes:
        keyword, colon, value = note.partition(":")
        if colon and keyword in _NUMERIC_KEYWORDS:
            result[keyword] = int(value)
        elif colon and keyword == "pattern":
            result["pattern"] = value
        else:
            result["description"] = note
    return result


def _description(hint: Any) -> str:
    return str(_schema(hint).get("description", ""))


def _plain(docstring: str | None) -> str:
    return (docstring or "").replace("``", "`").strip()


def _title(item: type) -> str:
    return item.__name__.removesuffix("Dict")


def _type_text(hint: Any) -> str:
    """A type in words, for the page."""
    if is_typeddict(hint):
        return _title(hint)
    if hint in _SIMPLE:
        return _SIMPLE[hint]
    origin, arguments = get_origin(hint), get_args(hint)
    if origin is Annotated:
        return _type_text(arguments[0])
    if origin is Literal:
        return ", ".join(f"`{value}`" for value in arguments)
    if origin is list:
        return f"list of {_type_text(arguments[0])}"
    if origin is Mapping:
        return "object"
    return " or ".join(_type_text(argument) for argument in arguments)


if __name__ == "__main__":
    SCHEMA_FILE.write_text(json.dumps(report_schema(), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
    PAGE_FILE.write_text(contract_page(), encoding="utf-8")
