"""A binary capture with other data bytes: the same records, sizes and times.

Packet captures and MF4 are changed in place (:mod:`analysis.redact.copied_packets`, :mod:`analysis.redact.copied_mf4`).
BLF packs its objects with zlib: each container is unpacked, changed and packed again, so that its size and what the
file's header says of sizes are written anew. SQLite changes its own rows. Text in other places of the file (comments,
markers) loses known values.

Source: as in ``canlog.capture.pcap`` and ``canlog.capture.blf``; SQLite's ``secure_delete`` overwrites what is replaced
(sqlite.org/pragma.html).
"""

from __future__ import annotations

import sqlite3
import struct
import tempfile
import zlib
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, suppress
from pathlib import Path
from typing import Final

from analysis.redact.copied_mf4 import copied_mf4
from analysis.redact.copied_packets import copied_packets
from analysis.redact.copied_text import HINT
from analysis.redact.plan import Plan
from analysis.redact.replacements import Replacements
from analysis.redact.written_values import WrittenValues
from canlog.capture.blf import DATA_AT, ID_AT
from canlog.capture.identifiers import LARGEST_29_BIT
from canlog.errors import CanlogError
from canlog.frames import FrameFlag

_MARK: Final = b"LOBJ"
_COLUMNS: Final = ("ts", "arbitration_id", "extended", "remote", "error", "dlc", "data")  # as python-can 4.6.1 has them
_OBJECT: Final = struct.Struct("<4sHHLL")
_CONTAINER: Final = struct.Struct("<H6xL4x")
_CONTAINER_KIND, _STORED, _DEFLATED = 10, 0, 2


def copied_binary(form: str, raw: bytes, plan: Plan, values: WrittenValues, replacements: Replacements) -> bytes:
    """The bytes of the copy.

    Raises:
        CanlogError: a form that is not copied, or a file in which a frame's bytes are not where they should be.
    """
    if form == "pcap":
        return copied_packets(raw, values.in_binary(raw), plan, replacements)
    if form == "mf4":
        return copied_mf4(raw, plan, values)
    copier = _COPIERS.get(form)
    if copier is None:
        raise CanlogError(f"a copy in the form {form} is not made", hint=HINT)
    return copier(raw, plan, values)


# BLF


def _blf(raw: bytes, plan: Plan, values: WrittenValues) -> bytes:
    header_bytes = int.from_bytes(raw[4:8], "little")
    pieces = list(_pieces(raw, header_bytes))
    objects = bytearray(b"".join(content for content, _ in pieces))
    _with_new_data(objects, plan, values)
    changed = bytes(objects)
    out, at = [], 0
    for content, pack in pieces:
        out.append(pack(changed[at : at + len(content)]))
        at += len(content)
    body = b"".join(out)
    return _blf_header(raw[:header_bytes], len(body) - (len(raw) - header_bytes)) + body


def _blf_header(header: bytes, grown: int) -> bytes:
    """The size of the file is another one; that of what is in it stays."""
    file_bytes = int.from_bytes(header[16:24], "little")
    new = file_bytes + grown if file_bytes else 0  # 0: the logger never ended the file
    return header[:16] + new.to_bytes(8, "little") + header[24:]


def _pieces(raw: bytes, at: int) -> Iterator[tuple[bytes, Callable[[bytes], bytes]]]:
    """What the file holds, in order: unpacked, and how to write it again."""
    plain = at
    while (mark := raw.find(_MARK, at)) >= 0 and mark + _OBJECT.size <= len(raw):
        _, _, _, size, kind = _OBJECT.unpack_from(raw, mark)
        whole = raw[mark : mark + size]
        at = mark + max(size, len(_MARK))
        if kind != _CONTAINER_KIND or min(size, len(whole)) < _OBJECT.size + _CONTAINER.size:
            continue
        yield raw[plain:mark], _as_it_is
        yield _container(whole) if len(whole) == size else _cut_container(whole)
        padding = size % 4
        plain = at + padding if not raw[at : at + padding].strip(b"\0") else at
    yield raw[plain:], _as_it_is


def _as_it_is(content: bytes) -> bytes:
    return content


def _container(whole: bytes) -> tuple[bytes, Callable[[bytes], bytes]]:
    method, _ = _CONTAINER.unpack_from(whole, _OBJECT.size)
    head = _OBJECT.size + _CONTAINER.size
    if method == _STORED:
        return whole[head:], lambda content: whole[:head] + content + bytes(len(whole) % 4)
    try:
        content = zlib.decompress(whole[head:]) if method == _DEFLATED else None
    except zlib.error:
        content = None
    if content is None:  # damaged: nothing in it is read, and nothing of it goes into the copy
        return b"", lambda _: whole[:head] + bytes(len(whole) - head) + bytes(len(whole) % 4)

    def pack(changed: bytes) -> bytes:
        packed = zlib.compress(changed)
        size = head + len(packed)
        return whole[:8] + size.to_bytes(4, "little") + whole[12:head] + packed + bytes(size % 4)

    return content, pack


