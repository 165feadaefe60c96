"""Pages on a terminal against the same pages in a pipe: the same words, no line too wide, nothing that steers it."""

import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import NamedTuple

import pytest
from rich.cells import cell_len
from terminals import written_on_terminal

from analysis import analyse
from analysis.compare.page import tell_comparison
from analysis.compare.sessions import Comparison, compare
from analysis.image.page import tell_images
from analysis.image.rebuilt import Image, images
from analysis.report.contract import ReportDict
from analysis.report.lines import Cell, Lines
from analysis.report.model import Report
from analysis.report.terminal_page import SIGNS, TerminalPage
from analysis.report.text import tell_report
from analysis.report.wording import IN_PART, WORD, word_cell
from analysis.trims.page import tell_trims
from analysis.trims.sheet import ModuleSheet, trim_sheets

ROOT = Path(__file__).parents[3]
FIXTURES = ROOT / "fixtures"
CAPTURES = sorted(FIXTURES.glob("*/capture.*"))
GOOD = FIXTURES / "uds11-all-good" / "capture.log"
WIDTHS = (60, 80, 100, 150)
#: Nothing is wrapped or shortened for want of room.
ENDLESS = 10_000
ESCAPE = re.compile(r"\033\[[0-9;]*m")
PROGRAM = [sys.executable, "-m", "analysis.cli"]


def analysed(capture: Path) -> Report:
    world = capture.parent.name.split("-")[0]
    names = FIXTURES / f"{world}_names.toml"
    sheet = FIXTURES / f"{world}.toml"
    return analyse(capture, job=sheet if sheet.exists() else None, names=[names] if names.exists() else [])


class Told(NamedTuple):
    """All that the pages of one report say, worked out once for every width."""

    report: ReportDict
    trims: list[ModuleSheet]
    images: list[Image]
    comparison: Comparison


def told_of(report: Report) -> Told:
    return Told(report.to_dict(), trim_sheets(report, None), images(report), compare(report, report))


def tell_all(page: Lines, told: Told) -> None:
    tell_report(page, told.report)
    tell_trims(page, told.trims, 1)
    tell_images(page, told.images, None, "")
    tell_comparison(page, told.comparison, "good", "bad")


def terminal(width: int, *, color: bool = False, draws: bool = True) -> TerminalPage:
    return TerminalPage(width, color=color, draws=draws)


def words(text: str, *, of_terminal: bool) -> list[str]:
    """The words of a page in order; a sign and a line below a head are none, and long bytes show their ends."""
    lines = [line for line in text.splitlines() if not (of_terminal and line and set(line.strip()) <= {"─", " "})]
    found = " ".join(lines)
    if of_terminal:
        for token, (sign, _) in SIGNS.items():
            found = found.replace(f"{sign} {WORD[token]}", WORD[token])
        found = found.replace(f"{SIGNS['not-shown'][0]} {IN_PART}", IN_PART)
        found = re.sub(r"^[✓✗~!-] ", "", found)
    return [re.sub(r"^([0-9A-F]{32})[0-9A-F.]{3,}([0-9A-F]{29})$", r"\1...\2", word) for word in found.split()]


