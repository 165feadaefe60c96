"""``canlog list``: the levels below the report, as rows.

*exchanges* are those of the report; *messages* are every transfer of every link, single frames included, in
order of completion; *frames* is everything that was recorded.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple, cast

import numpy as np
import numpy.typing as npt

from analysis.commands.rows import Columns, Row, Table
from analysis.exchange_words import tell
from analysis.report.lines import printable, shorten_middle
from analysis.report.wording import seconds
from analysis.secrecy import MASK, is_secret, masked_hex
from analysis.spoken import judge_links
from canlog.capture.capture import Capture
from canlog.capture.ip import read_datagram
from canlog.capture.source import Progress
from canlog.frames import FrameFlag, FrameTable, TimeKind
from canlog.isotp.addressing import Addressing, Direction, Link, id_text, parse_link
from canlog.isotp.messages import Message
from canlog.names.nrc import nrcs
from canlog.read import read_capture, rebuild_surveyed, survey_links
from canlog.services.decode import name_of
from canlog.services.dialects import UDS
from canlog.services.matching import is_pending
from canlog.services.negative import NEGATIVE_RESPONSE

EXCHANGE_COLUMNS: Final[Columns] = {
    "number": "int", "capture": "int", "link": "text", "time_ns": "int", "service": "text", "request": "text",
    "response": "text", "pending": "int", "outcome": "text", "nrc": "text", "lines": "lines", "label": "text",
    "told": "text",
}  # fmt: skip
MESSAGE_COLUMNS: Final[Columns] = {
    "capture": "int", "link": "text", "channel": "text", "can_id": "text", "address": "text", "direction": "text",
    "time_ns": "int", "end_ns": "int", "lines": "lines", "complete": "bool", "reason": "text", "length": "int",
    "data": "text", "missing": "text", "told": "text",
}  # fmt: skip
FRAME_COLUMNS: Final[Columns] = {
    "capture": "int", "line": "int", "channel": "text", "time_ns": "int", "can_id": "text", "kind": "text",
    "length": "int", "data": "text",
}  # fmt: skip


#: What a person calls the columns.
EXCHANGE_HEAD: Final = ("no.", "seconds", "module", "what was said", "where", "request -> answer")
MESSAGE_HEAD: Final = ("seconds", "channel", "id", "direction", "bytes", "data", "what it is", "where")
FRAME_HEAD: Final = ("line", "seconds", "channel", "id", "bytes", "data", "kind")

#: Where the code of a negative response stands, behind 7F and the service.
CODE_AT: Final = 2
#: Error frames carry their class bits where a 29-bit id would stand. Plain ints: enum members are slow.
_LONG_ID: Final = int(FrameFlag.EXTENDED | FrameFlag.ERROR)
_REMOTE: Final = int(FrameFlag.REMOTE)
_PACKET: Final = int(FrameFlag.PACKET)
_NOT_PLAIN: Final = int(FrameFlag.ERROR | FrameFlag.REMOTE | FrameFlag.FD | FrameFlag.PACKET)
#: With less room than this the bytes of an exchange are left out.
_LEAST_BYTES: Final = 20
#: Time of the first frame by capture: text counts seconds from it, as the report does.
Starts = dict[int, int | None]


class Request(NamedTuple):
    """What ``canlog list`` was asked for."""

    captures: Sequence[str]
    links: Sequence[str] = ()
    names: Sequence[str] = ()  # files
    secrets: bool = False
    columns: str = ""  # of a table without a header
    width: int | None = None  # of the terminal; None: nothing is shortened
    progress: Progress | None = None


def list_exchanges(request: Request) -> Table:
    """Requests with their answers."""
    from analysis import analyse

    found = analyse(
        request.captures, names=request.names, links=request.links, columns=request.columns, progress=request.progress
    )
    report, record = found.to_dict(secrets=request.secrets), found.record
    labels = {story.link.key: story.label for story in record.stories if story.named}
    told = {one.number: tell(one, labels.get(one.link.key, ""), record) for one in record.exchanges}
    wishes = [parse_link(key) for key in request.links]
    rows = [
        {**row, "label": labels.get(row["link"]), "told": told[row["number"]]}
        for row in cast(list[Row], report["exchanges"])
        if not wishes or any(is_meant(wish, row["link"]) for wish in wishes)
    ]
    starts = {item["number"]: item["first_time_ns"] for item in report["captures"]}
    channels = {item["link"].partition(":")[0] for item in rows}
    only = f"{channels.pop()}:" if len(channels) == 1 else ""
    return Table(
        EXCHANGE_COLUMNS,
        rows,
        lambda row: _exchange_text(row, starts, only, request.width),
        EXCHANGE_HEAD,
        lambda row: _exchange_cells(row, starts, only),
    )


def list_messages(request: Request) -> Table:
    """Rebuilt messages of every link, or of the links named."""
    starts: Starts = {}
    return Table(
        MESSAGE_COLUMNS,
        _message_rows(request, starts),
        lambda row: _message_text(row, starts, request.width),
        MESSAGE_HEAD,
        lambda row: _message_cells(row, starts),
    )


def list_frames(request: Request) -> Table:
    """Every frame, or those of the links named."""
    starts: Starts = {}
    return Table(
        FRAME_COLUMNS,
        _frame_rows(request, starts),
        lambda row: _frame_text(row, starts),
        FRAME_HEAD,
        lambda row: _frame_cells(row, starts),
    )


LEVELS: Final[Mapping[str, Callable[[Request], Table]]] = {
    "exchanges": list_exchanges,
    "messages": list_messages,
    "frames": list_frames,
}


def _open_all(request: Request) -> list[Capture]:
    """Every capture is opened before the first row is written: a bad one must not be found half-way."""
    return [read_capture(path, progress=request.progress, columns=request.columns) for path in request.captures]


def _message_rows(request: Request, starts: Starts) -> Iterator[Row]:
    wishes = [parse_link(key) for key in request.links]
    for number, capture in enumerate(_open_all(request), start=1):
        surveyed, links = survey_links(capture, wishes)
        starts[number] = surveyed.summary.first_time_ns
        has_time = surveyed.summary.time_kind is not TimeKind.NONE
        messages = rebuild_surveyed(capture, surveyed, links)
        dialects = {key: guess.dialect for key, guess in judge_links(messages).items()}
        for message in messages:
            if not wishes or any(is_meant(wish, message.link.key) for wish in wishes):
                told = service_told(message, dialects.get(message.link.key, UDS))
                row = message_row(number, message, has_time=has_time, secrets=request.secrets)
                yield {**row, "told": told}


def _frame_rows(request: Request, starts: Starts) -> Iterator[Row]:
    wishes = [parse_link(key) for key in request.links]
    for number, capture in enumerate(_open_all(request), start=1):
        surveyed, links = survey_links(capture, wishes)
        starts[number] = surveyed.summary.first_time_ns
        has_time = surveyed.summary.time_kind is not TimeKind.NONE
        messages = () if request.secrets else rebuild_surveyed(capture, surveyed, links)
        secret = SecretFrames(messages, hides_packets=not request.secrets)
        for table in capture.chunks():
            wanted = table.take(_on_links(table, wishes)) if wishes else table
            yield from frame_rows(number, wanted, has_time=has_time, secret=secret)


def is_meant(wish: Link, key: str) -> bool:
    """The link a user named; without a channel on any channel."""
    return wish.key == (key if wish.channel else f":{key.partition(':')[2]}")


def _on_links(table: FrameTable, wishes: Iterable[Link]) -> npt.NDArray[np.bool_]:
    """shape (n,), bool: the frame has one of a link's ids and, where the link has one, its address byte."""
    found = np.zeros(len(table), dtype=np.bool_)
    is_extended = (table.flags & FrameFlag.EXTENDED) != 0
    has_data = (table.length > 0) & ((table.flags & (FrameFlag.ERROR | FrameFlag.REMOTE)) == 0)
    first_byte = np.full(len(table), -1)
    first_byte[has_data] = table.payload[table.offset[has_data]]
    is_packet = table.packets()
    for wish in wishes:
        codes = [code for code, name in enumerate(table.channels) if wish.channel in ("", name)]
        for direction in Direction:
            can_id, extended, address = _sender(wish, direction)
            if wish.addressing is Addressing.DOIP:  # a packet may hold messages of several links
                found |= is_packet & np.isin(table.channel, codes)
                continue
            of_side = ~is_packet & (table.can_id == can_id) & (is_extended == extended) & np.isin(table.channel, codes)
            found |= of_side & has_data & ((first_byte == address) if address is not None else True)
    return found


