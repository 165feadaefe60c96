"""A conversation written down in a few lines, recorded as a candump log, and analysed.

    report = heard(*ask("22 F190", "62 F190 4142"), gap(2), tester("11 01"), module("51 01"))
    assert only(report, "reset").outcome.word == "unproven"

Frames are cut by a small ISO 15765-2 sender of its own (padded with CC, flow control by the other side), one frame a
millisecond, so that nothing here shares a mistake with the product or with the simulator.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import NamedTuple

from analysis import analyse
from analysis.modules import ModuleState
from analysis.operations.model import Operation
from analysis.report.model import Report
from analysis.sheet.expectations import Expectation

START_NS = 1_795_000_000 * 1_000_000_000
STEP_NS = 1_000_000
MS = 1_000_000


class Side(NamedTuple):
    """A module: the ids of its link, and the channel."""

    request: int = 0x7E0
    response: int = 0x7E8
    channel: str = "can0"


PUMP = Side()
KEEPER = Side(0x7E1, 0x7E9)
GROUP = 0x7DF


@dataclass(frozen=True)
class Frame:
    """One frame, or any other line of the log (``text``)."""

    can_id: int = 0
    data: bytes = b""
    channel: str = "can0"
    text: str = ""


@dataclass(frozen=True)
class Piece:
    """Frames in a row, and a pause in front of them."""

    frames: tuple[Frame, ...] = ()
    pause_ns: int = 0


Talk = Piece | Sequence["Talk"]


def raw(text: str) -> bytes:
    """Bytes of hex text, with or without blanks."""
    return bytes.fromhex(text.replace(" ", ""))


def _cut(payload: bytes, send: int, hear: int, channel: str) -> tuple[Frame, ...]:
    def frame(can_id: int, content: bytes) -> Frame:
        return Frame(can_id, content.ljust(8, b"\xcc"), channel)

    if len(payload) <= 7:
        return (frame(send, bytes([len(payload)]) + payload),)
    first = bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:6]
    rest = [payload[at : at + 7] for at in range(6, len(payload), 7)]
    following = [frame(send, bytes([0x20 | number & 0xF]) + part) for number, part in enumerate(rest, 1)]
    return (frame(send, first), frame(hear, b"\x30\x00\x00"), *following)


def tester(text: str | bytes, on: Side = PUMP) -> Piece:
    """The tester sends a message to one module."""
    payload = text if isinstance(text, bytes) else raw(text)
    return Piece(_cut(payload, on.request, on.response, on.channel))


tester.__test__ = False  # type: ignore[attr-defined]  # no test, although its name begins like one


def module(text: str | bytes, on: Side = PUMP) -> Piece:
    """The module sends a message."""
    payload = text if isinstance(text, bytes) else raw(text)
    return Piece(_cut(payload, on.response, on.request, on.channel))


def everybody(text: str, channel: str = "can0") -> Piece:
    """The tester sends a short message to all modules (functional)."""
    return Piece(_cut(raw(text), GROUP, 0, channel))


def ask(request: str | bytes, *answers: str | bytes, on: Side = PUMP) -> tuple[Piece, ...]:
    """A request and what comes back, in order."""
    return (tester(request, on), *(module(answer, on) for answer in answers))


def gap(seconds: float) -> Piece:
    """Nothing for a while."""
    return Piece(pause_ns=round(seconds * 1000) * MS)


def cyclic(can_id: int, times: int = 10, every_ms: int = 100, channel: str = "can0") -> tuple[Piece, ...]:
    """A cyclic frame of the bus, so many times."""
    return tuple(Piece((Frame(can_id, bytes([n, *bytes(7)]), channel),), every_ms * MS) for n in range(times))


def frame(can_id: int, text: str, channel: str = "can0") -> Piece:
    """One frame as it is."""
    return Piece((Frame(can_id, raw(text), channel),))


def line(text: str) -> Piece:
    """A line of the log that is no frame."""
    return Piece((Frame(text=text),))


def without(piece: Piece, *numbers: int) -> Piece:
    """A message some of whose frames (from 0, flow control counted) are not in the log."""
    return replace(piece, frames=tuple(item for at, item in enumerate(piece.frames) if at not in numbers))


def flat(talk: Iterable[Talk]) -> list[Piece]:
    """All pieces in order."""
    found: list[Piece] = []
    for item in talk:
        found += [item] if isinstance(item, Piece) else flat(item)
    return found


@dataclass
class Log:
    """Lines of a candump log."""

    start_ns: int = START_NS
    lines: list[str] = field(default_factory=list)

    def add(self, pieces: Iterable[Piece]) -> Log:
        now = self.start_ns
        for piece in pieces:
            now += piece.pause_ns
            for item in piece.frames:
                now += STEP_NS
                seconds, rest = divmod(now, 1_000_000_000)
                stamp = f"({seconds:010d}.{rest // 1000:06d})"
                digits = f"{item.can_id:08X}" if item.can_id > 0x7FF else f"{item.can_id:03X}"
                self.lines.append(item.text or f"{stamp} {item.channel} {digits}#{item.data.hex().upper()}")
        return self

    @property
    def text(self) -> str:
        return "\n".join(self.lines) + "\n"


Edit = Callable[[list[str]], list[str]]


def log_of(*talk: Talk, start_ns: int = START_NS, edit: Edit | None = None) -> str:
    """The candump log of a conversation; ``edit`` may change its lines."""
    log = Log(start_ns).add(flat(talk))
    if edit is not None:
        log.lines = edit(log.lines)
    return log.text


def heard(*talk: Talk, names: str = "", sheet: str = "", links: Sequence[str] = (), edit: Edit | None = None) -> Report:
    """The report of a conversation; ``names`` and ``sheet`` are TOML."""
    return judged(log_of(*talk, edit=edit), names=names, sheet=sheet, links=links)


def judged(*logs: str, names: str = "", sheet: str = "", links: Sequence[str] = ()) -> Report:
    """The report of one or several logs, in this order."""
    with tempfile.TemporaryDirectory() as folder:
        paths = []
        for number, text in enumerate(logs, 1):
            paths.append(Path(folder) / f"capture{number}.log")
            paths[-1].write_text(text)
        files = {}
        for name, text in (("names.toml", names), ("job.toml", sheet)):
            if text:
                files[name] = Path(folder) / name
                files[name].write_text(text)
        named = [files["names.toml"]] if names else []
        return analyse(list(paths), job=files.get("job.toml"), names=named, links=links)


def of_kind(report: Report, kind: str, link: str = "") -> list[Operation]:
    """The operations of one kind, in order; of one link if given (part of its key)."""
    return [item for item in report.operations if item.kind == kind and link in item.link.key]


def only(report: Report, kind: str, link: str = "") -> Operation:
    """The one operation of a kind."""
    (found,) = of_kind(report, kind, link)
    return found


def words(report: Report, kind: str, link: str = "") -> list[str]:
    """The words of all operations of a kind, in order."""
    return [str(item.outcome.word) for item in of_kind(report, kind, link)]


def word_of(report: Report, kind: str, link: str = "") -> tuple[str, str]:
    """Word and confidence of the one operation of a kind."""
    outcome = only(report, kind, link).outcome
    return str(outcome.word), str(outcome.confidence)


def item(report: Report, text: str) -> Expectation:
    """The sheet's item whose text holds these words."""
    (found,) = [one for one in report.expectations if text in one.item]
    return found


