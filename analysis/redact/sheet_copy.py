"""A job sheet and names files with the replacements of their captures: VIN and values change, all else stays."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from analysis.redact.plan import Plan
from analysis.redact.secret_parts import Redactor
from analysis.sheet.jobsheet import JobSheet


def sheet_copy(text: str, sheet: JobSheet, plans: Sequence[Plan], redactor: Redactor) -> str:
    """The text of the sheet's copy; values stand in it as text (VIN, software) or as hex."""
    new = {old: put for plan in plans for old, put in plan.vins.items()}
    octets = {old: put for plan in plans for old, put in plan.values.items()}
    for module in sheet.modules:
        for asked in (*module.trims, *module.configuration):
            if asked.value is not None:
                kind, put = redactor.record(module.label, asked.identifier, asked.value)
                octets |= {asked.value: put} if kind else {}
    new |= {old.decode(): put.decode() for old, put in octets.items() if _is_text(old) and _is_text(put)}
    return _with_hex(_with_texts(text, new), octets)


def names_copy(text: str, plans: Sequence[Plan]) -> str:
    """The text of a names file's copy: known VINs and values in it are replaced, wherever they stand."""
    octets = {old: put for plan in plans for old, put in plan.values.items()}
    new = {old: put for plan in plans for old, put in plan.vins.items()}
    new |= {old.decode(): put.decode() for old, put in octets.items() if _is_text(old) and _is_text(put)}
    return _with_hex(_with_texts(text, new), octets)


def _is_text(data: bytes) -> bool:
    return data.isascii() and data.decode("ascii").isprintable()


def _with_texts(text: str, new: Mapping[str, str]) -> str:
    if not new:
        return text
    pattern = "|".join(re.escape(one) for one in sorted(new, key=len, reverse=True))
    return re.sub(pattern, lambda match: new[match[0]], text)


def _with_hex(text: str, new: Mapping[bytes, bytes]) -> str:
    """Values in quotes, with or without blanks between their bytes."""

    def put(match: re.Match[str]) -> str:
        try:
            value = bytes.fromhex(match[1])
        except ValueError:
            return match[0]
        return f'"{new[value].hex().upper()}"' if value in new else match[0]

    return re.sub(r'"([0-9A-Fa-f ]+)"', put, text)
