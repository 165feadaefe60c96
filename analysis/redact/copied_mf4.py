"""An MF4 bus log with other bytes in its frames.

A record is found again by its id and its bytes, in order. Data of groups that hold no CAN frames (measured values,
places, other buses) are overwritten with zeros; what the file says of itself loses known values.

Source: names of channels in bus logs as in python-can 4.6.1 (can/io/mf4.py); blocks as in ``mf4_blocks``.
"""

from __future__ import annotations

import re
import struct
from collections import defaultdict, deque
from typing import Final

from analysis.redact.copied_text import HINT
from analysis.redact.mf4_blocks import HEADER_AT, Block, Channel, Mf4File
from analysis.redact.plan import Plan
from analysis.redact.written_values import WrittenValues
from canlog.capture.identifiers import LARGEST_29_BIT
from canlog.errors import CanlogError

_GROUPS, _ATTACHMENTS = 0, 3  # links of the header
_RECORDS, _DATA = 1, 2  # of a data group
_CHANNELS: Final = 1  # of a channel group
_FRAMES: Final = ("CAN_DataFrame", "CAN_ErrorFrame", "CAN_RemoteFrame")
_ANY_LENGTH: Final = 1  # kind of a channel
#: Who and where, among what a file says of itself (ASAM MDF 4.1, common properties and file history, M).
_PERSONS: Final = re.compile(rb"(<(?:e name=\"(?:author|department|user)\"[^>]*|user_name)>)([^<]+)")
_Wanted = dict[tuple[int, bytes], deque[int]]


def copied_mf4(raw: bytes, plan: Plan, values: WrittenValues) -> bytes:
    """The bytes of the copy.

    Args:
        raw: the original.
        plan: what frames hold.
        values: for its texts.

    Raises:
        CanlogError: a file that was never ended, that holds other files, or whose records are mixed.
    """
    if not raw.startswith(b"MDF "):
        raise CanlogError("an MF4 file that its logger never ended", hint=HINT)
    file = Mf4File(bytearray(raw))
    header = file.block(HEADER_AT)
    if header.links[_ATTACHMENTS]:
        raise CanlogError("an MF4 file with other files in it", hint=HINT)
    rows: _Wanted = defaultdict(deque)
    for row in range(len(plan.table)):
        rows[int(plan.table.can_id[row]), plan.table.data(row)].append(row)
    for group in file.chain(header.links[_GROUPS]):
        _copy_group(file, group, plan, rows)
    for block in file.texts():
        content = values.in_binary(bytes(file.raw[block.start : block.end]))
        file.raw[block.start : block.end] = _PERSONS.sub(lambda one: one[1] + b"-" * len(one[2]), content)
    return bytes(file.raw)


def _copy_group(file: Mf4File, group: Block, plan: Plan, rows: _Wanted) -> None:
    records = list(file.chain(group.links[_RECORDS]))
    if len(records) != 1 or file.raw[group.start]:
        raise CanlogError("an MF4 file with records of several kinds among one another", hint=HINT)
    channels = file.channels(records[0].links[_CHANNELS])
    frame = next((name for name in _FRAMES if name in channels), None)
    link_at = group.link_at(_DATA)
    if frame is None:
        _empty(file, link_at, channels)
    elif frame == _FRAMES[0]:
        _copy_frames(file, link_at, _record_bytes(file, records[0]), channels, plan, rows)


def _empty(file: Mf4File, link_at: int, channels: dict[str, Channel]) -> None:
    for at in (link_at, *(one.data_at for one in channels.values() if one.kind == _ANY_LENGTH)):
        file.put(at, bytes(len(file.data(at))))


def _record_bytes(file: Mf4File, records: Block) -> int:
    sizes: tuple[int, int] = struct.unpack_from("<II", file.raw, records.start + 24)
    return sum(sizes)


def _copy_frames(
    file: Mf4File, link_at: int, size: int, channels: dict[str, Channel], plan: Plan, rows: _Wanted
) -> None:  # fmt: skip
    content = channels[f"{_FRAMES[0]}.DataBytes"]
    has_any_length = content.kind == _ANY_LENGTH
    data = bytearray(file.data(link_at))
    apart = bytearray(file.data(content.data_at)) if has_any_length else bytearray()
    for record in range(0, len(data) - size + 1, size if size else 1):
        can_id = _number(data, record, channels[f"{_FRAMES[0]}.ID"]) & LARGEST_29_BIT
        length = _number(data, record, channels[f"{_FRAMES[0]}.DataLength"])
        there, start = (apart, _number(data, record, content) + 4) if has_any_length else (data, record + content.byte)
        room = int.from_bytes(apart[start - 4 : start], "little") if has_any_length else content.bits // 8
        old = bytes(there[start : start + min(length, room)])
        waiting = rows.get((can_id, old))
        new = plan.data(waiting.popleft()) if waiting else b""  # else damaged: nothing of it stays
        there[start : start + room] = new.ljust(room, b"\0")
    file.put(link_at, bytes(data))
    if has_any_length:
        file.put(content.data_at, bytes(apart))


def _number(data: bytearray, record: int, channel: Channel) -> int:
    """An unsigned number, Intel byte order."""
    end = channel.byte + (channel.bit + channel.bits + 7) // 8
    value = int.from_bytes(data[record + channel.byte : record + end], "little")
    return value >> channel.bit & (1 << channel.bits) - 1
