"""One exchange in plain words: what was asked, and what came back. No seed, key or memory content in it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

from analysis.exchanges import Answer, Exchange
from analysis.fault_lists import read_list
from analysis.operations.attempts import block_form_of
from analysis.operations.block_form import COUNTED, BlockForm, form_of
from analysis.operations.routines import RESULT, START, STOP, RoutineCall, read_call
from analysis.readings import read_values_of, title_of
from analysis.record import Record
from analysis.report.wording import CONTROL, NO_FAULTS, PACKET_RATE, QUIET, RESET, SESSION
from analysis.report_frames import ReportFrame, asks_for_frames, is_packet_request, packets_asked
from canlog.counting import counted
from canlog.isotp.messages import NOT_REACHED
from canlog.names.tables import Names
from canlog.services.dialects import UDS
from canlog.services.traits import (
    Act,
    identifier_asked,
    item_read,
    item_written,
    location_of,
    orders_no_faults,
    orders_quiet,
)

MOST_CODES = 4
MOST_PACKETS = 4
#: So many bytes tell a request of this kind, two any other: a routine has its number behind the control byte.
TELLING_BYTES: Final[Mapping[Act, int]] = {
    Act.ROUTINE: 4, Act.CLEAR: 4, Act.READ: 3, Act.WRITE: 3, Act.READ_FAULTS: 3, Act.DOWNLOAD: 1, Act.EXIT: 1,
}  # fmt: skip


def tell(exchange: Exchange, label: str, record: Record) -> str:
    """``programming session: accepted``, ``read F190 (VIN): E0VLK3PS3SM018855``.

    Args:
        exchange: what was asked and answered.
        label: of the module, by which the names know it.
        record: what the maker's identifiers and routines are called, and what else belongs to the exchange.
    """
    call = read_call(exchange, label, record.names)
    packets = record.packets.get(exchange.number, ())
    came_back = _packets(packets) if packets else _came_back(exchange, call, label, record.names)
    return f"{_asked(exchange, call, label, record)}: {came_back}"


def first_bytes(exchange: Exchange) -> str:
    """``31 01 02 66``: the bytes that tell one request from others, without its data; empty where it was not seen."""
    return exchange.asked[: TELLING_BYTES.get(exchange.act, 2)].hex(" ").upper()


def _asked(exchange: Exchange, call: RoutineCall | None, label: str, record: Record) -> str:
    told = exchange.told
    match exchange.act:
        case Act.SESSION if exchange.session is not None:
            number = f"{exchange.session:02X}"
            return SESSION.get(number, f"session {number}")
        case Act.RESET:
            kind = told[1] & 0x7F if len(told) > 1 else 0
            return RESET.get(kind, f"reset {kind:02X}") if exchange.dialect == UDS else "reset"
        case Act.UNLOCK if len(told) > 1:
            level = told[1] & 0x7F
            return f"seed asked, level {level:02X}" if level & 1 else f"key sent, level {level - 1:02X}"
        case Act.ROUTINE if call is not None:
            what = {START: "start", STOP: "stop", RESULT: "result of"}.get(
                call.control, f"control {call.control:02X} of"
            )
            return f"{what} routine {call.said}{f' ({called})' if (called := _routine_name(call)) else ''}"
        case Act.READ | Act.WRITE:
            return _by_identifier(exchange, label, record.names)
        case Act.READ_MEMORY | Act.WRITE_MEMORY:
            return _by_address(exchange)
        case Act.DOWNLOAD | Act.UPLOAD:
            return _transfer(exchange)
        case Act.BLOCK:
            return _block(exchange, block_form_of(exchange, record))
        case Act.EXIT:
            return "end of the transfer"
        case Act.CLEAR:
            return f"clear the fault memory{f' ({told[1:4].hex().upper()})' if len(told) > 1 else ''}"
        case Act.READ_FAULTS:
            return "read the fault memory"
        case Act.QUIET | Act.FAULT_SETTING:
            pair = (f"{exchange.service:02X}", f"{told[1] & 0x7F:02X}" if len(told) > 1 else "")
            said = CONTROL.get(pair) if exchange.dialect == UDS else None
            said = said or QUIET.get(orders_quiet(told, exchange.dialect))
            return said or NO_FAULTS.get(orders_no_faults(told, exchange.dialect)) or exchange.name
        case Act.TESTER_PRESENT:
            return "tester present"
    return _asked_packets(exchange) if is_packet_request(exchange) else exchange.name


def _asked_packets(exchange: Exchange) -> str:
    which = ", ".join(f"{packet:02X}" for packet in packets_asked(exchange)) or "all"
    said = PACKET_RATE.get(exchange.asked[1], f"rate {exchange.asked[1]:02X}")
    return f"data packets {which}, {said}"


def _packets(frames: Sequence[ReportFrame]) -> str:
    shown = ", ".join(
        f"{frame.data[0]:02X} {frame.data[1:].hex().upper()} (line {frame.place[1]})" for frame in frames[:MOST_PACKETS]
    )
    more = len(frames) - MOST_PACKETS
    return shown + (f" and {counted(more, 'frame')} more, the last in line {frames[-1].place[1]}" if more > 0 else "")


def _routine_name(call: RoutineCall) -> str:
    if call.name is not None:
        return call.name.name
    return {"erase": "erase memory", "dependencies": "check that the parts fit"}.get(call.kind, "")


def _by_address(exchange: Exchange) -> str:
    verb = "read" if exchange.act is Act.READ_MEMORY else "write"
    address, size = (exchange.ask.get(name) if exchange.asked else None for name in ("memory_address", "memory_size"))
    if not isinstance(address, int) or not isinstance(size, int):
        return f"{verb} memory by address"
    return f"{verb} memory at {address:08X} ({counted(size, 'byte')})"


def _by_identifier(exchange: Exchange, label: str, names: Names) -> str:
    verb = "read" if exchange.act is Act.READ else "write"
    item = item_written(exchange.told, exchange.dialect)
    number = item.identifier if item is not None else identifier_asked(exchange.told, exchange.dialect)
    if number is None:
        return f"{verb} data"
    if exchange.service <= 0x0A:
        return exchange.name
    item = item or item_read(exchange.answered, exchange.dialect)
    name, data = names.identifier(label, number), item.data if item is not None else b""
    return f"{verb} {title_of(number, name, exchange.dialect, exchange.service, data)}"


def _transfer(exchange: Exchange) -> str:
    verb = "download" if exchange.act is Act.DOWNLOAD else "upload"
    place = location_of(exchange.asked, exchange.dialect)
    if place is None:
        return f"{verb} asked for"
    size = f" of {counted(place.size, 'byte')}" if place.size is not None else ""
    return f"{verb}{size}{f' at {place.address:08X}' if place.address is not None else ''} asked for"


def _block(exchange: Exchange, form: BlockForm | None) -> str:
    form = form or (form_of(None, [exchange], None) if exchange.asked else COUNTED)
    said = form.said(form.read(exchange.told).mark)
    size = form.size(exchange.request.length) if exchange.request else 0
    return f"{said}, {counted(size, 'byte')}" if size else said


def _came_back(exchange: Exchange, call: RoutineCall | None, label: str, names: Names) -> str:
    waited = f" (asked to wait {counted(len(exchange.pendings), 'time')})" if exchange.pendings else ""
    match exchange.outcome:
        case Answer.NEGATIVE:
            return f"refused, {exchange.refusal}{waited}"
        case Answer.SUPPRESSED if asks_for_frames(exchange):
            return "answered by frames of an id of their own, if at all"
        case Answer.SUPPRESSED:
            return "no answer wanted"
        case Answer.SILENT if exchange.request is not None and exchange.request.reason == NOT_REACHED:
            said = ", ".join(f"line {one.line}" for one in exchange.request.anomalies)
            return f"no answer; the gateway cannot reach the module ({said})"
        case Answer.SILENT:
            return f"no answer{waited}"
        case Answer.INCOMPLETE:
            return f"not whole, {_what_is_missing(exchange)}"
    return (_answered(exchange, call, label, names) or "accepted") + waited


def _what_is_missing(exchange: Exchange) -> str:
    broken = next((one for one in exchange.messages if not one.complete), None)
    if broken is None:
        return "a frame is missing"
    return f"{counted(broken.length, 'byte')} due, {broken.reason}"


def _answered(exchange: Exchange, call: RoutineCall | None, label: str, names: Names) -> str:
    """What a positive answer says beyond yes; empty where it says no more."""
    if call is not None:
        return call.text if call.name is not None or call.status_bytes else ""
    if exchange.act is Act.READ:
        values = [value.text or value.raw.hex(" ").upper() for value in read_values_of(exchange, label, names)]
        return "; ".join(values)
    if exchange.act is Act.UNLOCK and len(exchange.answered) > 1:
        return "seed given" if exchange.answered[1] & 1 else "access granted"
    listed = read_list(exchange)
    if listed is not None:
        codes = [
            listed.called(code, label, names) + (f" {status:02X}" if listed.has_status else "")
            for code, status in listed.codes.items()
        ]
        more = f" and {len(codes) - MOST_CODES} more" if len(codes) > MOST_CODES else ""
        return (", ".join(codes[:MOST_CODES]) + more) or "no codes"
    return ""
