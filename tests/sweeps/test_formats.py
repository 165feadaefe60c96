"""Every form that can be read: documented, with a clean and a damaged capture, known by its content alone.

The captures in fixtures/formats hold one session, written by python-can's writers or by small ones that share
no code with the readers (format_writers.py); so frames and words must be those of the log it was made from.
"""

from __future__ import annotations

import gzip
import lzma
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from format_writers import FOLDER, FORMS, SESSION, TESTER, Row, Written, session

from analysis import analyse
from analysis.cli import main
from canlog.capture.registry import FORMATS, CaptureFormat
from canlog.errors import CaptureError
from canlog.frames import FrameFlag, FrameTable, TimeKind
from canlog.read import read_capture

#: Forms that are read whole or not at all (their library raises).
ALL_OR_NOTHING = {"mf4"}
#: What a form's times are good to, in ns. The others keep the microseconds of the session.
COARSE_NS = {"slcan": 1_000_000, "version11.trc": 100_000, "session.blf": 1_000, "session.mf4": 1_000}
WITHOUT_LENGTH = {"candump-log", "id-data"}
WITHOUT_DIRECTION = {"candump-screen", "slcan", "id-data", "csv", "sqlite"}

each_form = pytest.mark.parametrize("form", FORMS, ids=lambda form: form.file)
each_format = pytest.mark.parametrize("reader", FORMATS, ids=lambda reader: reader.NAME)


@each_format
def test_a_format_says_what_it_is_known_by_and_what_it_cannot_tell(reader: CaptureFormat) -> None:
    for words in (reader.NAME, reader.ABOUT, reader.EXPECTED, reader.EVIDENCE, reader.CANNOT_TELL):
        assert words.strip() and "\n" not in words
    assert all(suffix.startswith(".") for suffix in reader.SUFFIXES)


def test_names_and_suffixes_belong_to_one_format_each() -> None:
    names = [reader.NAME for reader in FORMATS]
    suffixes = [suffix for reader in FORMATS for suffix in reader.SUFFIXES]
    assert len(set(names)) == len(names) and len(set(suffixes)) == len(suffixes)


@each_format
def test_canlog_formats_lists_it_with_its_evidence_and_its_limits(reader: CaptureFormat) -> None:
    listed = CliRunner().invoke(main, ["formats"]).stdout
    for words in (reader.NAME, reader.ABOUT, f"known by: {reader.EVIDENCE}", f"cannot tell: {reader.CANNOT_TELL}"):
        assert words in listed


@each_format
def test_a_format_has_a_clean_and_a_damaged_capture(reader: CaptureFormat) -> None:
    files = [form.file for form in FORMS if form.name == reader.NAME]
    assert files
    for file in files:
        assert (FOLDER / "clean" / file).is_file() and (FOLDER / "damaged" / file).is_file()


def test_no_capture_is_left_over() -> None:
    for kind in ("clean", "damaged"):
        assert {path.name for path in (FOLDER / kind).iterdir()} == {form.file for form in FORMS}


@pytest.mark.parametrize("form", [form for form in FORMS if form.exact], ids=lambda form: form.file)
def test_a_capture_is_what_its_writer_writes(form: Written) -> None:
    assert form.write(session()) == (FOLDER / "clean" / form.file).read_bytes()


@pytest.mark.parametrize("kind", ["clean", "damaged"])
@each_form
def test_a_capture_is_known_by_its_content_alone(form: Written, kind: str) -> None:
    head = (FOLDER / kind / form.file).read_bytes()[: 64 * 1024]
    fits = {reader.NAME: reader.recognise(head) for reader in FORMATS}
    own = fits.pop(form.name)
    assert own > max(fits.values()) and own <= 1


@cache
def frames_of(path: Path) -> FrameTable:
    return read_capture(path).frames()


def content(table: FrameTable) -> list[tuple[int, bytes]]:
    return [(frame.can_id, frame.data) for frame in table]


@each_form
def test_every_form_gives_the_frames_of_the_session(form: Written, tmp_path: Path) -> None:
    capture = read_capture(FOLDER / "clean" / form.file)
    table, rows = capture.frames(), session()
    assert (capture.format, capture.note) == (form.name, "") and not table.bad_lines
    assert content(table) == [(row.can_id, row.data) for row in rows]
    assert len(table.channels) == 1
    if form.name not in WITHOUT_DIRECTION and form.file not in ("candump.log", "session.pcap"):
        sent = [bool(flags & FrameFlag.SENT) for flags in table.flags]
        assert sent == [row.can_id in TESTER for row in rows]
    check_times(form, table, rows)


