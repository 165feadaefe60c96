"""Files that people give in place of a capture, and where they belong."""

from __future__ import annotations

import re

_TABLE = re.compile(rb"^\[\[?([a-z_]+)\]\]?[ \t]*(?:#.*)?$", re.MULTILINE)
_TOML_LINE = re.compile(rb"\[|[A-Za-z_]+ *=")
_SHEET_KEY = re.compile(rb"^(?:programming|trims|configuration|clear_faults)[ \t]*=", re.MULTILINE)
_REPORT = re.compile(rb'"schema"\s*:\s*"canlog-report/')


def known_as(head: bytes) -> tuple[str, str] | None:
    """What a file is that is no capture, and a hint; None where it is not known.

    >>> known_as(b'[vehicle]\\nvin = "..."')
    ('a job sheet, not a capture', 'give it with --job')
    """
    lines = [line.strip() for line in head.splitlines()]
    first = next((line for line in lines if line and not line.startswith(b"#")), b"")
    tables = set(_TABLE.findall(b"\n".join(lines))) if _TOML_LINE.match(first) else set()
    if b"vehicle" in tables or (b"module" in tables and _SHEET_KEY.search(head)):
        return "a job sheet, not a capture", "give it with --job"
    if tables & {b"module", b"identifier", b"routine"}:
        return "a names file, not a capture", "give it with --names"
    if _REPORT.search(head):
        return "a report of canlog, not a capture", "give the capture that it was made from"
    return None
