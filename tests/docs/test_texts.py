"""The catalogue of fixed texts: nothing in it is idle, every place is filled, the page has no sentence of its own."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path
from string import Formatter

import pytest

from analysis.report.texts import TEXTS, say, section_of

REPORT = Path(__file__).parents[2] / "analysis" / "report"
#: Files whose fixed texts stand in the catalogue.
TOLD = (
    "html.py", "html_page.py", "html_gathered.py", "picture.py", "fault_text.py", "meanwhile_text.py", "answer_text.py",
    "evidence_text.py", "times_text.py", "text.py", "lines.py",
)  # fmt: skip
SENTENCE = re.compile(r"[A-Za-z]{2,},? [A-Za-z]{2,}")


def sentences(tree: ast.AST) -> Iterator[str]:
    """Strings that read like words of a person: markup, patterns and docstrings left out."""
    for text in strings(tree):
        if SENTENCE.search(re.sub(r"<[^>]*>", "\0", text)):
            yield text


def strings(node: ast.AST) -> Iterator[str]:
    """Every string, one with places in it as a whole."""
    if isinstance(node, ast.Expr) and isinstance(node.value, ast.Constant):
        return  # a docstring
    if isinstance(node, ast.Call) and ast.unparse(node.func).startswith("re."):
        return
    if isinstance(node, ast.JoinedStr):
        yield "".join(str(one.value) if isinstance(one, ast.Constant) else "\0" for one in node.values)
    elif isinstance(node, ast.Constant) and isinstance(node.value, str):
        yield node.value
    is_whole = isinstance(node, ast.JoinedStr)
    for child in ast.iter_child_nodes(node):
        if not (is_whole and isinstance(child, ast.Constant)):
            yield from strings(child)


def calls() -> Iterator[tuple[str, set[str]]]:
    """Key and places of every call with a fixed key."""
    for path in REPORT.glob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "say" and node.args:
                for key in ast.walk(node.args[0]):
                    if isinstance(key, ast.Constant) and isinstance(key.value, str):
                        yield key.value, {str(one.arg) for one in node.keywords}


def places(text: str) -> set[str]:
    return {name for _, name, _, _ in Formatter().parse(text) if name}


@pytest.mark.parametrize("name", TOLD)
def test_the_page_puts_no_sentence_of_its_own(name: str) -> None:
    assert list(sentences(ast.parse((REPORT / name).read_text(encoding="utf-8")))) == []


def test_a_sentence_is_seen_as_one() -> None:
    tree = ast.parse('"""A module."""\npage.text("Open one to see it.")\nsaid = f"<p>{a} more of them</p>"\nx = "a b"')
    assert list(sentences(tree)) == ["Open one to see it.", "<p>\0 more of them</p>"]


def test_every_text_is_used() -> None:
    sources = "".join(path.read_text(encoding="utf-8") for path in REPORT.glob("*.py") if path.name != "texts.py")
    assert [key for key in TEXTS if f'"{key}"' not in sources] == []


def test_every_place_of_a_text_is_filled_and_no_other() -> None:
    found = list(calls())
    assert len(found) > 20
    for key, given in found:
        assert places(TEXTS[key]) <= given, key


def test_headings_differ_so_that_each_section_has_an_id_of_its_own() -> None:
    headings = [key for key in TEXTS if key.endswith(".heading")]
    assert [section_of(say(key)) for key in headings] == [key.removesuffix(".heading") for key in headings]
