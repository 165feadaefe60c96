"""Jobs and their files: what was acknowledged is on the disk, and stays there until it is deleted."""

from __future__ import annotations

import contextlib
import fcntl
import secrets
import shutil
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any, NamedTuple

from analysis.serve.migrations import migrate
from analysis.serve.originals import PRIVATE_FOLDER, Arrived, Originals, sync_folder
from canlog.errors import CanlogError

REPORT_FORMS = ("html", "json")


class Sent(NamedTuple):
    """One file of a new job; ``role`` is capture, sheet or names."""

    role: str
    name: str
    file: Arrived


class StoredFile(NamedTuple):
    """One file of a job."""

    number: int
    role: str
    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, slots=True)
class Job:
    """One upload and what became of it; ``state`` is waiting, running, done or failed."""

    id: str
    created: str
    state: str
    attempts: int
    problem: str
    hint: str
    note: str
    headline: str
    overall: str
    captures: str


class Found(NamedTuple):
    """What the list shows of a report and finds it by."""

    headline: str
    overall: str
    words: str


_COLUMNS = (
    "id, created, state, attempts, problem, hint, note, headline, overall, (SELECT group_concat(name, ', ') FROM"
    " (SELECT name FROM files WHERE job = jobs.id AND role = 'capture' ORDER BY number)) AS captures"
)


