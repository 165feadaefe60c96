"""Reading a TOML table of a user: every mistake names file, line and field.

The reader is strict: a key it does not know is a mistake, as a misspelt one would else do nothing.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any, NoReturn, TypeVar

from canlog.errors import SheetError

T = TypeVar("T")


class Sheet:
    """The text of a TOML file and its tables."""

    def __init__(self, path: Path, hint: str) -> None:
        self.path = path
        self.hint = hint
        self.lines: list[str] = []
        try:
            text = path.read_text(encoding="utf-8")
            self.lines = text.splitlines()
            self.values: dict[str, Any] = tomllib.loads(text, parse_float=Decimal)
        except OSError as error:
            raise SheetError(f"{path}: {error.strerror}", hint="check the path") from error
        except UnicodeDecodeError as error:
            raise SheetError(f"{path}: byte {error.start} is no UTF-8", hint="save the file as UTF-8") from error
        except tomllib.TOMLDecodeError as error:
            raise SheetError(f"{path}: {error}", hint="the file must be TOML; strings stand in quotes") from error

    def tables(self, name: str) -> list[Table]:
        """The ``[[name]]`` tables, in order; none when the file has none."""
        found = self.values.get(name, [])
        if not isinstance(found, list) or not all(isinstance(one, dict) for one in found):
            line = self.line_of_key(0, name) or 1
            raise SheetError(f"{self.path}:{line}: {name}: must be written as [[{name}]] tables", hint=self.hint)
        return [Table(self, f"{name}[{number}]", one, self._header(name, number)) for number, one in enumerate(found)]

    def only(self, *known: str) -> None:
        """Refuse any top-level key not in ``known``."""
        for key in self.values:
            if key not in known:
                line = self.line_of_key(0, key) or self._header(key, 0) or 1
                raise SheetError(f"{self.path}:{line}: {key}: not known; there are {', '.join(known)}", hint=self.hint)

    def _header(self, name: str, number: int) -> int:
        """The 1-based line of the ``number``-th ``[[name]]`` (or ``[name]``); 0 when it is written inline."""
        header = re.compile(rf"\s*\[\[?\s*\"?{re.escape(name)}\"?\s*\]\]?")
        rows = [row for row, line in enumerate(self.lines, 1) if header.match(line)]
        return rows[number] if number < len(rows) else 0

    def line_of_key(self, after: int, key: str) -> int:
        """The line of ``key =`` behind line ``after`` and before the next table; 0 when not found."""
        pattern = re.compile(rf"(^|[\s{{,]){re.escape(key)}\s*=")
        for row, line in enumerate(self.lines[after:], after + 1):
            if line.lstrip().startswith("["):
                return 0
            if pattern.search(line):
                return row
        return 0

    def line_of_brace(self, first: int, number: int) -> int:
        """The line of the ``number``-th ``{`` from line ``first`` on; ``first`` when there are fewer."""
        seen = 0
        for row, line in enumerate(self.lines[max(first - 1, 0) :], max(first, 1)):
            seen += line.count("{")
            if seen > number:
                return row
        return first


class Table:
    """One table of a sheet: fields are taken by kind, and what was not taken is a mistake."""

    def __init__(self, sheet: Sheet, name: str, values: dict[str, Any], line: int, *, inline: bool = False) -> None:
        self.sheet = sheet
        self.name = name
        self.values = values
        self.line = line
        self._fields_after = max(line - 1, 0) if inline else line  # fields of an inline table share its line
        self._left = set(values)

    def fail(self, key: str, what: str) -> NoReturn:
        """Refuse a field.

        Raises:
            SheetError: always; with file, line and field.
        """
        line = self.sheet.line_of_key(self._fields_after, key) or self.line
        place = f"{self.sheet.path}:{line}" if line else f"{self.sheet.path}"
        raise SheetError(f"{place}: {self.name}.{key}: {what}", hint=self.sheet.hint)

    def _take(self, key: str, kind: type | tuple[type, ...], words: str, default: Any) -> Any:
        self._left.discard(key)
        if key not in self.values:
            if default is ...:
                self.fail(key, "missing")
            return default
        value = self.values[key]
        kinds = kind if isinstance(kind, tuple) else (kind,)
        if not isinstance(value, kind) or (isinstance(value, bool) and bool not in kinds):
            self.fail(key, f"{_shown(value)} is not {words}")
        return value

    def text(self, key: str, default: Any = ...) -> str:
        """A string that is not empty."""
        value = self._take(key, str, "a text in quotes", default)
        if value == "" and key in self.values:
            self.fail(key, "is empty")
        return str(value)

    def flag(self, key: str, default: bool = False) -> bool:
        """True or false."""
        return bool(self._take(key, bool, "true or false", default))

    def whole(self, key: str, least: int, most: int, default: Any = ...) -> int:
        """A whole number within bounds."""
        value = int(self._take(key, int, "a whole number", default))
        if key in self.values and not least <= value <= most:
            self.fail(key, f"{value} is not within {least} to {most}")
        return value

    def decimal(self, key: str, default: Any = ...) -> Decimal:
        """A number, exactly as written."""
        value = Decimal(self._take(key, (int, Decimal), "a number", default))
        if not _usable(value):
            self.fail(key, f"{value} is not a number of a usable size")
        return value

    def choice(self, key: str, allowed: Sequence[str], default: Any = ...) -> str:
        """One of some words."""
        value = str(self._take(key, str, "a text in quotes", default))
        if key in self.values and value not in allowed:
            self.fail(key, f"{value!r} is not one of {', '.join(allowed)}")
        return value

    def read(self, key: str, parse: Callable[[str], T], words: str) -> T:
        """A text that ``parse`` understands; ``parse`` raises ``ValueError`` otherwise."""
        text = self.text(key)
        try:
            return parse(text)
        except ValueError:
            self.fail(key, f"{text!r} is not {words}")

    def maybe(self, key: str, parse: Callable[[str], T], words: str) -> T | None:
        """As :meth:`read`; None when the field is absent."""
        return self.read(key, parse, words) if key in self.values else None

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of strings; empty when absent."""
        found = self._take(key, list, "a list", [])
        if not all(isinstance(one, str) and one for one in found):
            self.fail(key, "must be a list of texts in quotes")
        return tuple(found)

    def numbers(self, key: str) -> tuple[Decimal, Decimal] | None:
        """A pair ``[lowest, highest]``; None when absent."""
        found = self._take(key, list, "a list [lowest, highest]", None)
        if found is None:
            return None
        if len(found) != 2 or not all(isinstance(one, int | Decimal) and not isinstance(one, bool) for one in found):
            self.fail(key, "must be two numbers, [lowest, highest]")
        low, high = Decimal(found[0]), Decimal(found[1])
        if not _usable(low) or not _usable(high) or not low <= high:
            self.fail(key, f"{low} to {high} is no range")
        return low, high

    def tables(self, key: str) -> list[Table]:
        """A list of inline tables; empty when absent."""
        found = self._take(key, list, "a list of { … } tables", [])
        if not all(isinstance(one, dict) for one in found):
            self.fail(key, "must be a list of { … } tables")
        first = self.sheet.line_of_key(self.line, key) or self.line
        lines = [self.sheet.line_of_brace(first, number) for number in range(len(found))]
        return [
            Table(self.sheet, f"{self.name}.{key}[{number}]", one, line, inline=True)
            for number, (one, line) in enumerate(zip(found, lines, strict=True))
        ]

    def table(self, key: str) -> Table | None:
        """An inline table; None when absent."""
        found = self._take(key, dict, "a { … } table", None)
        if found is None:
            return None
        line = self.sheet.line_of_key(self.line, key) or self.line
        return Table(self.sheet, f"{self.name}.{key}", found, line, inline=True)

    def pairs(self, key: str) -> dict[str, str]:
        """A table of texts; empty when absent."""
        found = self._take(key, dict, "a { … } table", {})
        if not all(isinstance(one, str) for one in found.values()):
            self.fail(key, "must have texts in quotes as values")
        return dict(found)

    def finish(self) -> None:
        """Refuse fields that nobody asked for."""
        for key in sorted(self._left):
            self.fail(key, "not known here")


def _usable(value: Decimal) -> bool:
    """Finite, and of a size that arithmetic with 32-bit numbers stands."""
    return value.is_finite() and (not value or -30 <= value.adjusted() <= 30)


def _shown(value: object) -> str:
    return repr(str(value)) if isinstance(value, str | Decimal) else repr(value)


_HEX = re.compile(r"[0-9A-Fa-f]+")


def hex_number(text: str) -> int:
    """A number in hex digits only.

    Raises:
        ValueError: anything else (signs, blanks, ``0x``).
    """
    if not _HEX.fullmatch(text):
        raise ValueError(text)
    return int(text, 16)


def hex_bytes(text: str) -> bytes:
    """Bytes in hex digits, at least one; blanks between bytes are allowed.

    Raises:
        ValueError: anything else.
    """
    data = bytes.fromhex(text)
    if not data:
        raise ValueError(text)
    return data


def hex_range(text: str) -> tuple[int, int]:
    """``4A10-4A16`` or ``4A10`` as first and last, both included; 4 digits each, or 2 for numbers of one byte.

    Raises:
        ValueError: anything else, or the last below the first.
    """
    match = re.fullmatch(r"((?:[0-9A-Fa-f]{2}){1,2})(?:\s*-\s*([0-9A-Fa-f]+))?", text)
    if match is None or len(match[2] or match[1]) != len(match[1]):
        raise ValueError(text)
    first, last = int(match[1], 16), int(match[2] or match[1], 16)
    if last < first:
        raise ValueError(text)
    return first, last