def message_row(capture: int, message: Message, *, has_time: bool, secrets: bool) -> dict[str, Any]:
    """One rebuilt message; times are null when the capture has none."""
    address = _sender(message.link, message.direction)[2]
    return {
        "capture": capture,
        "link": message.link.key,
        "channel": message.link.channel,
        "can_id": _sender_text(message.link, message.direction),
        "address": None if address is None else message.link.address_text(address),
        "direction": message.direction.value,
        "time_ns": message.begin_ns if has_time else None,
        "end_ns": message.end_ns if has_time else None,
        "lines": list(message.lines),
        "complete": message.complete,
        "reason": message.reason,
        "length": message.length,
        "data": message.data.hex().upper() if secrets else masked_hex(message.data),
        "missing": ", ".join(f"{part.start}-{part.end - 1}" for part in message.missing),
    }


def service_told(message: Message, dialect: str) -> str:
    """``ReadDataByIdentifier``, ``ReadDataByIdentifier refused: 31 request out of range``; empty without a byte."""
    data, is_response = message.data, message.direction is Direction.RESPONSE
    if not data:
        return ""
    name = name_of(data, dialect, is_response=is_response)
    if not is_response or data[0] != NEGATIVE_RESPONSE or len(data) <= CODE_AT:
        return name
    code = data[CODE_AT]
    verb = "not yet" if is_pending(data, dialect) else "refused"
    return f"{name} {verb}: {code:02X} {nrcs(dialect)[code].meaning}"


