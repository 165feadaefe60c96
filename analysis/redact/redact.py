"""The captures of a job, with sheet and names files, made safe to share; judged by reading the copies first."""

from __future__ import annotations

import csv
import io
import tempfile
import tomllib
from collections import Counter
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.job import Paths, Progress, analyse
from analysis.redact.copied_binary import copied_binary
from analysis.redact.copied_text import HINT, copied_text
from analysis.redact.packed import packed_again
from analysis.redact.plan import Plan, Replaced, make_plans
from analysis.redact.secret_parts import Redactor
from analysis.redact.sheet_copy import names_copy, sheet_copy
from analysis.redact.written_values import WrittenValues
from analysis.sheet.jobsheet import load_job_sheet
from canlog.capture.capture import Capture
from canlog.errors import CanlogError
from canlog.read import read_capture


@dataclass(frozen=True)
class Redaction:
    """The copies, ready to be written: ``listed`` says what was replaced and how often, never the value."""

    captures: tuple[bytes, ...]
    names: tuple[str, ...]  # of the files, known values in them replaced
    names_names: tuple[str, ...]  # the same of names files
    sheet: str | None
    names_files: tuple[str | None, ...]  # in the order given; None where one is no TOML
    listed: tuple[tuple[str, str, str, int], ...]  # kind, module, identifier, count

    @property
    def capture(self) -> bytes:
        """The first, or only, one."""
        return self.captures[0]

    def list_csv(self) -> bytes:
        """The list as CSV: kind, module, identifier, count."""
        stream = io.StringIO()
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("kind", "module", "identifier", "count"))
        writer.writerows(self.listed)
        return stream.getvalue().encode("utf-8", "replace")


def redact(
    path_or_paths: Paths, job: str | Path | None = None, names: Sequence[str | Path] = (), also: Collection[int] = (),
    links: Sequence[str] = (), *, columns: str = "", progress: Progress | None = None,
) -> Redaction:  # fmt: skip
    """The copies of the captures of one job, of its sheet and names files, each in its own form, replaced alike.

    Args:
        path_or_paths: captures of one job; their copies stand in the same order.
        job: job sheet.
        names: names files, later ones win.
        also: identifiers whose values are to be replaced as well.
        links: link keys that the user knows.
        columns: names the columns of a table without a header.
        progress: called with bytes done and bytes in all.

    Raises:
        CanlogError: a file that cannot be used, a form that is not copied, or a copy that would not read as the
            original does.
    """
    report = analyse(path_or_paths, job, names, links, columns=columns, progress=progress)
    record = report.record
    sheet = load_job_sheet(job) if job is not None else None
    texts = [one.capture.text() for one in record.captures]
    sheet_text = Path(job).read_text(encoding="utf-8") if job is not None else ""
    name_texts = [_toml(Path(one)) for one in names]
    given = [str(Path(one)) for one in ([path_or_paths] if isinstance(path_or_paths, str | Path) else path_or_paths)]
    called = [Path(one).name for one in (*given, *names)]
    written = [text.encode("utf-8", "replace") for text in (sheet_text, *name_texts, *called) if text]
    plans, redactor = make_plans(record, record.names, also, sheet.vin if sheet else "", [*texts, *written])
    values = WrittenValues(plans[0].vins, {old: new for plan in plans for old, new in plan.values.items()})
    copies: dict[str, bytes] = {}
    for one, plan, text in zip(record.captures, plans, texts, strict=True):
        copies[one.capture.path] = _copy(one.capture, plan, text, values, redactor)
        _judge(copies[one.capture.path], plan, one.name, columns)
    copied_sheet = None
    if sheet is not None:
        copied_sheet = values.replaced(sheet_copy(sheet_text, sheet, plans, redactor).encode()).decode()
    counts: Counter[Replaced] = sum((plan.counts for plan in plans), Counter())
    from_input = next((path for path in copies if path not in given), "")
    return Redaction(
        tuple(copies[one if one in copies else from_input] for one in given),
        tuple(values.name(Path(one).name) for one in given),
        tuple(values.name(Path(one).name) for one in names),
        copied_sheet,
        tuple(
            text if text is None else values.replaced(names_copy(text, plans).encode()).decode() for text in name_texts
        ),
        tuple((key.kind, values.name(key.module), key.identifier, count) for key, count in sorted(counts.items())),
    )


def _toml(path: Path) -> str | None:
    """The text of a names file; None where it is a description of another form."""
    try:
        text = path.read_text(encoding="utf-8")
        tomllib.loads(text)
    except ValueError:
        return None
    return text


def _copy(capture: Capture, plan: Plan, text: bytes, values: WrittenValues, redactor: Redactor) -> bytes:
    if capture.packing_damage:
        raise CanlogError(
            f"{capture.name}: what it is packed in is damaged ({capture.packing_damage})",
            hint="unpack it as far as it goes, and redact that",
        )
    if capture.is_text:
        bad = [one.line for one in plan.table.bad_lines]
        copy = copied_text(text, plan, bad, values, redactor.replacements)
    else:
        copy = copied_binary(capture.format, text, plan, values, redactor.replacements)
    return packed_again(copy, capture.wrappings, values.name)


def _judge(copy: bytes, plan: Plan, name: str, columns: str) -> None:
    """The copy reads as the original, but for the bytes planned.

    Raises:
        CanlogError: it does not; nothing is written then.
    """
    with tempfile.NamedTemporaryFile(prefix="canlog-", suffix=Path(name).suffix) as file:
        file.write(copy)
        file.flush()
        table, old = read_capture(file.name, columns=columns).frames(), plan.table
    columns_of = ("time_ns", "channel", "can_id", "flags", "length", "line")
    same = len(table) == len(old) and all(np.array_equal(getattr(table, one), getattr(old, one)) for one in columns_of)
    if not same or [one.line for one in table.bad_lines] != [one.line for one in old.bad_lines]:
        raise CanlogError(f"{name}: a copy would not read as the original does", hint=HINT)
    if any(table.data(row) != plan.data(row) for row in range(len(old)) if old.data(row)):
        raise CanlogError(f"{name}: some bytes could not be replaced", hint=HINT)