@pytest.mark.parametrize("capture", CAPTURES, ids=lambda path: path.parent.name)
def test_terminal_and_pipe_say_the_same_words(capture: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for column in ("ITEM", "VALUE", "SOURCE"):
        monkeypatch.setattr(f"analysis.trims.page.{column}", ENDLESS // 5)
    told = told_of(analysed(capture))
    plain, shown = Lines(ENDLESS, color=False), terminal(ENDLESS)
    tell_all(plain, told)
    tell_all(shown, told)
    assert words(str(shown), of_terminal=True) == words(str(plain), of_terminal=False)


@pytest.mark.parametrize("capture", CAPTURES, ids=lambda path: path.parent.name)
def test_no_line_is_wider_than_the_terminal_and_signs_and_colours_only_add(capture: Path) -> None:
    told = told_of(analysed(capture))
    for width in WIDTHS:
        shown, coloured = terminal(width), terminal(width, color=True)
        tell_all(shown, told)
        tell_all(coloured, told)
        lines = str(shown).splitlines()
        assert max(map(cell_len, lines)) <= width
        assert [line for line in lines if line != line.rstrip()] == []
        uncoloured = ESCAPE.sub("", str(coloured))
        assert [line.rstrip() for line in uncoloured.splitlines()] == lines


ROWS = [
    ("3A01", Cell("0126514804A30001A153", below=("lines 386-389",)), "PMU 3A01, lines 46-49", word_cell("unproven")),
    ("3A02", "-", "written by the tester without any reading before it", word_cell("failed", "failed: other bytes")),
]
HEAD = ("id", "value", "where it came from", "what became of it")


def small_table(width: int, **options: bool) -> str:
    page = terminal(width, **options)
    page.heading("Values", "failed", "bad", "failed")
    page.table(HEAD, (4, 20, 20, 0))
    for row in ROWS:
        page.row(*row)
        page.note("a note that belongs to the row above and not to the next one", mark="Note: ", hang=2)
    page.text("the end")
    return str(page)


@pytest.mark.parametrize("width", range(20, 160, 7))
def test_wrapping_loses_no_sign_of_a_cell(width: int) -> None:
    """What goes beneath its row for want of room keeps all of its signs; only names of columns are added."""
    wide, narrow = Counter("".join(small_table(400).split())), Counter("".join(small_table(width).split()))
    assert max(map(cell_len, small_table(width).splitlines())) <= width
    del wide["─"], narrow["─"]
    assert not wide - narrow
    assert set(narrow - wide) <= set("".join(HEAD) + ":")


def test_notes_stand_beneath_their_row_indented() -> None:
    lines = small_table(100).splitlines()
    first = next(at for at, line in enumerate(lines) if line.startswith("  3A01"))
    notes = [at for at, line in enumerate(lines) if line.startswith("    Note: ")]
    second = next(at for at, line in enumerate(lines) if line.startswith("  3A02"))
    assert first < notes[0] < second < notes[1]


def test_columns_stand_below_each_other() -> None:
    lines = small_table(100).splitlines()
    places = {line.index(text) for line in lines for text in ("value", "012651", "lines 386") if text in line}
    assert len(places) == 1


def test_the_five_words_need_no_colour() -> None:
    for column in (0, 1):
        assert len({signs[column] for signs in SIGNS.values()}) == len(SIGNS) == len(WORD)
    for token, word in WORD.items():
        for draws, sign in zip((True, False), SIGNS[token], strict=True):
            page = terminal(40, draws=draws)
            page.table((), (20,))
            page.row(word_cell(token))
            assert str(page) == f"  {sign} {word}\n"


def test_without_the_means_to_draw_everything_is_ascii() -> None:
    assert small_table(60, draws=False).isascii()
    assert "──" in small_table(60)


HOSTILE = (
    "[bold]not bold[/bold]", "[link=http://x]x[/link]", "\033[31mred", "\033]0;title\007", "\u202egnp.exe",
    "\u2066hidden\u2069", "a\rb\nc", "\x9b2J", ":warning:", "zero\u200bwidth",
)  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE, ids=ascii)
@pytest.mark.parametrize("color", [False, True])
def test_a_name_from_a_capture_cannot_steer_the_terminal(name: str, color: bool) -> None:
    page = terminal(120, color=color)
    page.heading("Modules", name)
    page.text(name, mark="- ")
    page.table(("id", name), (4, 0))
    page.row("3A01", Cell(name, "bad", "failed", (name,)))
    page.note(name, mark="Note: ", hang=2)
    text = ESCAPE.sub("", str(page))
    assert text.replace("\n", "").isprintable()
    shown = "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in name)
    assert text.count(shown) == 6


@pytest.mark.parametrize("name", HOSTILE, ids=ascii)
def test_nor_can_it_spoil_the_lines_of_a_pipe(name: str) -> None:
    page = Lines(200, color=False)
    page.heading(name, name)
    page.text(name, mark="- ")
    page.table(("id", name), (4, 0))
    page.row("3A01", Cell(name, "bad", "failed", (name,)))
    page.note(name)
    lines = str(page).splitlines()
    assert len(lines) == 6
    assert "".join(lines).isprintable()


def test_wide_letters_are_measured_as_a_screen_shows_them() -> None:
    page = terminal(40)
    page.text("発動機制御装置" * 8, mark="Module: ", hang=2)
    page.table(("id", "name", "where"), (4, 20, 0))
    page.row("3A01", "発動機制御装置" * 3, "line 7")
    page.row("3A02", "short", "line 8")
    lines = str(page).splitlines()
    assert max(map(cell_len, lines)) <= 40
    row = {at: line for line in lines for at in ("line 7", "line 8") if at in line}
    assert cell_len(row["line 7"].partition("line")[0]) == cell_len(row["line 8"].partition("line")[0])


def on_terminal(width: int, *arguments: str, **env: str) -> str:
    """What the program writes on a terminal of that width."""
    clean = {
        key: value for key, value in os.environ.items() if key not in ("COLUMNS", "NO_COLOR", "LC_ALL", "LC_CTYPE")
    }
    own = {**clean, "TERM": "xterm", "LANG": "C.UTF-8", **env}
    return written_on_terminal([*PROGRAM, *arguments], own, width=width, cwd=ROOT).replace("\r\n", "\n")


def in_pipe(*arguments: str) -> str:
    env = {key: value for key, value in os.environ.items() if key != "COLUMNS"}
    done = subprocess.run([*PROGRAM, *arguments], cwd=ROOT, env=env, capture_output=True, text=True, check=True)
    return done.stdout


CAPTURE = str(GOOD.relative_to(ROOT))
NAMES = ("--names", "fixtures/uds11_names.toml")
COMMANDS = {
    "report": ("report", CAPTURE, "--job", "fixtures/uds11.toml", *NAMES),
    "trims": ("trims", CAPTURE, *NAMES),
    "image": ("image", CAPTURE),
    "compare": ("compare", CAPTURE, "fixtures/uds11-trims-not-read-back/capture.log"),
    "exchanges": ("list", CAPTURE, *NAMES),
    "messages": ("list", CAPTURE, "--level", "messages"),
    "frames": ("list", CAPTURE, "--level", "frames"),
    "formats": ("formats",),
    "findings": ("findings",),
    "tables": ("tables",),
    "dialects": ("tables", "dialects"),
}


@pytest.mark.parametrize("name", COMMANDS)
@pytest.mark.parametrize("width", [60, 150])
def test_every_command_keeps_the_width_and_says_what_the_pipe_says(name: str, width: int) -> None:
    shown = on_terminal(width, *COMMANDS[name], NO_COLOR="1")
    assert max(map(cell_len, shown.splitlines())) <= width
    assert "\033" not in shown
    piped = Counter(re.findall(r"[A-Za-z]{3,8}\b", in_pipe(*COMMANDS[name])))
    there = "".join(shown.split())
    assert [word for word in piped if word not in there] == []


def test_the_first_columns_of_a_list_go_on_with_the_same_widths() -> None:
    lines = on_terminal(150, *COMMANDS["frames"], NO_COLOR="1").splitlines()
    at = lines[0].index("channel")
    assert len(lines) > 500
    assert all(line[at:].startswith("can0") for line in lines[2:])


@pytest.mark.parametrize("env", [{"NO_COLOR": "1"}, {"TERM": "dumb"}], ids=str)
def test_no_colour_where_it_is_not_wanted(env: dict[str, str]) -> None:
    assert "\033" not in on_terminal(80, *COMMANDS["report"], **env)


def test_colour_on_a_terminal_and_never_in_a_pipe() -> None:
    assert "\033[32m" in on_terminal(80, *COMMANDS["report"])
    assert "\033" not in in_pipe(*COMMANDS["report"])


def test_the_c_locale_gets_ascii() -> None:
    assert on_terminal(80, *COMMANDS["report"], LANG="C", NO_COLOR="1").isascii()
    assert "✓ confirmed" in on_terminal(80, *COMMANDS["report"], NO_COLOR="1")


def test_a_pipe_does_not_wait_for_rich() -> None:
    code = (
        "import sys\nfrom analysis.cli import main\n"
        f"try:\n    main({list(COMMANDS['report'])!r})\nexcept SystemExit:\n    pass\n"
        "print('rich' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "False"