def check_times(form: Written, table: FrameTable, rows: list[Row]) -> None:
    if table.time_kind is TimeKind.NONE:
        assert form.name == "id-data" and not table.time_ns.any()
        return
    allowed = COARSE_NS.get(form.file, COARSE_NS.get(form.name, 0))
    first = int(table.time_ns[0])
    for time_ns, row in zip(table.time_ns.tolist(), rows, strict=True):
        assert abs((time_ns - first) - (row.time_us - rows[0].time_us) * 1000) <= 2 * allowed
    if table.time_kind is TimeKind.ABSOLUTE:
        assert abs(first - rows[0].time_us * 1000) <= allowed


@each_form
def test_positions_lead_back_to_the_lines_of_a_text(form: Written) -> None:
    capture = read_capture(FOLDER / "clean" / form.file)
    if not form.is_text:
        assert {capture.raw_line(frame.position) for frame in capture.frames()} == {""}
        return
    text = (FOLDER / "clean" / form.file).read_bytes().decode()
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    for frame in capture.frames():
        assert capture.raw_line(frame.position) == lines[frame.line - 1]


@each_form
def test_a_damaged_capture_gives_only_frames_that_were_there_and_says_that_it_is_damaged(form: Written) -> None:
    path = FOLDER / "damaged" / form.file
    if form.name in ALL_OR_NOTHING:
        with pytest.raises(CaptureError, match=form.file) as refusal:
            read_capture(path).frames()
        assert refusal.value.hint
        return
    table = read_capture(path).frames()
    rows = [(row.can_id, row.data) for row in session()]
    assert 100 < len(table) < len(rows)
    assert table.bad_lines
    frames, expected = content(table), iter(rows)
    if form.name in WITHOUT_LENGTH:  # nothing shows that whole bytes are missing at the end of the last line
        can_id, data = frames.pop()
        assert any(row[0] == can_id and row[1].startswith(data) for row in rows)
    assert all(row in expected for row in frames)  # in order, none invented
    if not form.is_text:
        assert content(table) == rows[: len(table)]
        assert any("damaged" in note or "cut" in note for note in table.notes)


def words(path: Path) -> Any:
    report = analyse(path).to_dict()
    verdict = report["verdict"]
    operations = [(each["kind"], each["word"]) for each in report["operations"]]
    parts = {name: part["word"] for name, part in verdict["parts"].items()}
    return verdict["overall"], parts, operations, [module["now"] for module in report["modules"]]


@cache
def expected_words() -> Any:
    return words(SESSION)


@each_form
def test_the_words_do_not_depend_on_the_form(form: Written) -> None:
    assert expected_words()[0] == "confirmed"
    assert words(FOLDER / "clean" / form.file) == expected_words()


@pytest.mark.parametrize(
    "form", [form for form in FORMS if form.name not in ALL_OR_NOTHING], ids=lambda form: form.file
)
def test_a_cut_capture_is_never_confirmed(form: Written) -> None:
    assert words(FOLDER / "damaged" / form.file)[0] != "confirmed"


@pytest.mark.parametrize("pack", [gzip.compress, lzma.compress], ids=["gz", "xz"])
@each_form
def test_every_form_may_be_packed(form: Written, pack: Any, tmp_path: Path) -> None:
    path = tmp_path / "anything"
    path.write_bytes(pack((FOLDER / "clean" / form.file).read_bytes()))
    capture = read_capture(path)
    assert capture.format == form.name and content(capture.frames()) == content(frames_of(FOLDER / "clean" / form.file))


@each_form
def test_a_name_that_promises_another_form_is_said_so_and_not_believed(form: Written, tmp_path: Path) -> None:
    reader = next(reader for reader in FORMATS if form.name == reader.NAME)
    suffix = ".asc" if ".asc" not in reader.SUFFIXES else ".blf"
    path = tmp_path / f"capture{suffix}"
    path.write_bytes((FOLDER / "clean" / form.file).read_bytes())
    capture = read_capture(path)
    assert capture.format == form.name
    assert f"its name promises {suffix[1:]}, its content is {form.name}" in capture.note


def test_a_name_that_promises_packing_is_not_believed_either(tmp_path: Path) -> None:
    path = tmp_path / "capture.log.gz"
    path.write_bytes(SESSION.read_bytes())
    assert read_capture(path).note == "its name promises gzip, but it is not packed"
    path.write_bytes(gzip.compress(SESSION.read_bytes()))
    assert read_capture(path).note == "unpacked with gzip"
