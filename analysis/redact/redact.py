"""One capture, and its job sheet, made safe to share; judged by reading the copy before anything is written."""

from __future__ import annotations

import csv
import io
import tempfile
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from analysis.job import Progress, analyse
from analysis.redact.copied_text import HINT, copied_text
from analysis.redact.plan import Plan, make_plan
from analysis.redact.sheet_copy import sheet_copy
from analysis.sheet.jobsheet import load_job_sheet
from canlog.capture.capture import Capture
from canlog.errors import CanlogError
from canlog.read import read_capture


@dataclass(frozen=True)
class Redaction:
    """The copies, ready to be written: ``listed`` says what was replaced and how often, never the value."""

    capture: bytes
    sheet: str | None
    listed: tuple[tuple[str, str, str, int], ...]  # kind, module, identifier, count

    def list_csv(self) -> bytes:
        """The list as CSV: kind, module, identifier, count."""
        stream = io.StringIO()
        writer = csv.writer(stream, lineterminator="\n")
        writer.writerow(("kind", "module", "identifier", "count"))
        writer.writerows(self.listed)
        return stream.getvalue().encode("utf-8", "replace")


def redact(
    path: str | Path, job: str | Path | None = None, names: Sequence[str | Path] = (), also: Collection[int] = (),
    links: Sequence[str] = (), *, columns: str = "", progress: Progress | None = None,
) -> Redaction:  # fmt: skip
    """The copy of a capture in its own form, and of its job sheet.

    Args:
        path: one text capture.
        job: job sheet.
        names: names files, later ones win.
        also: identifiers whose values are to be replaced as well.
        links: link keys that the user knows.
        columns: names the columns of a table without a header.
        progress: called with bytes done and bytes in all.

    Raises:
        CanlogError: a file that cannot be used, a binary capture, or a copy that would not read as the original does.
    """
    report = analyse(path, job, names, links, columns=columns, progress=progress)
    record = report.record
    capture = record.captures[0].capture
    if not capture.is_text:
        raise CanlogError(
            f"{capture.name}: {capture.format} is not redacted, only captures in text are", hint=_hint(capture)
        )
    sheet = load_job_sheet(job) if job is not None else None
    text = capture.text()
    plan, redactor = make_plan(record, record.names, also, sheet.vin if sheet else "", text)
    bad = [one.line for one in record.captures[0].capture.frames().bad_lines]
    copy = copied_text(text, plan, bad, redactor.replacements)
    _judge(copy, plan, capture.name, columns)
    copied_sheet = None
    if sheet is not None and job is not None:
        copied_sheet = sheet_copy(Path(job).read_text(encoding="utf-8"), sheet, plan, redactor)
    return Redaction(copy, copied_sheet, tuple((*key, count) for key, count in sorted(plan.counts.items())))


def _hint(capture: Capture) -> str:
    if capture.format == "pcap":
        return (
            "a packet capture of a CAN interface can be recorded as candump's log form; of Ethernet, none is redacted"
        )
    return HINT


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