def _sender(link: Link, direction: Direction) -> tuple[int, bool, int | None]:
    """Id and address byte of the frames of one direction."""
    if direction is Direction.REQUEST or link.response_id is None:
        return link.request_id, link.request_extended, link.request_address
    return link.response_id, link.response_extended, link.response_address


def _sender_text(link: Link, direction: Direction) -> str:
    """Id, or logical address, of the frames of one direction, in hex."""
    if direction is Direction.REQUEST or link.response_text is None:
        return link.request_text
    return link.response_text


class SecretFrames:
    """Which frames belong to a message that carries a seed, a key or a certificate.

    What packets carry is hidden altogether: one that was sent again belongs to no message that was rebuilt.
    """

    def __init__(self, messages: Iterable[Message], *, hides_packets: bool = False) -> None:
        self.hides_packets = hides_packets
        spans: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for message in messages:
            if is_secret(message.data):
                sender = _sender_text(message.link, message.direction)
                spans.setdefault((message.link.channel, sender), []).append(message.lines)
        self._spans = {key: sorted(lines) for key, lines in spans.items()}

    def has(self, channel: str, can_id: str, line: int) -> bool:
        """True for a frame of that id at that line."""
        spans = self._spans.get((channel, can_id))
        if spans is None:
            return False
        near = spans[max(bisect_right(spans, (line, line)) - 1, 0) :][:2]
        return any(first <= line <= last for first, last in near)