def state(report: Report, link: str = "7E0>7E8") -> ModuleState:
    """The state of a module at the end."""
    (found,) = [one for one in report.modules if link in one.story.link.key]
    return found


# -- acts that many tests need ------------------------------------------------------------------------

IMAGE = bytes((7 * at + 3) % 251 for at in range(96))
BLOCK = 32
ADDRESS = 0x00010000
ERASE = ("31 01 FF00", "71 01 FF00 00")
CHECK = "31 01 0266"
SOFTWARE = b"PCU-SW-1204"


def read(identifier: str, value: bytes | str, on: Side = PUMP) -> tuple[Piece, ...]:
    """A value is read."""
    data = raw(value) if isinstance(value, str) else value
    return ask(f"22 {identifier}", raw(f"62 {identifier}") + data, on=on)


def write(identifier: str, value: bytes | str, answer: str = "", on: Side = PUMP) -> tuple[Piece, ...]:
    """A value is written; accepted if nothing else is said."""
    data = raw(value) if isinstance(value, str) else value
    return ask(raw(f"2E {identifier}") + data, answer or f"6E {identifier}", on=on)


def reset(on: Side = PUMP) -> tuple[Piece, ...]:
    """A reset that is accepted, and the time a module takes to start."""
    return (*ask("11 01", "51 01", on=on), gap(1.5))


