"""A redacted copy says what its original says: words, parts and findings, with sheet and names and without."""

from pathlib import Path

import pytest
from redaction.said import said

from analysis import analyse
from analysis.redact.redact import Redaction, redact

FIXTURES = Path(__file__).parents[3] / "fixtures"
CAPTURES = sorted(str(path.relative_to(FIXTURES)) for path in FIXTURES.glob("*/capture.*"))
#: Recordings of real vehicles, without sheet and names (fixtures/real/SOURCES.md).
REAL = sorted(str(path.relative_to(FIXTURES)) for path in FIXTURES.glob("real/*.[ac]s[cv]"))
TEXT_FORMS = ("candump.log", "printed.txt", "screen.txt", "serial.txt", "session.asc", "session.csv", "session.trc",
              "typed.txt", "version11.trc")  # fmt: skip


def written(folder: Path, name: str, copy: Redaction) -> tuple[Path, Path | None]:
    capture, sheet = folder / name, folder / "sheet.toml"
    capture.write_bytes(copy.capture)
    if copy.sheet is None:
        return capture, None
    sheet.write_text(copy.sheet, encoding="utf-8")
    return capture, sheet


def test_there_are_fixtures_of_every_dialect_and_of_ethernet() -> None:
    assert {"uds11", "kwp", "gmw", "obd", "doip", "coach"} <= {name.split("-")[0] for name in CAPTURES}
    assert REAL


@pytest.mark.parametrize("name", REAL)
def test_the_copy_of_a_real_recording_says_the_same_words(name: str, tmp_path: Path) -> None:
    original = FIXTURES / name
    capture, _ = written(tmp_path, original.name, redact(original))
    assert said(analyse(original).to_dict()) == said(analyse(capture).to_dict())


@pytest.mark.parametrize("name", CAPTURES)
def test_the_copy_of_a_fixture_says_the_same_words(name: str, tmp_path: Path) -> None:
    original = FIXTURES / name
    world = original.parent.name.split("-")[0]
    job, names = FIXTURES / f"{world}.toml", [FIXTURES / f"{world}_names.toml"]
    capture, sheet = written(tmp_path, original.name, redact(original, job, names))
    assert said(analyse(original, job, names).to_dict()) == said(analyse(capture, sheet, names).to_dict())
    assert said(analyse(original).to_dict()) == said(analyse(capture).to_dict())


@pytest.mark.parametrize("kind", ["clean", "damaged"])
@pytest.mark.parametrize("name", TEXT_FORMS)
def test_every_text_form_is_copied_in_its_own_form(kind: str, name: str, tmp_path: Path) -> None:
    original = FIXTURES / "formats" / kind / name
    copy = redact(original)
    assert sum(count for *_, count in copy.listed) >= 8
    capture, _ = written(tmp_path, name, copy)
    one, other = analyse(original).to_dict(), analyse(capture).to_dict()
    assert said(one) == said(other)
    assert one["captures"][0]["format"] == other["captures"][0]["format"]
    assert capture.read_bytes().count(b"\n") == original.read_bytes().count(b"\n")
    assert b"E0VLK3P06SM018931".hex().upper().encode() not in capture.read_bytes()
