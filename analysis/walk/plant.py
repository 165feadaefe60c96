"""A copy of a good capture with one fault planted, as an exercise; what was done is kept aside.

Only frames are left out or changed, so the copy is what a recorder could have written. The fault sits where a class
has to look for it: in the middle of a transfer, on a value that was read back, on the module's own check.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple, TypeVar

from analysis.exchanges import Exchange
from analysis.operations.model import Kind
from analysis.operations.routines import read_call
from analysis.walk.steps import Walk
from canlog.capture.capture import Capture
from canlog.errors import CanlogError
from canlog.frames import FrameFlag
from canlog.isotp.addressing import Addressing, Link, id_text
from canlog.isotp.messages import Message
from canlog.services.traits import Act

ALL_LINES: Final = 1 << 62
CONSECUTIVE: Final = 2
PROGRAMMING_FAILURE: Final = 0x72
MICROSECOND_NS: Final = 1_000
T = TypeVar("T")


class Line(NamedTuple):
    """One frame of the capture."""

    number: int
    time_ns: int
    channel: str
    can_id: int
    flags: int
    data: bytes


class Gone(NamedTuple):
    """Frames that are left out: of these ids, in these lines."""

    first: int
    last: int
    ids: frozenset[int]


@dataclass(frozen=True)
class Planted:
    """A fault: what is left out, which lines carry other bytes, and what to tell whoever knows."""

    kind: str
    told: str
    line: int  # of the source capture
    gone: tuple[Gone, ...] = ()
    changed: Mapping[int, bytes] | None = None


@dataclass(frozen=True)
class Bench:
    """The session that a fault is planted into."""

    walk: Walk
    lines: Mapping[int, Line]

    @property
    def exchanges(self) -> tuple[Exchange, ...]:
        """All of them, in order."""
        return self.walk.report.record.exchanges

    @property
    def all_ids(self) -> frozenset[int]:
        """Every id that carries diagnostics."""
        return frozenset(one for exchange in self.exchanges for one in _ids(exchange.link))


def plant(walk: Walk, kind: str) -> tuple[Planted, bytes]:
    """The fault, and the capture with it as candump text.

    Raises:
        CanlogError: the session has no place for such a fault.
    """
    record = walk.report.record.captures[0]
    if any(one.link.addressing is Addressing.DOIP for one in record.exchanges):
        raise CanlogError(f"{record.name}: faults are planted into CAN frames only", hint="take a capture of a CAN bus")
    bench = Bench(walk, {line.number: line for line in _lines(record.capture)})
    planted = KINDS[kind](bench)
    if planted is None:
        raise CanlogError(f"{record.name}: no place to plant {kind!r}", hint="take a capture of a whole, good session")
    kept = (line for line in bench.lines.values() if not _is_gone(planted, line))
    changed = planted.changed or {}
    return planted, "".join(_text(line._replace(data=changed.get(line.number, line.data))) for line in kept).encode()


def lost_frame(bench: Bench) -> Planted | None:
    """A frame from the middle of a long message that was written."""
    long = [one for one in bench.exchanges if one.request is not None and one.request.n_frames > 2 and one.positive]
    written = [one for one in long if one.act is Act.WRITE] or [one for one in long if one.act is Act.BLOCK]
    exchange = _middle(written)
    if exchange is None or exchange.request is None:
        return None
    own = [line for line in _frames(bench, exchange.request) if _nibble(line, exchange.request) == CONSECUTIVE]
    lost = _middle(own[:-1] or own)
    if lost is None:
        return None
    told = f"one frame of {bench.walk.tell(exchange)!r} is missing; the module answered yes, so it had the frame"
    return Planted("lost-frame", told, lost.number, (Gone(lost.number, lost.number, frozenset({lost.can_id})),))


def wrong_read_back(bench: Bench) -> Planted | None:
    """The last byte of a value as read back is another one."""
    proofs = [
        proof.lines[-1]
        for one in bench.walk.report.operations
        if one.kind is Kind.WRITE and one.superseded_by is None
        for proof in one.outcome.proof[-1:]
        if proof.capture == 1
    ]
    reads = [one for one in bench.exchanges if one.act is Act.READ and one.positive and one.capture == 1]
    exchange = _middle([one for one in reads if one.lines[1] in proofs])
    if exchange is None or exchange.response is None:
        return None
    frame = _frames(bench, exchange.response)[-1]
    at = _last_payload_byte(frame.data, exchange.response)
    if at is None:
        return None
    other = frame.data[:at] + bytes([frame.data[at] ^ 1]) + frame.data[at + 1 :]
    told = f"the last byte of {bench.walk.tell(exchange)!r} was {frame.data[at]:02X} and is {other[at]:02X}"
    return Planted("wrong-read-back", told, frame.number, changed={frame.number: other})


def refused_block(bench: Bench) -> Planted | None:
    """A block is refused with 72, and the tester gives up."""
    exchange = _block(bench)
    if exchange is None or exchange.response is None:
        return None
    frame = _frames(bench, exchange.response)[-1]
    at = 0 if exchange.link.response_address is None else 1
    refusal = bytes([3, 0x7F, exchange.service, PROGRAMMING_FAILURE])
    other = frame.data[:at] + refusal + frame.data[at + len(refusal) :]
    told = f"{_block_name(bench, exchange)} is refused with 72, and nothing follows"
    return Planted("refused-block", told, frame.number, _broken_off(bench, frame.number), {frame.number: other})


def silence(bench: Bench) -> Planted | None:
    """The module does not answer a block, and the tester gives up."""
    exchange = _block(bench)
    if exchange is None or exchange.response is None or exchange.request is None:
        return None
    line = exchange.request.last_line
    told = f"{_block_name(bench, exchange)} is never answered: the module fell silent, and the tester gave up"
    return Planted("silence", told, line, _broken_off(bench, line))


def missing_check(bench: Bench) -> Planted | None:
    """The checks behind the download are not there."""
    names = bench.walk.report.record.names
    calls = [(one, read_call(one, bench.walk.labels.get(one.link.key, ""), names)) for one in bench.exchanges]
    checks = [one for one, call in calls if call is not None and call.kind in ("check", "dependencies")]
    if not checks:
        return None
    told = f"the checks of what was written are left out ({len(checks)} of them); say what else could prove it"
    gone = tuple(Gone(*one.lines, frozenset(_ids(one.link))) for one in checks)
    return Planted("missing-check", told, checks[0].lines[0], gone)


KINDS: Final[Mapping[str, Callable[[Bench], Planted | None]]] = {
    "lost-frame": lost_frame,
    "wrong-read-back": wrong_read_back,
    "refused-block": refused_block,
    "missing-check": missing_check,
    "silence": silence,
}


def truth_toml(planted: Planted, source: str, headline: str, findings: Iterable[str]) -> str:
    """What was planted, and what the report says of the copy: for the trainer."""
    listed = ", ".join(f'"{one}"' for one in findings)
    return (
        f"# What was planted. Keep it from the class.\nkind = {_quoted(planted.kind)}\nwhat = {_quoted(planted.told)}\n"
        f"source = {_quoted(source)}\nsource_line = {planted.line}\n"
        f"report = {_quoted(headline)}\nnew_findings = [{listed}]\n"
    )


def _quoted(text: str) -> str:
    inner = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(sign if sign.isprintable() else f"\\u{ord(sign):04X}" for sign in inner) + '"'


def _middle(found: list[T]) -> T | None:
    return found[len(found) // 2] if found else None


def _block(bench: Bench) -> Exchange | None:
    """The middle block of the longest run of accepted ones."""
    runs = [list(step.exchanges) for step in bench.walk.steps if step.act is Act.BLOCK and step.first.positive]
    return _middle(max(runs, key=lambda run: len(run), default=[]))


def _block_name(bench: Bench, exchange: Exchange) -> str:
    return f"{bench.walk.tell(exchange).partition(',')[0]} (counted in hex)"


def _broken_off(bench: Bench, line: int) -> tuple[Gone, ...]:
    """What is missing behind a line where a job broke off: all diagnostics, and every message that came back only
    because of an order or a restart that now never comes."""
    brought_back = (one for one in bench.exchanges if one.act in (Act.RESET, Act.QUIET) and one.capture == 1)
    from_line = next((one.lines[0] for one in brought_back if one.lines[0] > line), ALL_LINES)
    heard = {one.can_id for one in bench.lines.values() if line < one.number < from_line}
    others = frozenset(one.can_id for one in bench.lines.values()) - heard
    return Gone(line + 1, ALL_LINES, bench.all_ids), Gone(from_line, ALL_LINES, others)


def _ids(link: Link) -> Iterator[int]:
    yield link.request_id
    if link.response_id is not None:
        yield link.response_id


def _frames(bench: Bench, message: Message) -> list[Line]:
    """The data frames of a message, in order."""
    first, last = bench.lines[message.first_line], bench.lines[message.last_line]
    between = (bench.lines.get(number) for number in range(first.number, last.number + 1))
    return [one for one in between if one is not None and (one.can_id, one.channel) == (first.can_id, first.channel)]


def _nibble(line: Line, message: Message) -> int:
    at = 0 if message.link.request_address is None else 1
    return line.data[at] >> 4 if len(line.data) > at else -1


def _last_payload_byte(frame: bytes, message: Message) -> int | None:
    """Where the last byte of a message stands in its last frame."""
    for size in range(min(len(frame), message.length), 0, -1):
        at = frame.find(message.data[-size:])
        if at >= 0:
            return at + size - 1
    return None


def _is_gone(planted: Planted, line: Line) -> bool:
    return any(one.first <= line.number <= one.last and line.can_id in one.ids for one in planted.gone)


def _lines(capture: Capture) -> Iterator[Line]:
    for table in capture.chunks():
        payload = table.payload.tobytes()
        columns = (table.line, table.time_ns, table.channel, table.can_id, table.flags, table.offset, table.length)
        for line, time_ns, code, can_id, flags, at, size in zip(*(one.tolist() for one in columns), strict=True):
            yield Line(line, time_ns, table.channels[code], can_id, flags, payload[at : at + size])


def _text(line: Line) -> str:
    """A line of candump's log form."""
    seconds, rest = divmod(line.time_ns // MICROSECOND_NS, 1_000_000)
    number = id_text(line.can_id, bool(line.flags & (FrameFlag.EXTENDED | FrameFlag.ERROR)))
    data = line.data.hex().upper()
    if line.flags & FrameFlag.ERROR:
        number = f"{line.can_id | 0x20000000:08X}"
    if line.flags & FrameFlag.REMOTE:
        data = "R"
    mark = "#"
    if line.flags & FrameFlag.FD:
        bits = (1 if line.flags & FrameFlag.BRS else 0) | (2 if line.flags & FrameFlag.ESI else 0)
        mark = f"##{bits:X}"
    return f"({seconds:010d}.{rest:06d}) {line.channel or 'can0'} {number}{mark}{data}\n"
