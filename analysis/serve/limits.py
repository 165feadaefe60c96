"""Every number that the upload page holds a visitor or an analysis to, with its reason: one table."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import NamedTuple

MIB = 1 << 20


class Limit(NamedTuple):
    """One limit as documentation."""

    name: str
    default: int
    reason: str


@dataclass(frozen=True, slots=True)
class ServeLimits:
    """The limits in force. Sizes in bytes, times in seconds."""

    upload_bytes: int = 2048 * MIB
    form_bytes: int = 64 * 1024
    files_per_job: int = 20
    note_chars: int = 4_000
    name_chars: int = 120
    body_pause_s: int = 60
    requests_per_minute: int = 600
    uploads_per_minute: int = 120
    key_attempts_per_minute: int = 10
    uploads_kept_at_once: int = 4
    waiting_jobs: int = 200
    waiting_pages: int = 40
    watchers: int = 200
    free_bytes: int = 512 * MIB
    analysis_s: int = 900
    analysis_memory_bytes: int = 4096 * MIB
    analysis_file_bytes: int = 8192 * MIB
    session_s: int = 12 * 3600
    listed_jobs: int = 200


#: Why each default is what it is.
REASONS: dict[str, str] = {
    "upload_bytes": "all files of one job together; a day on a busy bus is less (our choice)",
    "form_bytes": "a note, a key or a text field; anything larger is no form of ours",
    "files_per_job": "captures, sheet and names of one job (our choice)",
    "note_chars": "two pages of text",
    "name_chars": "of a file's name; file systems end at 255 bytes, and a character may take four",
    "body_pause_s": "an upload that sends nothing for this long is given up, so that it holds no place",
    "requests_per_minute": "from one address; far above a person with progress shown every second",
    "uploads_per_minute": "from one address; a folder of fifty captures sent at once passes",
    "key_attempts_per_minute": "wrong keys from one address; the key has 144 random bits, this keeps the log readable",
    "uploads_kept_at_once": "uploads that are written to the disk at a time; more would only wait for it together",
    "waiting_jobs": "a queue longer than this is refused instead of filling the disk",
    "waiting_pages": "walks, comparisons and copies asked for at once; a class opens one page together",
    "watchers": "pages that are told at once how far a reading is; each costs ten looks at the tables a second",
    "free_bytes": "space that must stay free on the disk; below it uploads are refused before they are read",
    "analysis_s": "25 million frames take about 7 s; what takes this long is not a capture of one job",
    "analysis_memory_bytes": "25 million frames take about 0.4 GB",
    "analysis_file_bytes": "the largest file an analysis may write: what a packed capture unpacks to",
    "session_s": "a working day; then the access key is asked for again",
    "listed_jobs": "earlier captures on one page; the search finds the others",
}


def table() -> list[Limit]:
    """All limits with default and reason."""
    return [Limit(item.name, int(str(item.default)), REASONS[item.name]) for item in fields(ServeLimits)]
