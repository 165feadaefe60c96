"""What is documented is what there is: commands, options, fields, formats, exit codes, and the example in README."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any, get_type_hints

import click
import pytest
from click.testing import CliRunner
from readme_example import example_command, limits_written_again, written_again

from analysis.cli import BAD_INPUT, INTERRUPTED, main
from analysis.commands.listing import EXCHANGE_COLUMNS, FRAME_COLUMNS, MESSAGE_COLUMNS
from analysis.commands.report_command import NOT_CONFIRMED
from analysis.limits import table
from analysis.report import contract, schema
from analysis.serve.limits import table as serve_limits
from analysis.sheet.jobsheet import load_job_sheet
from canlog.capture.registry import FORMATS
from canlog.names.tables import load_names

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
PAGE = schema.PAGE_FILE.read_text(encoding="utf-8")


def fenced(kind: str, text: str = README) -> list[str]:
    return re.findall(rf"^```{kind}\n(.*?)^```$", text, re.M | re.S)


def section(title: str) -> str:
    """A section of README, up to the next of its level."""
    match = re.search(rf"^(#+) {re.escape(title)}$(.*?)(?=^\1 |\Z)", README, re.M | re.S)
    assert match, f"README has no section {title!r}"
    return match[2]


COMMANDS = sorted(main.commands.items())


@pytest.mark.parametrize(("name", "command"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_every_command_and_option_is_in_the_readme(name: str, command: click.Command) -> None:
    text = section("Commands")
    assert f"canlog {name}" in text
    for option in command.params:
        if isinstance(option, click.Option):
            for spelling in option.opts:
                assert re.search(rf"(?<![\w-]){re.escape(spelling)}(?![\w-])", text), f"{name} {spelling}"


def test_the_readme_names_no_option_that_does_not_exist() -> None:
    known = {spelling for _, command in COMMANDS for option in command.params for spelling in option.opts}
    known |= {"--help", "--version"}
    assert set(re.findall(r"(?<![\w-])--[a-z][\w-]*", section("Commands"))) <= known


@pytest.mark.parametrize(("name", "command"), COMMANDS, ids=[name for name, _ in COMMANDS])
def test_every_option_explains_itself(name: str, command: click.Command) -> None:
    assert command.help
    for option in command.params:
        if isinstance(option, click.Option):
            assert option.help, f"{name} {option.name}"


def test_every_field_of_the_contract_is_on_its_page() -> None:
    def dictionaries() -> Any:
        return [item for name, item in vars(contract).items() if name.endswith(("Dict", "Details"))]

    assert len(dictionaries()) > 20
    for item in dictionaries():
        for field in get_type_hints(item):
            assert f"| `{field}` |" in PAGE, f"{item.__name__}.{field}"


def test_every_column_of_the_lists_is_in_the_readme() -> None:
    for level, columns in (("messages", MESSAGE_COLUMNS), ("frames", FRAME_COLUMNS)):
        row = next(line for line in section("JSON").splitlines() if line.startswith(f"| `{level}`"))
        assert set(columns) <= set(re.findall(r"`(\w+)`", row))
    assert list(EXCHANGE_COLUMNS) == [*get_type_hints(contract.ExchangeDict), "label", "told"]
    row = next(line for line in section("JSON").splitlines() if line.startswith("| `exchanges`"))
    assert {"label", "told"} <= set(re.findall(r"`(\w+)`", row))


def test_every_format_is_in_the_readme() -> None:
    for item in FORMATS:
        assert f"`{item.NAME}`" in section("Formats")


def test_every_exit_code_is_in_the_readme() -> None:
    for code in (0, NOT_CONFIRMED, BAD_INPUT, INTERRUPTED):
        assert re.search(rf"^\| {code} \|", section("Exit codes"), re.M)


def test_every_limit_is_explained_for_developers() -> None:
    assert limits_written_again(DEVELOPERS) == DEVELOPERS, "run: python tests/docs/readme_example.py"
    for limit in table():
        assert f"| `{limit.name}` |" in DEVELOPERS, limit.name


def test_every_place_that_the_developers_page_names_exists() -> None:
    for path in re.findall(r"`((?:canlog|analysis|tests|fixtures|notebooks)/[\w./-]*)`", DEVELOPERS):
        assert (ROOT / path).exists(), path
    for text in (README, DEVELOPERS):
        for link in re.findall(r"\]\(([^)#:]+)\)", text):
            assert (ROOT / link).exists(), link


def test_the_five_words_are_explained() -> None:
    for word in ("confirmed", "completed, not proven", "failed", "interrupted", "not shown"):
        assert f"**{word}**" in section("What it answers")


def test_the_job_sheet_and_the_names_of_the_readme_can_be_loaded(tmp_path: Path) -> None:
    sheet, names, _ = fenced("toml")
    (tmp_path / "sheet.toml").write_text(sheet, encoding="utf-8")
    (tmp_path / "names.toml").write_text(names, encoding="utf-8")
    assert load_job_sheet(tmp_path / "sheet.toml").modules
    assert load_names(tmp_path / "names.toml").identifiers
    assert load_names(tmp_path / "names.toml").loose_ends() == ()


def test_what_the_readme_shows_is_what_the_program_prints(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    assert written_again(README) == README, "run: python tests/docs/readme_example.py"


def test_the_example_of_python_in_the_readme_runs(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    for code in fenced("python"):
        exec(compile(code, "README.md", "exec"), {})


def test_the_readme_installs_what_the_project_offers() -> None:
    commands = fenced("sh")[0].splitlines()
    assert commands[0].startswith("python3 -m venv .venv && .venv/bin/pip install -q . && .venv/bin/canlog report ")
    assert commands[1] == "python3 -m venv .venv && .venv/bin/pip install -q -e '.[test]' && .venv/bin/pytest"
    ci = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "README.md" in ci and "'.[test]'" in ci


def test_the_report_as_json_of_the_readme_example_validates(monkeypatch: pytest.MonkeyPatch) -> None:
    from jsonschema import Draft202012Validator

    monkeypatch.chdir(ROOT)
    result = CliRunner().invoke(main, [*example_command(README), "--json", "-"])
    report = json.loads(result.stdout)
    published = json.loads(schema.SCHEMA_FILE.read_text(encoding="utf-8"))
    assert [error.message for error in Draft202012Validator(published).iter_errors(report)] == []


def test_every_limit_of_the_upload_page_is_explained_for_developers() -> None:
    for limit in serve_limits():
        assert f"| `{limit.name}` | {limit.default:,} | {limit.reason} |" in DEVELOPERS, limit.name