class Store:
    """The data folder. One process writes; readers see the last state that was written whole."""

    def __init__(self, data: Path) -> None:
        """Open or make it, and put right what a kill has left.

        Raises:
            CanlogError: another process uses it, a newer edition wrote it, or it cannot be written.
        """
        try:
            data.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)
            self._lock_file = _locked(data / "lock")
        except OSError as error:
            raise CanlogError(
                f"{data}: cannot be used ({error.strerror})", hint="choose another folder with --data"
            ) from error
        self.data = data
        self.originals = Originals(data)
        self.work = data / "work"
        self.fonts = data / "fonts"  # what matplotlib knows of the machine's fonts: half a second to find out again
        self._reports = data / "reports"
        self._made = data / "made"
        for folder in (self.fonts, self._reports, self._made):
            folder.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
        self._writing = threading.RLock()
        self._file = data / "jobs.sqlite"
        try:
            self._writer = sqlite3.connect(self._file, check_same_thread=False, isolation_level=None)
            self._writer.row_factory = sqlite3.Row
            self._writer.execute("PRAGMA journal_mode = WAL")
            for setting in ("synchronous = FULL", "foreign_keys = ON", "secure_delete = ON"):
                self._writer.execute(f"PRAGMA {setting}")
            migrate(self._writer)
        except sqlite3.DatabaseError as error:
            raise CanlogError(f"{self._file}: cannot be read ({error})", hint="restore it from a copy") from error
        self._recover()

    def close(self) -> None:
        """Let the folder go."""
        self._writer.close()
        self._lock_file.close()

    # writing

    def add(self, files: Sequence[Sent], note: str) -> str:
        """A new job; when this returns, nothing of it can be lost. Its id is its unguessable address."""
        name = secrets.token_urlsafe(18)
        created = datetime.now(UTC).isoformat(sep=" ", timespec="seconds").removesuffix("+00:00")
        with self._change() as write:
            self.originals.keep(one.file for one in files)
            write("INSERT INTO jobs (id, created, state, note) VALUES (?, ?, 'waiting', ?)", name, created, note)
            for number, one in enumerate(files):
                write(
                    "INSERT INTO files VALUES (?, ?, ?, ?, ?, ?)",
                    name, number, one.role, one.name, one.file.sha256, one.file.size_bytes,
                )  # fmt: skip
        return name

    def begin_next(self) -> Job | None:
        """The job that waits longest, now running; one that was being read when the page was cut off comes later.

        It is never given up: the page may have been cut off for any reason. But if the capture itself brings the
        machine down, it holds up no other.
        """
        with self._change() as write:
            row = write("SELECT id FROM jobs WHERE state = 'waiting' ORDER BY attempts, rowid LIMIT 1").fetchone()
            if row is None:
                return None
            write("UPDATE jobs SET state = 'running', attempts = attempts + 1 WHERE id = ?", row["id"])
        return self.job(row["id"])

    def finish(self, name: str, found: Found, made: Path) -> None:
        """The report is there: files ``report.html`` and ``report.json`` in the folder ``made``."""
        with self._change() as write:
            if write("SELECT 1 FROM jobs WHERE id = ?", name).fetchone() is None:
                return  # deleted in the meantime
            for form in REPORT_FORMS:
                shutil.move(made / f"report.{form}", self.report(name, form))
            sync_folder(self._reports)
            write(
                "UPDATE jobs SET state = 'done', headline = ?, overall = ?, words = ? WHERE id = ?",
                found.headline, found.overall, found.words, name,
            )  # fmt: skip

    def fail(self, name: str, problem: str, hint: str) -> None:
        """No report: say why."""
        with self._change() as write:
            write("UPDATE jobs SET state = 'failed', problem = ?, hint = ? WHERE id = ?", problem, hint, name)

    def wait_again(self, name: str) -> None:
        """Put a job that was cut off back into the queue; the attempt does not count."""
        with self._change() as write:
            write("UPDATE jobs SET state = 'waiting', attempts = attempts - 1 WHERE id = ? AND state = 'running'", name)

    def annotate(self, name: str, note: str) -> None:
        """Replace the note."""
        with self._change() as write:
            write("UPDATE jobs SET note = ? WHERE id = ?", note, name)

    def delete(self, name: str) -> None:
        """Remove a job for good: rows, reports, and originals that no other job needs."""
        with self._change() as write:
            contents = {one.sha256 for one in self.files(name)}
            write("DELETE FROM jobs WHERE id = ?", name)
            orphans = [one for one in contents if not write("SELECT 1 FROM files WHERE sha256 = ?", one).fetchone()]
        with self._writing:
            self._writer.execute("PRAGMA wal_checkpoint(TRUNCATE)")  # the log would still hold the old pages
            for one in orphans:
                if not self._writer.execute("SELECT 1 FROM files WHERE sha256 = ?", (one,)).fetchone():
                    self.originals.remove(one)
            for form in REPORT_FORMS:
                self.report(name, form).unlink(missing_ok=True)
            for path in self._made.glob(f"*{name}*"):
                path.unlink(missing_ok=True)

    def keep_made(self, names: Sequence[str], made: Path, place: Path) -> bool:
        """Keep what was made of these jobs at its place of :meth:`made`, unless one was deleted in the meantime."""
        with self._writing:
            if any(self.job(one) is None for one in names):
                return False
            made.replace(place)
        return True

    # reading

    def job(self, name: str) -> Job | None:
        """A job by its id."""
        with self._reader() as ask:
            row = ask.execute(f"SELECT {_COLUMNS} FROM jobs WHERE id = ?", (name,)).fetchone()
        return None if row is None else Job(**row)

    def files(self, name: str) -> list[StoredFile]:
        """The files of a job, in the order sent."""
        with self._reader() as ask:
            rows = ask.execute(
                "SELECT number, role, name, sha256, size_bytes FROM files WHERE job = ? ORDER BY number", (name,)
            ).fetchall()
        return [StoredFile(**row) for row in rows]

    def search(self, wanted: str, most: int) -> list[Job]:
        """Jobs that have every word somewhere: VIN, module, headline, note, file name, date; newest first."""
        place = (
            "(created || ' ' || headline || ' ' || overall || ' ' || note || ' ' || words || ' ' || problem || ' ' ||"
            " (SELECT group_concat(name, ' ') FROM files WHERE job = jobs.id))"
        )
        words = wanted.split()[:20]
        condition = " AND ".join([f"{place} LIKE ? ESCAPE '!'"] * len(words)) or "1"
        with self._reader() as ask:
            rows = ask.execute(
                f"SELECT {_COLUMNS} FROM jobs WHERE {condition} ORDER BY created DESC, rowid DESC LIMIT ?",
                (*map(_pattern, words), most),
            ).fetchall()
        return [Job(**row) for row in rows]

    def n_waiting(self) -> int:
        """Jobs that have no report yet."""
        with self._reader() as ask:
            return int(ask.execute("SELECT count(*) FROM jobs WHERE state IN ('waiting', 'running')").fetchone()[0])

    def n_before(self, job: Job) -> int:
        """Jobs that are looked at before this one."""
        with self._reader() as ask:
            row = ask.execute(
                "SELECT count(*) FROM jobs WHERE state = 'running' OR (state = 'waiting' AND (attempts, rowid) <"
                " (SELECT attempts, rowid FROM jobs WHERE id = ?))",
                (job.id,),
            ).fetchone()
        return int(row[0])

    def report(self, name: str, form: str) -> Path:
        """Where the report of a job is, or will be."""
        return self._reports / f"{name}.{form}"

    def made(self, names: Sequence[str], kind: str) -> Path:
        """Where something else made of jobs is, or will be. Ids hold no dot."""
        return self._made / ".".join([*names, kind])

    def free_bytes(self) -> int:
        """Space on the disk."""
        return shutil.disk_usage(self.data).free

    @contextlib.contextmanager
    def _change(self) -> Iterator[Any]:
        """One transaction; what it moves on the disk is moved before it is acknowledged."""
        with self._writing, self._writer:  # the connection commits, or rolls back when something is raised
            self._writer.execute("BEGIN IMMEDIATE")
            yield lambda text, *values: self._writer.execute(text, values)

    @contextlib.contextmanager
    def _reader(self) -> Iterator[sqlite3.Connection]:
        connection = sqlite3.connect(f"{self._file.resolve().as_uri()}?mode=ro", uri=True, timeout=10)
        connection.row_factory = sqlite3.Row
        try:
            yield connection
        finally:
            connection.close()

    def _recover(self) -> None:
        with self._change() as write:
            write("UPDATE jobs SET state = 'waiting' WHERE state = 'running'")
            wanted = {row["sha256"] for row in write("SELECT DISTINCT sha256 FROM files")}
            done = {row["id"] for row in write("SELECT id FROM jobs WHERE state = 'done'")}
        self.originals.sweep(wanted)
        for path in self._reports.iterdir():
            if path.stem not in done:
                path.unlink()
        for folder in (self.work, self._made):  # made again when asked for, by the edition that runs now
            shutil.rmtree(folder, ignore_errors=True)
            folder.mkdir(mode=PRIVATE_FOLDER)


def _pattern(word: str) -> str:
    escaped = word.replace("!", "!!").replace("%", "!%").replace("_", "!_")
    return f"%{escaped}%"


def _locked(path: Path) -> IO[str]:
    """Hold the folder for this process; the lock ends with the process, however that ends."""
    file = path.open("w")
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        file.close()
        raise CanlogError(
            f"{path.parent}: another canlog serve uses it", hint="stop that one, or choose another folder with --data"
        ) from None
    return file
