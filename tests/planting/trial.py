"""One trial: a session, a fault, the report, what is wrong with it."""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from random import Random

import jsonschema
from simulator.bench import WHOLE_JOB, Plan
from simulator.sessions import play

from analysis import analyse
from analysis.report.model import Report

from .faults import FAULTS, Lines, clean, half_line
from .judge import Wrong, raised_words, unnoticed, wrong_words
from .ledger import Ledger

ROOT = Path(__file__).parents[2]
FIXTURES = ROOT / "fixtures"
SCHEMA = ROOT / "analysis" / "report" / "report.schema.json"


@dataclass(frozen=True)
class Setting:
    """A good session and what the user gives along with it."""

    session: str | Plan
    names: bool = False
    sheet: bool = False
    folder: Path = FIXTURES  # where the names and the sheet lie

    def __str__(self) -> str:
        session = self.session if isinstance(self.session, str) else self.session.name
        return session + ", names" * self.names + ", sheet" * self.sheet

    @property
    def world(self) -> str:
        return self.session.split("-")[0] if isinstance(self.session, str) else "uds11"

    @property
    def given(self) -> dict[str, object]:
        """Arguments of ``analyse``."""
        return {
            "names": [self.folder / f"{self.world}_names.toml"] if self.names else [],
            "job": self.folder / f"{self.world}.toml" if self.sheet else None,
        }


#: Good sessions for planting: both short and long, with and without the meaning of what is answered.
SETTINGS = (
    Setting("uds11-all-good-short", names=True),
    Setting("uds11-all-good-short"),
    Setting("uds11-all-good", names=True, sheet=True),
    Setting("uds11-all-good"),
)

#: The same for the long run: a second attempt, a learn routine, other addressing, many modules.
MORE_SETTINGS = (
    *SETTINGS,
    Setting("uds11-second-attempt-good", names=True),
    Setting("uds11-second-attempt-good"),
    Setting(Plan("learning", (*WHOLE_JOB, "learn"), padding=None, block_size=4), names=True),
    Setting(Plan("extended", addressing="extended", block_length=0x42)),
    Setting(Plan("fixed", addressing="normal-fixed", padding=0x55, block_size=8)),
)
COACH = (Setting("coach-all-good", names=True), Setting("coach-all-good"))


@cache
def ledger_of(setting: Setting) -> Ledger:
    """What was really said in it."""
    return Ledger(play(setting.session), named=setting.names)


def report_of(lines: Lines, setting: Setting, place: Path) -> Report:
    """The report on a recording; ``place`` is a file to write it to."""
    return report_of_text("".join(line.shown + "\n" for line in lines), setting, place)


def report_of_text(text: str, setting: Setting, place: Path) -> Report:
    """The report on a text."""
    place.write_text(text)
    return analyse(place, **setting.given)  # type: ignore[arg-type]


_clean: dict[Setting, Report] = {}


def clean_report(setting: Setting, place: Path) -> Report:
    """The report on the session as it was."""
    if setting not in _clean:
        _clean[setting] = report_of(clean(ledger_of(setting)), setting, place)
    return _clean[setting]


@cache
def _validator() -> jsonschema.protocols.Validator:
    schema = json.loads(SCHEMA.read_text())
    return jsonschema.validators.validator_for(schema)(schema)


def check_schema(report: Report) -> list[Wrong]:
    """Errors of the report against its published schema."""
    return [Wrong("not in the schema", error.message) for error in _validator().iter_errors(report.to_dict())]


@dataclass
class Trial:
    """A fault in a session, made again from its seed."""

    setting: Setting
    fault: str
    seed: int
    wrong: list[Wrong] = field(default_factory=list)

    def lines(self) -> Lines:
        """The spoilt recording."""
        return FAULTS[self.fault](ledger_of(self.setting), Random(f"{self.fault} {self.seed}"))

    def run(self, place: Path) -> Trial:
        """Judge it; everything found is in ``wrong``."""
        self.wrong = judge_lines(self.lines(), self.setting, place)
        return self


def judge_lines(lines: Lines, setting: Setting, place: Path) -> list[Wrong]:
    """Everything wrong with the report on a spoilt recording."""
    ledger = ledger_of(setting)
    before = clean_report(setting, place)
    report = report_of(lines, setting, place)
    return [
        *wrong_words(report, ledger, lines),
        *raised_words(before, report, ledger, lines),
        *unnoticed(before, report, ledger, lines),
        *check_schema(report),
    ]


def cut_lines(setting: Setting) -> list[int]:
    """Behind which lines a session is cut: all of a short one, the diagnostic ones of a long one."""
    ledger = ledger_of(setting)
    rows = range(len(ledger.rows)) if len(ledger.rows) < 1000 else ledger.diagnostic
    return [row + 1 for row in rows]


def cut_at(setting: Setting, line: int, place: Path) -> list[Wrong]:
    """What is wrong when the recording ends behind a line, and when it ends inside the next one."""
    lines = clean(ledger_of(setting))
    wrong = judge_lines(lines[:line], setting, place)
    if line < len(lines):
        wrong += judge_lines(half_line(lines[: line + 1], Random(line)), setting, place)
    return wrong