def frame_rows(capture: int, table: FrameTable, *, has_time: bool, secret: SecretFrames) -> Iterator[Row]:
    """Frames as they were recorded, those of secret messages masked."""
    hex_text = table.payload.tobytes().hex().upper()
    columns = (table.line, table.channel, table.time_ns, table.can_id, table.flags, table.length, table.offset)
    for line, code, time_ns, number, flags, length, offset in zip(*(each.tolist() for each in columns), strict=True):
        channel = table.channels[code]
        is_packet = bool(flags & _PACKET)
        can_id = str(number) if is_packet else id_text(number, bool(flags & _LONG_ID))
        data = "" if flags & _REMOTE else hex_text[2 * offset : 2 * (offset + length)]
        if is_packet:
            data = _without_payload(data) if secret.hides_packets else data
        elif secret.has(channel, can_id, line):
            data = MASK * (len(data) // 2)
        yield {
            "capture": capture,
            "line": line,
            "channel": channel,
            "time_ns": time_ns if has_time else None,
            "can_id": can_id,
            "kind": _kind(flags),
            "length": length,
            "data": data,
        }


def _without_payload(packet: str) -> str:
    """The headers of a packet in hex, ``**`` for every byte that it carries."""
    datagram = read_datagram(bytes.fromhex(packet))
    head = len(packet) - 2 * len(datagram.payload) if datagram is not None else 0
    return packet[:head] + MASK * ((len(packet) - head) // 2)


def _kind(flags: int) -> str:
    if not flags & _NOT_PLAIN:
        return "data"
    if flags & _PACKET:
        return "packet"
    if flags & FrameFlag.ERROR:
        return "error"
    return "remote" if flags & FrameFlag.REMOTE else "fd"


def _cut(text: str, room: int | None) -> str:
    return text if room is None else shorten_middle(text, max(room, 8))


def _time_text(row: Row, starts: Starts) -> str:
    """Seconds from the start of the capture, as in the report's timeline."""
    return f"{seconds(row['time_ns'], starts.get(row['capture']) or 0) or '-':>9}"


def _lines_text(lines: Sequence[int]) -> str:
    return f"line {lines[0]}" if lines[0] == lines[-1] else f"lines {lines[0]}-{lines[-1]}"


def _exchange_cells(row: Row, starts: Starts, only_channel: str) -> tuple[str, ...]:
    """Number, time, who, what was said, where, and the bytes of both sides."""
    link = row["link"].removeprefix(only_channel)
    who = row["label"] or (f"{link} (all modules)" if link.endswith(">") else link)
    return (
        str(row["number"]),
        _time_text(row, starts).strip(),
        who,
        row["told"],
        _lines_text(row["lines"]),
        " -> ".join(_sides(row)),
    )


def _sides(row: Row) -> tuple[str, str]:
    asked, answered = (row[side].partition(", SHA-256")[0] or "-" for side in ("request", "response"))
    return asked, answered


def _exchange_text(row: Row, starts: Starts, only_channel: str, width: int | None) -> str:
    """A line of the story, and where there is room the bytes behind it."""
    number, time, who, told, where, _ = _exchange_cells(row, starts, only_channel)
    head = printable(f"{number:>5} {time:>9}  {who}  ")
    tail = printable(f"  {where}")
    told = printable(told)
    asked, answered = _sides(row)
    if width is None:
        return f"{head}{told}{tail}  {asked} -> {answered}"
    text = f"{head}{_cut(told, width - len(head) - len(tail))}{tail}"
    room = width - len(text) - len("   -> ")
    if room < _LEAST_BYTES:
        return text
    asked = _cut(asked, max(room // 2, room - len(answered)))
    return f"{text}  {asked} -> {_cut(answered, room - len(asked))}"


def _message_cells(row: Row, starts: Starts) -> tuple[str, ...]:
    """Time, channel, sender, direction, length, bytes, what it is, where and what is not whole."""
    sender = row["can_id"] if row["address"] is None else f"{row['can_id']}.{row['address']}"
    whole = "" if row["complete"] else f"not whole: {row['reason']}"
    if row["missing"] and not row["complete"]:
        whole += f", bytes {row['missing']} are not in the capture"
    return (
        _time_text(row, starts).strip(), row["channel"], sender, row["direction"], str(row["length"]), row["data"],
        row["told"], f"{whole}  {_lines_text(row['lines'])}".strip(),
    )  # fmt: skip


def _message_text(row: Row, starts: Starts, width: int | None) -> str:
    time, channel, sender, direction, length, data, told, where = _message_cells(row, starts)
    head = printable(f"{time:>9}  {channel}  {sender}  {direction:<8}  {length:>5}  ")
    tail = printable(f"  {where}")
    room = None if width is None else width - len(head) - len(tail)
    told = _cut(told, None if room is None else room - min(len(data), _LEAST_BYTES) - 2)
    return f"{head}{_cut(data, None if room is None else room - len(told) - 2)}  {told}{tail}"


def _frame_cells(row: Row, starts: Starts) -> tuple[str, ...]:
    kind = "" if row["kind"] == "data" else row["kind"]
    return (
        str(row["line"]), _time_text(row, starts).strip(), row["channel"], row["can_id"], str(row["length"]),
        row["data"], kind,
    )  # fmt: skip


def _frame_text(row: Row, starts: Starts) -> str:
    line, time, channel, sender, length, data, kind = _frame_cells(row, starts)
    said = f"{line:>8} {time:>9}  {channel}  {sender}  {length:>2}  {data}"
    return printable(f"{said}  {kind}" if kind else said)