def _cut_container(whole: bytes) -> tuple[bytes, Callable[[bytes], bytes]]:
    """The last one of a file that was cut: what can be unpacked of it is read, and it stays cut."""
    method, _ = _CONTAINER.unpack_from(whole, _OBJECT.size)
    head = _OBJECT.size + _CONTAINER.size
    if method == _STORED:
        return whole[head:], lambda content: whole[:head] + content
    unpacking = zlib.decompressobj()
    content = b""
    with suppress(zlib.error):  # as far as it goes
        for at in range(head, len(whole)):
            content += unpacking.decompress(whole[at : at + 1])

    def pack(changed: bytes) -> bytes:
        packing = zlib.compressobj()
        packed = packing.compress(changed) + packing.flush(zlib.Z_SYNC_FLUSH)
        size = max(head + len(packed) + 1, int.from_bytes(whole[8:12], "little"))
        return whole[:8] + size.to_bytes(4, "little") + whole[12:head] + packed

    return content, pack


def _with_new_data(objects: bytearray, plan: Plan, values: WrittenValues) -> None:
    """Put the new bytes into the objects of frames: in their order, and into copies that the reader passes over."""
    known = {(int(plan.table.can_id[row]), plan.table.data(row)): plan.data(row) for row in plan.changed_rows()}
    row = at = 0
    while (mark := objects.find(_MARK, at)) >= 0 and mark + _OBJECT.size <= len(objects):
        _, header_bytes, _, size, kind = _OBJECT.unpack_from(objects, mark)
        at = mark + max(size, len(_MARK))
        if kind not in DATA_AT:
            objects[mark + _OBJECT.size : at] = values.in_binary(bytes(objects[mark + _OBJECT.size : at]))
            continue
        body = mark + header_bytes
        can_id = int.from_bytes(objects[body + ID_AT : body + ID_AT + 4], "little") & LARGEST_29_BIT
        start = body + DATA_AT[kind]
        if row < len(plan.table) and _is_at(objects, start, can_id, plan, row):
            new = plan.data(row)
            row += 1
        else:
            new = next(
                (
                    put
                    for (one, old), put in known.items()
                    if one == can_id and objects[start : start + len(old)] == old
                ),
                b"",
            )
        objects[start : start + len(new)] = new


def _is_at(objects: bytearray, start: int, can_id: int, plan: Plan, row: int) -> bool:
    data = plan.table.data(row)
    is_error = int(plan.table.flags[row]) & FrameFlag.ERROR
    return (is_error or can_id == int(plan.table.can_id[row])) and objects[start : start + len(data)] == data


# SQLite


def _sqlite(raw: bytes, plan: Plan, _: WrittenValues) -> bytes:
    with tempfile.TemporaryDirectory(prefix="canlog-") as folder:
        path = Path(folder) / "copy.db"
        path.write_bytes(raw)
        try:
            with closing(sqlite3.connect(path)) as database:
                _change_rows(database, plan)
        except sqlite3.Error as error:
            raise CanlogError(f"an SQLite file that cannot be changed ({error})", hint=HINT) from error
        return path.read_bytes()


def _change_rows(database: sqlite3.Connection, plan: Plan) -> None:
    tables = [name for (name,) in database.execute("select name from sqlite_master where type = 'table'")]
    others = [name for name in tables if name != "messages" and not name.startswith("sqlite_")]
    if others:
        raise CanlogError(f"it holds other tables as well: {', '.join(others)}", hint=HINT)
    more = [name for _, name, *_ in database.execute("pragma table_info(messages)") if name not in _COLUMNS]
    if more:
        raise CanlogError(f"it holds other columns as well: {', '.join(more)}", hint=HINT)
    database.execute("pragma secure_delete = on")
    database.execute("pragma journal_mode = memory")
    for row in plan.changed_rows():
        line = int(plan.table.line[row])
        database.execute("update messages set data = ? where rowid = ?", (plan.data(row), line))
    database.commit()
    if database.execute("pragma freelist_count").fetchone()[0]:
        database.execute("vacuum")  # free pages may hold rows that were deleted before


_COPIERS: Final[Mapping[str, Callable[[bytes, Plan, WrittenValues], bytes]]] = {"blf": _blf, "sqlite": _sqlite}
