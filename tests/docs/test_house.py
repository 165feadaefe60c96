"""The rules of the house: style, types, and who may import whom."""

from __future__ import annotations

import ast
import subprocess
import sys
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
PACKAGES = ("canlog", "analysis")
#: Each part of canlog may import from those before it, never from those behind.
LAYERS = (
    "errors", "counting", "column_widths", "frames", "capture", "by_id", "copies", "background", "other", "survey",
    "isotp", "doip", "read", "names", "services",
)  # fmt: skip
BROAD = {"Exception", "BaseException"}


def modules() -> Iterator[tuple[str, Path]]:
    for package in PACKAGES:
        for path in sorted((ROOT / package).rglob("*.py")):
            yield ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__"), path


def imports(path: Path, *, only_at_load: bool = False) -> set[str]:
    """Modules of the project that a file names in its imports."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    nodes: Iterator[ast.AST] = iter(tree.body) if only_at_load else ast.walk(tree)
    found: set[str] = set()
    for node in nodes:
        if isinstance(node, ast.ImportFrom) and node.module:
            found |= {node.module} | {f"{node.module}.{alias.name}" for alias in node.names}
        elif isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
    return {name for name in found if name.split(".")[0] in PACKAGES}


def run(*command: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", *command], cwd=ROOT, capture_output=True, text=True, check=False)


@pytest.mark.parametrize(
    "command",
    [
        ("ruff", "check", "--no-cache", "."),
        ("ruff", "format", "--check", "--no-cache", "."),
        ("mypy",),
    ],
    ids=" ".join,
)
def test_style_and_types_are_clean(command: tuple[str, ...]) -> None:
    result = run(*command)
    assert result.returncode == 0, result.stdout + result.stderr


def test_canlog_knows_nothing_of_jobs() -> None:
    for name, path in modules():
        if name.startswith("canlog"):
            assert not [item for item in imports(path) if item.startswith("analysis")], name


def test_every_part_of_canlog_imports_only_from_the_layers_before_it() -> None:
    for name, path in modules():
        parts = name.split(".")
        if parts[0] != "canlog" or len(parts) == 1:
            continue
        assert parts[1] in LAYERS, f"{name} has no place in the order of layers"
        own = LAYERS.index(parts[1])
        for item in imports(path):
            other = item.split(".")[1:2]
            if other and other[0] in LAYERS:
                assert LAYERS.index(other[0]) <= own, f"{name} imports {item}"


def test_nothing_imports_in_circles() -> None:
    known = dict(modules())
    graph = {name: {item for item in imports(path, only_at_load=True) if item in known} for name, path in known.items()}
    for name in graph:
        graph[name].discard(name)
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        pytest.fail(f"circle: {' -> '.join(error.args[1])}")


def test_the_report_is_rendered_from_the_contract_alone() -> None:
    names = "text answer_text evidence_text fault_text times_text wording lines terminal_page contract schema"
    for name in names.split():
        path = ROOT / "analysis" / "report" / f"{name}.py"
        others = {
            item
            for item in imports(path)
            if not item.startswith(("canlog.counting", "canlog.column_widths")) and item != "canlog"
        }
        assert all(item == "analysis.report" or item.startswith("analysis.report.") for item in others), name


def test_only_the_runner_of_checks_catches_everything() -> None:
    for name, path in modules():
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ExceptHandler):
                caught = {item.id for item in ast.walk(node.type) if isinstance(item, ast.Name)} if node.type else BROAD
                assert not caught & BROAD or name == "analysis.checks.runner", f"{name}:{node.lineno}"


def test_no_module_is_named_for_nothing_or_like_the_standard_library() -> None:
    for name, path in modules():
        stem = path.stem
        assert stem not in {"utils", "util", "helpers", "helper", "common", "misc"}, name
        if path.parent == ROOT / "canlog" or path.parent == ROOT / "analysis":
            assert stem.startswith("__") or stem not in sys.stdlib_module_names, name


def test_help_waits_for_nothing_heavy() -> None:
    heavy = "numpy rich pandas pyarrow can scapy odxtools analysis.report.contract canlog.frames"
    code = (
        "import sys, analysis.cli\n"
        f"loaded = [name for name in {heavy.split()} if name in sys.modules]\n"
        "assert not loaded, loaded"
    )
    result = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stderr


def test_the_public_names_are_functions_whatever_was_imported_before() -> None:
    names = [name for name, _ in modules() if not name.endswith("__main__")]
    code = (
        f"from importlib import import_module\nfor name in {names!r}: import_module(name)\n"
        "from analysis import analyse\n"
        "from canlog import read_capture, rebuild\n"
        "assert callable(analyse) and callable(read_capture) and callable(rebuild)"
    )
    result = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=False)
    assert result.returncode == 0, result.stderr
