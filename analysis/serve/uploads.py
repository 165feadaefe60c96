"""From a form to a job: every file on the disk and every mistake named before anything is acknowledged."""

from __future__ import annotations

import io
import json
import tempfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from starlette.datastructures import FormData, UploadFile

from analysis.serve.limits import ServeLimits
from analysis.serve.names import plain_name
from analysis.serve.originals import Arrived, Originals
from analysis.serve.store import Sent, Store
from canlog.errors import CanlogError

#: Fields of the form with files, and what each holds.
ROLES = {"captures": "capture", "sheet": "sheet", "names": "names"}
#: Fields of the small form that stands for a job sheet.
SHEET_FIELDS = ("vin", "link", "software", "calibration", "trims")


def take(form: FormData, store: Store, limits: ServeLimits) -> str:
    """Keep the files of a form as a new job; its id.

    Raises:
        CanlogError: no capture, too many files, a sheet or names file that cannot be used, no room.
    """
    files = [
        (role, one) for field, role in ROLES.items() for one in form.getlist(field)
        if isinstance(one, UploadFile) and (one.filename or one.size)
    ]  # fmt: skip
    if not any(role == "capture" for role, _ in files):
        raise CanlogError("no capture was chosen", hint="choose at least one recording of the bus")
    if len(files) > limits.files_per_job:
        raise CanlogError(f"{len(files)} files are too many", hint=f"one job has at most {limits.files_per_job}")
    if store.n_waiting() >= limits.waiting_jobs:
        raise CanlogError("too many captures wait already", hint="send this one when some of them are done")
    written = sheet_of(form, limits)
    if written and any(role == "sheet" for role, _ in files):
        raise CanlogError("a job sheet and fields of the form were both given", hint="leave one of them empty")
    note = text_of(form, "note", limits.note_chars)
    sent: list[Sent] = []
    try:
        for role, one in files:
            name = plain_name(one.filename or "", limits.name_chars)
            sent.append(Sent(role, name, _arrive(store.originals, one.file)))
        if written:
            sent.append(Sent("sheet", "form.toml", store.originals.arrive(io.BytesIO(written.encode()))))
        _check(sent)
        return store.add(sent, note)
    finally:
        for kept in sent:  # gone already when the job was taken
            with suppress(OSError):
                kept.file.part.unlink(missing_ok=True)


def sheet_of(form: FormData, limits: ServeLimits) -> str:
    """The job sheet that the small form means; empty when nothing was filled in.

    Raises:
        CanlogError: a part is asked for, but not of which module; a trim without its value.
    """
    vin, link, software, calibration, trims = (text_of(form, field, limits.note_chars) for field in SHEET_FIELDS)
    parts = {"software": software, "calibration": calibration}
    asked = ", ".join(f"{name} = {json.dumps(value)}" for name, value in parts.items() if value)
    if (asked or trims) and not link:
        raise CanlogError(
            "software, calibration or trims were filled in, but not the module's addresses",
            hint="fill in both CAN ids, e.g. 7E0:7E8, or send a job sheet",
        )
    lines = ["[vehicle]", f"vin = {json.dumps(''.join(vin.upper().split()))}"] if vin else []
    if link:
        lines += ["[[module]]", 'label = "module"', f"link = {json.dumps(link)}"]
        lines += [f"programming = {{ {asked} }}"] if asked else []
        lines += ['vin = "read"'] if vin else []
        lines += _trims(trims)
    return "\n".join([*lines, ""]) if lines else ""


def _trims(text: str) -> list[str]:
    """Trims of the form as they stand in a sheet: each line an identifier and the value meant.

    Raises:
        CanlogError: a line has no value.
    """
    rows = []
    for line in filter(None, map(str.strip, text.splitlines())):
        identifier, _, value = line.replace("=", " ").replace(":", " ").partition(" ")
        if not value.strip():
            raise CanlogError(f"trims: {line!r} has no value", hint="write one a line, e.g. 4C20 FFF6")
        rows.append(f"{{ identifier = {json.dumps(identifier)}, value = {json.dumps(''.join(value.split()))} }}")
    return [f"trims = [ {', '.join(rows)} ]"] if rows else []


def text_of(form: FormData, field: str, most: int) -> str:
    """A text field without characters that steer; empty when it is not there.

    Raises:
        CanlogError: longer than it may be.
    """
    value = form.get(field)
    text = value if isinstance(value, str) else ""
    text = text.replace("\r\n", "\n").encode("utf-8", "replace").decode()
    text = "".join(one for one in text if one in "\n\t" or one.isprintable()).strip()
    if len(text) > most:
        raise CanlogError(f"{field}: {len(text)} characters are too many", hint=f"at most {most}")
    return text


def _arrive(originals: Originals, stream: BinaryIO) -> Arrived:
    try:
        return originals.arrive(stream)
    except OSError as error:
        raise CanlogError(f"the upload cannot be kept ({error.strerror})", hint="is the disk full?") from error


def _check(sent: Sequence[Sent]) -> None:
    """Sheets and names in our own form are read at once, so that a mistake is seen where it can be put right."""
    from analysis.sheet.jobsheet import load_job_sheet
    from canlog.names.tables import load_names

    with tempfile.TemporaryDirectory() as folder:
        for one in sent:
            if one.role == "sheet" or (one.role == "names" and one.name.lower().endswith(".toml")):
                path = Path(folder) / one.name
                path.write_bytes(one.file.part.read_bytes())
                if one.role == "sheet":
                    load_job_sheet(path)
                else:
                    load_names(path)
                path.unlink()
