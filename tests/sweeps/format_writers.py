"""One session written in every form that canlog reads, by writers that share no code with its readers.

``python tests/sweeps/format_writers.py`` writes fixtures/formats again: ``clean`` is the session of
fixtures/uds11-all-good-short, ``damaged`` the same with five bytes of its 50th line overwritten and its
last third cut off (binary forms: only cut; SQLite by a tenth, for its pages are few).

python-can's writers are used where it has one; the others follow the published forms: candump.c (can-utils
at 95aae6b), the serial-line form as python-can 4.6.1 sends it (can/interfaces/slcan.py), draft-ietf-opsawg-pcap
and -pcapng with LINKTYPE_CAN_SOCKETCAN. MF4 and SQLite hold the time of writing or the library's version:
written again they differ in bytes, not in frames.
"""

from __future__ import annotations

import struct
import tempfile
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final, NamedTuple

import can

ROOT: Final = Path(__file__).parents[2]
FOLDER: Final = ROOT / "fixtures" / "formats"
SESSION: Final = ROOT / "fixtures" / "uds11-all-good-short" / "capture.log"
#: Ids of the tester in that session; frames of others are received.
TESTER: Final = frozenset((0x7E0, 0x7DF, 0x7E1))


class Row(NamedTuple):
    """A frame of the session."""

    time_us: int
    can_id: int
    data: bytes


def session() -> list[Row]:
    """The frames of the session, parsed here and not by canlog."""
    rows = []
    for line in SESSION.read_text().splitlines():
        stamp, _, frame = line.split()
        seconds, micros = stamp.strip("()").split(".")
        can_id, data = frame.split("#")
        rows.append(Row(int(seconds) * 10**6 + int(micros), int(can_id, 16), bytes.fromhex(data)))
    return rows


Write = Callable[[Sequence[Row]], bytes]


def by_python_can(writer: Callable[..., Any], suffix: str, **options: Any) -> Write:
    def write(rows: Sequence[Row]) -> bytes:
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / f"capture{suffix}"
            with writer(path, **options) as log:
                for row in rows:
                    log.on_message_received(message_of(row))
            return path.read_bytes()

    return write


def message_of(row: Row) -> can.Message:
    return can.Message(
        timestamp=row.time_us / 1e6, arbitration_id=row.can_id, is_extended_id=row.can_id > 0x7FF, data=row.data,
        channel=0, is_rx=row.can_id not in TESTER,
    )  # fmt: skip


def trc_1_1(rows: Sequence[Row]) -> bytes:
    """TRC 1.1 by hand: python-can writes only 2.1 (and 1.0)."""
    head = [";$FILEVERSION=1.1", ";$STARTTIME=46350.875", ";   Start time: 24.11.2026 21:00:00.000", ";"]
    body = [
        f"{number:6})  {(row.time_us - rows[0].time_us) / 1000:11.1f}  {'Tx' if row.can_id in TESTER else 'Rx'}  "
        f"   {row.can_id:04X}  {len(row.data)}  {row.data.hex(' ').upper()} "
        for number, row in enumerate(rows, start=1)
    ]
    return "\r\n".join([*head, *body, ""]).encode()


def screen(rows: Sequence[Row]) -> bytes:
    """candump -ta: the screen form with absolute time."""
    return "".join(
        f" ({row.time_us // 10**6:010d}.{row.time_us % 10**6:06d})  can0  {row.can_id:03X}   "
        f"[{len(row.data)}]  {row.data.hex(' ').upper()}\n"
        for row in rows
    ).encode()


def slcan(rows: Sequence[Row]) -> bytes:
    """Serial-line text with time stamps switched on."""
    lines = ["S6", "Z1", "O"]
    lines += [
        f"t{row.can_id:03X}{len(row.data)}{row.data.hex().upper()}{row.time_us // 1000 % 60000:04X}" for row in rows
    ]
    return "".join(line + "\r" for line in lines).encode()


def id_data(rows: Sequence[Row]) -> bytes:
    """Id and bytes as people type them."""
    return "".join(f"{row.can_id:03X} {row.data.hex(' ').upper()}\n" for row in rows).encode()


def printed(rows: Sequence[Row]) -> bytes:
    """What a notebook prints for a python-can message: a form that no reader describes."""
    return "".join(f"{message_of(row)}\n" for row in rows).encode()