def request(size: int = len(IMAGE), address: int = ADDRESS, dfi: int = 0, answer: str = "74 20 0022") -> Talk:
    """RequestDownload and its answer ("" for none)."""
    asked = bytes([0x34, dfi, 0x44]) + address.to_bytes(4, "big") + size.to_bytes(4, "big")
    return ask(asked, *([answer] if answer else []))


def block(counter: int, data: bytes, answer: str | None = None) -> Talk:
    """One TransferData and its answer ("" for none)."""
    said = f"76 {counter:02X}" if answer is None else answer
    return ask(bytes([0x36, counter]) + data, *([said] if said else []))


def blocks(image: bytes = IMAGE) -> list[Talk]:
    """All blocks of an image, answered."""
    parts = [image[at : at + BLOCK] for at in range(0, len(image), BLOCK)]
    return [block(number & 0xFF, part) for number, part in enumerate(parts, 1)]


def download(image: bytes = IMAGE, address: int = ADDRESS, dfi: int = 0) -> list[Talk]:
    """Request, all blocks, exit, each accepted."""
    return [request(len(image), address, dfi), *blocks(image), ask("37", "77")]


def enter() -> list[Talk]:
    """Programming session, unlocked."""
    return [ask("10 02", "50 02 0032 01F4"), ask("27 01", "67 01 1234"), ask("27 02 ABCD", "67 02")]


def programming(image: bytes = IMAGE, address: int = ADDRESS) -> list[Talk]:
    """Erase and download, each accepted."""
    return [ask(*ERASE), *download(image, address)]


NAMES = """
[[module]]
label = "PCU"
link = "7E0:7E8"
start_message = { id = "5A0", byte = 0, boot = "01", application = "02" }
cyclic = ["120"]
[[part]]
name = "application"
modules = ["PCU"]
address = "00010000"
size = "1000"
block = "01"
[[part]]
name = "calibration"
modules = ["PCU"]
address = "00020000"
size = "1000"
block = "02"
[[routine]]
id = "0266"
name = "check of a block"
modules = ["PCU"]
kind = "check"
status = { "00" = "good: sound", "01" = "bad: checksum", "02" = "running: wait" }
[[routine]]
id = "0270"
name = "prime"
modules = ["PCU"]
kind = "learn"
has_result = true
status = { "00" = "good: learned", "01" = "bad: no pressure", "02" = "running: wait" }
[[identifier]]
id = "F1A0"
name = "calibration number"
modules = ["PCU"]
kind = "identification"
part = "calibration"
[[identifier]]
id = "F188"
name = "software number"
modules = ["PCU"]
kind = "identification"
part = "application"
[[identifier]]
id = "3A00"
name = "stored late"
modules = ["PCU"]
kind = "trim"
stored_at_power_down = true
[[identifier]]
id = "3A10"
name = "with a counter"
modules = ["PCU"]
kind = "trim"
layout = [
  { name = "value", type = "u16" },
  { name = "writes", type = "u8", ignore = true },
]
"""
BOOT_START = frame(0x5A0, "01 00 00 00 00 00 00 00")
APPLICATION_START = frame(0x5A0, "02 00 00 00 00 00 00 00")
