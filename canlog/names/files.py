"""A names file of any form: TOML, ODX or PDX, DBC; told apart by content, never by its name."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import reduce
from pathlib import Path
from typing import Final

from canlog.errors import SheetError
from canlog.names.tables import Names, load_names

#: Larger files are refused: these libraries need many times the size in memory.
MOST_BYTES: Final = 64 * 1024**2
_ZIP: Final = b"PK\x03\x04"
_BYTE_ORDER_MARKS: Final = (b"\xef\xbb\xbf", b"\xff\xfe", b"\xfe\xff")
_DBC: Final = re.compile(rb'^(?:VERSION\s+"|NS_\s*:|BU_\s*:|BO_\s+\d+\s)', re.MULTILINE)
_HEAD_BYTES: Final = 4096


def read_all(paths: Sequence[str | Path], before: Names) -> Names:
    """The names of several files. Later ones win, and what a person wrote in TOML wins over any description.

    Raises:
        SheetError: as :func:`read_names`.
    """
    found = [read_names(path) for path in paths]
    return reduce(Names.merge, sorted(found, key=lambda names: not names.is_description), before)


def read_names(path: str | Path) -> Names:
    """The names in a file.

    Raises:
        SheetError: it cannot be read, is too large, or something in it is wrong; names file and line, and the field
            as far as there is one.
    """
    path = Path(path)
    try:
        size = path.stat().st_size
        with path.open("rb") as file:
            head = file.read(_HEAD_BYTES)
    except OSError as error:
        raise SheetError(f"{path}: {error.strerror}", hint="check the path") from error
    is_odx, is_dbc = _is_odx(head), _DBC.search(head) is not None
    if not is_odx and not is_dbc:
        return load_names(path)
    if size > MOST_BYTES:
        what = f"{path}: {size:,} bytes are more than {MOST_BYTES:,}"
        raise SheetError(what, hint="keep what concerns the modules of this job")
    if is_odx:
        from canlog.names.odx import load_odx

        return load_odx(path)
    from canlog.names.dbc import load_dbc

    return load_dbc(path)


def _is_odx(head: bytes) -> bool:
    utf8, *utf16 = _BYTE_ORDER_MARKS
    return head.startswith((_ZIP, *utf16)) or head.removeprefix(utf8).lstrip().startswith(b"<")
