"""The tables of the upload page, step by step: ``PRAGMA user_version`` counts the steps done.

A step that has been released is never changed; a new one is added.
"""

from __future__ import annotations

import sqlite3
from typing import Final

from canlog.errors import CanlogError

STEPS: Final = (
    """
    CREATE TABLE jobs (
        id TEXT PRIMARY KEY, created TEXT NOT NULL, state TEXT NOT NULL, attempts INTEGER NOT NULL DEFAULT 0,
        problem TEXT NOT NULL DEFAULT '', hint TEXT NOT NULL DEFAULT '', note TEXT NOT NULL DEFAULT '',
        headline TEXT NOT NULL DEFAULT '', overall TEXT NOT NULL DEFAULT '', words TEXT NOT NULL DEFAULT '',
        CHECK (state IN ('waiting', 'running', 'done', 'failed'))
    ) STRICT;
    CREATE TABLE files (
        job TEXT NOT NULL REFERENCES jobs (id) ON DELETE CASCADE, number INTEGER NOT NULL, role TEXT NOT NULL,
        name TEXT NOT NULL, sha256 TEXT NOT NULL, size_bytes INTEGER NOT NULL,
        PRIMARY KEY (job, number), CHECK (role IN ('capture', 'sheet', 'names'))
    ) STRICT;
    CREATE INDEX files_by_content ON files (sha256);
    CREATE INDEX jobs_by_state ON jobs (state, created);
    """,
)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the tables up to date, each step whole or not at all.

    Raises:
        CanlogError: a newer edition has written the data.
    """
    done = connection.execute("PRAGMA user_version").fetchone()[0]
    if done > len(STEPS):
        raise CanlogError(
            "the data folder was written by a newer edition of canlog",
            hint="install that edition, or choose another folder with --data",
        )
    for number, step in enumerate(STEPS[done:], start=done + 1):
        connection.executescript(f"BEGIN IMMEDIATE; {step} PRAGMA user_version = {number}; COMMIT;")