def pcap(rows: Sequence[Row]) -> bytes:
    """Packet capture, microseconds, little endian file, ids big endian as the link type says."""
    parts = [struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 262144, 227)]
    for row in rows:
        frame = struct.pack(">IB3x", row.can_id, len(row.data)) + row.data.ljust(8, b"\0")
        parts.append(struct.pack("<IIII", row.time_us // 10**6, row.time_us % 10**6, len(frame), len(frame)) + frame)
    return b"".join(parts)


def pcapng(rows: Sequence[Row]) -> bytes:
    """pcapng, nanoseconds, big endian file, interface can0, direction in the packets' flags."""

    def option(code: int, value: bytes) -> bytes:
        return struct.pack(">HH", code, len(value)) + value + b"\0" * (-len(value) % 4)

    def block(kind: int, body: bytes) -> bytes:
        return struct.pack(">II", kind, len(body) + 12) + body + struct.pack(">I", len(body) + 12)

    parts = [
        block(0x0A0D0D0A, struct.pack(">IHHq", 0x1A2B3C4D, 1, 0, -1)),
        block(1, struct.pack(">HHI", 227, 0, 0) + option(2, b"can0") + option(9, b"\x09") + option(0, b"")),
    ]
    for row in rows:
        frame = struct.pack(">IB3x", row.can_id, len(row.data)) + row.data
        time_ns = row.time_us * 1000
        head = struct.pack(">IIIII", 0, time_ns >> 32, time_ns & 0xFFFFFFFF, len(frame), len(frame))
        flags = option(2, struct.pack(">I", 2 if row.can_id in TESTER else 1)) + option(0, b"")
        parts.append(block(6, head + frame + b"\0" * (-len(frame) % 4) + flags))
    return b"".join(parts)


class Written(NamedTuple):
    """A form, the file it is written to, and who writes it."""

    name: str  # of the reader
    file: str
    write: Write
    is_text: bool = True
    exact: bool = True  # written again it is the same to the byte
    kept: float = 2 / 3  # of its bytes when it is damaged


FORMS: Final = (
    Written("candump-log", "candump.log", by_python_can(can.CanutilsLogWriter, ".log")),
    Written("candump-screen", "screen.txt", screen),
    Written("asc", "session.asc", by_python_can(can.ASCWriter, ".asc"), exact=False),  # the date is local time
    Written("trc", "session.trc", by_python_can(can.TRCWriter, ".trc"), exact=False),  # it names its own path
    Written("trc", "version11.trc", trc_1_1),
    Written("slcan", "serial.txt", slcan),
    Written("id-data", "typed.txt", id_data),
    Written("csv", "session.csv", by_python_can(can.CSVWriter, ".csv")),
    Written("learned-text", "printed.txt", printed),
    Written("blf", "session.blf", by_python_can(can.BLFWriter, ".blf", max_container_size=2048), is_text=False),
    Written("pcap", "session.pcap", pcap, is_text=False),
    Written("pcap", "session.pcapng", pcapng, is_text=False),
    Written("mf4", "session.mf4", by_python_can(can.MF4Writer, ".mf4"), is_text=False, exact=False),
    Written("sqlite", "session.db", by_python_can(can.SqliteWriter, ".db"), is_text=False, exact=False, kept=0.9),
)


def damage(content: bytes, *, is_text: bool, kept: float = 2 / 3) -> bytes:
    """The last third (or so) cut off; in text also five bytes overwritten in the middle of the 50th line."""
    content = content[: int(len(content) * kept)]
    if not is_text:
        return content
    end = b"\n" if b"\n" in content else b"\r"
    lines = content.split(end)
    at = len(lines[49]) // 2
    lines[49] = lines[49][:at] + b"?\xff!?~" + lines[49][at + 5 :]
    return end.join(lines)


def main() -> None:
    rows = session()
    for kind in ("clean", "damaged"):
        (FOLDER / kind).mkdir(parents=True, exist_ok=True)
    for form in FORMS:
        content = form.write(rows)
        (FOLDER / "clean" / form.file).write_bytes(content)
        (FOLDER / "damaged" / form.file).write_bytes(damage(content, is_text=form.is_text, kept=form.kept))


if __name__ == "__main__":
    main()
