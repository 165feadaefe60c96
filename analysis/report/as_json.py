"""The report as plain data, field by field as the contract says."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from typing import cast

from analysis.answer.verdict import PartWord
from analysis.breaks.postmortem import PostMortem
from analysis.exchanges import Exchange
from analysis.modules import ModuleState
from analysis.motion import Meanwhile, meanwhile
from analysis.operations.model import Kind, Operation, Part
from analysis.readings import Reading
from analysis.record import CaptureRecord, Record
from analysis.report import contract as c
from analysis.report.link_times import link_times
from analysis.report.model import Report
from analysis.report_frames import ReportFrame
from analysis.secrecy import masked_hex
from analysis.sheet.expectations import Expectation
from analysis.story import Story
from analysis.trims.found import Trim
from analysis.words import Evidence
from canlog import __version__
from canlog.counting import counted
from canlog.frames import TimeKind
from canlog.isotp.addressing import Direction, Link
from canlog.other.traffic import OtherTraffic, Seen
from canlog.services.identifiers import identifier_text

EXAMPLES = 10
EXAMPLE_SIGNS = 120
TRANSFER_DATA = 0x36


def report_dict(report: Report, *, secrets: bool = False) -> c.ReportDict:
    """The whole report."""
    record = report.record
    clocks = {item.number: _has_clock(item) for item in record.captures}
    return {
        "schema": c.SCHEMA,
        "made_by": {
            "version": __version__,
            "limits_changed": record.limits.changed(),
            "job_sha256": report.job_sha256,
            "names_sha256": list(report.names_sha256),
        },
        "captures": [_capture(item) for item in record.captures],
        "links": [_link(link, item, record) for item in record.captures for link in item.messages.links],
        "modules": [_module(item) for item in report.modules],
        "exchanges": [_exchange(item, clocks[item.capture], secrets=secrets) for item in record.exchanges],
        "packets": [
            _packet(number, frame, clocks[frame.place[0]])
            for number, frames in sorted(record.packets.items())
            for frame in frames
        ],
        "operations": [_operation(item, report, clocks) for item in report.operations],
        "expectations": [_expectation(item) for item in report.expectations],
        "trims": [_trim(item) for item in report.trims],
        "verdict": {
            "headline": report.verdict.headline,
            "overall": report.verdict.overall.value,
            "confidence": report.verdict.confidence.value,
            "parts": {
                "programming": _part(report.verdict.parts[Part.PROGRAMMING]),
                "trims": _part(report.verdict.parts[Part.TRIMS]),
                "vin": _part(report.verdict.parts[Part.VIN]),
                "fault_memory": _part(report.verdict.parts[Part.FAULT_MEMORY]),
                "learn": _part(report.verdict.parts[Part.LEARN]),
            },
            "next_steps": list(report.verdict.next_steps),
            "cannot_show": list(report.cannot_show),
        },
        "findings": [
            {
                "id": item.id,
                "severity": item.severity.value,
                "confidence": item.confidence.value,
                "title": item.heading,
                "explanation": item.body,
                "try_next": list(item.try_next),
                "cautions": list(item.cautions),
                "look_alikes": list(item.look_alikes),
                "evidence": [_evidence(one) for one in item.evidence],
                "source": item.source,
            }
            for item in report.findings
        ],
        "identifiers": _identifiers(record, clocks),
        "meanwhile": [_meanwhile(item) for item in meanwhile(record, report.operations)],
        "post_mortem": _post_mortem(report.post_mortem, clocks),
    }


def _has_clock(item: CaptureRecord) -> bool:
    return item.survey.summary.time_kind is not TimeKind.NONE


def _capture(item: CaptureRecord) -> c.CaptureDict:
    summary = item.survey.summary
    return {
        "number": item.number,
        "name": item.name,
        "format": item.capture.format,
        "sha256": item.capture.sha256,
        "frames": summary.frames,
        "channels": list(summary.channels),
        "first_time_ns": summary.first_time_ns,
        "last_time_ns": summary.last_time_ns,
        "time_kind": summary.time_kind.value,
        "damaged_lines": summary.damaged_lines,
        "damaged_examples": [
            {"line": bad.line, "text": bad.text[:EXAMPLE_SIGNS]} for bad in summary.damaged_examples[:EXAMPLES]
        ],
        "logger_drops": summary.logger_drops,
        "out_of_order": summary.out_of_order,
        "error_frames": summary.error_frames,
        "doubled": summary.is_doubled,
        "fitness": item.trust.fitness.value,
        "fitness_reasons": list(item.trust.reasons),
        "other_traffic": [_other_traffic(one, item.number) for one in item.other_traffic],
    }


def _other_traffic(item: OtherTraffic, capture: int) -> c.OtherTrafficDict:
    return {
        "protocol": item.protocol,
        "channel": item.channel,
        "score": item.score,
        "confidence": "high" if item.is_sure else "medium",
        "signs": [_seen(sign.seen, capture) for sign in item.signs],
        "facts": [_seen(fact, capture) for fact in item.facts],
    }


def _seen(item: Seen, capture: int) -> c.EvidenceDict:
    return {"capture": capture, "lines": list(item.lines), "text": item.text}


def _link(link: Link, item: CaptureRecord, record: Record) -> c.LinkDict:
    messages = [message for message in item.messages if message.link.key == link.key]
    requests = [message for message in messages if message.direction is Direction.REQUEST]
    return {
        "link": link.key,
        "label": _label(story) if (story := record.story(link.key)) is not None else record.names.label_of(link.key),
        "capture": item.number,
        "channel": link.channel,
        "request_id": link.request_text,
        "response_id": link.response_text,
        "request_address": _address(link, link.request_address),
        "response_address": _address(link, link.response_address),
        "addressing": link.addressing.value,
        "dialect": _dialect(link, record),
        "functional": link.functional,
        "how": link.how,
        "requests": len(requests),
        "responses": len(messages) - len(requests),
        "messages": len(messages),
        "incomplete": sum(not message.complete for message in messages),
        "timing": link_times(link.key, messages, item, record),
    }


def _dialect(link: Link, record: Record) -> c.Dialect:
    """As judged; unknown where nothing complete was said."""
    guess = record.dialects.get(link.key)
    return cast(c.Dialect, guess.dialect) if guess is not None else "unknown"


def _byte(value: int | None) -> str | None:
    return None if value is None else f"{value:02X}"


def _address(link: Link, address: int | None) -> str | None:
    return None if address is None else link.address_text(address)


def _label(story: Story) -> str | None:
    return story.label if story.named else None


def _module(item: ModuleState) -> c.ModuleDict:
    return {
        "link": item.story.link.key,
        "label": _label(item.story),
        "now": item.now.value,
        "may_retry": item.may_retry.value,
        "advice": item.advice,
        "cautions": list(item.cautions),
        "evidence": [_evidence(one) for one in item.evidence],
    }


def _exchange(item: Exchange, has_clock: bool, *, secrets: bool) -> c.ExchangeDict:
    return {
        "number": item.number,
        "capture": item.capture,
        "link": item.link.key,
        "time_ns": item.begin_ns if has_clock else None,
        "service": item.name,
        "request": shown_data(item.asked, item.service, secrets=secrets),
        "response": shown_data(item.answered, item.service, secrets=secrets),
        "pending": len(item.pendings),
        "outcome": item.outcome.value,
        "nrc": _byte(item.nrc),
        "lines": list(item.lines),
    }


def _packet(number: int, frame: ReportFrame, has_clock: bool) -> c.PacketDict:
    return {
        "exchange": number,
        "capture": frame.place[0],
        "line": frame.place[1],
        "time_ns": frame.time_ns if has_clock else None,
        "packet": f"{frame.data[0]:02X}",
        "data": frame.data[1:].hex().upper(),
    }


def shown_data(data: bytes, service: int, *, secrets: bool = False) -> str:
    """Hex text; seeds, keys and certificates masked by ``*``, the data of a 36 message by length and SHA-256."""
    if service == TRANSFER_DATA and len(data) > 2 and data[0] in (TRANSFER_DATA, TRANSFER_DATA + 0x40):
        digest = hashlib.sha256(data[2:]).hexdigest()
        return f"{data[:2].hex().upper()} + {counted(len(data) - 2, 'byte')}, SHA-256 {digest}"
    return data.hex().upper() if secrets else masked_hex(data)


DOWNLOAD_FIELDS = tuple(c.DownloadDetails.__annotations__)
WRITE_FIELDS = tuple(c.WriteDetails.__annotations__)


def _operation(item: Operation, report: Report, clocks: Mapping[int, bool]) -> c.OperationDict:
    doubt = report.not_as_meant.get(item.number)
    fields = {Kind.DOWNLOAD: DOWNLOAD_FIELDS, Kind.WRITE: WRITE_FIELDS}.get(item.kind)
    details = item.details if fields is None else {field: item.details[field] for field in fields}
    return {
        "number": item.number,
        "kind": item.kind.value,
        "link": item.link.key,
        "begin_ns": item.begin_ns if clocks[item.begin[0]] else None,
        "end_ns": item.end_ns if clocks[item.end[0]] else None,
        "word": item.outcome.word.value,
        "confidence": item.outcome.confidence.value,
        "superseded_by": item.superseded_by,
        "details": dict(details),
        "proof": [{"what": one.text, "capture": one.capture, "lines": list(one.lines)} for one in item.outcome.proof],
        "would_change": item.outcome.would_change,
        "not_as_meant": {"word": doubt.word.value, "why": doubt.why} if doubt is not None else None,
    }


def _expectation(item: Expectation) -> c.ExpectationDict:
    return {
        "item": item.item,
        "link": item.link,
        "asked": item.asked,
        "found": item.found,
        "word": item.word.value,
        "confidence": item.confidence.value,
        "note": item.note,
        "would_change": item.would_change,
        "operation": item.operation,
        "evidence": [_evidence(one) for one in item.evidence],
    }


def _trim(item: Trim) -> c.TrimDict:
    return {
        "link": item.link,
        "identifier": identifier_text(item.identifier),
        "name": item.name,
        "index": item.index,
        "old": _hex(item.old),
        "source_link": item.source_link,
        "written": _hex(item.written),
        "read_back": _hex(item.read_back),
        "unit": item.unit,
        "word": item.word.value,
        "operation": item.operation,
        "refused": _byte(item.refused),
        "notes": list(item.notes),
    }


def _hex(data: bytes | None) -> str | None:
    return None if data is None else data.hex().upper()


def _part(item: PartWord) -> c.PartDict:
    return {
        "word": item.word.value,
        "confidence": item.confidence.value,
        "because": list(item.because),
        "would_change": list(item.would_change),
        "lacking": item.lacking,
    }


def _evidence(item: Evidence) -> c.EvidenceDict:
    return {"capture": item.capture, "lines": list(item.lines), "text": item.text}


def _identifiers(record: Record, clocks: Mapping[int, bool]) -> list[c.IdentifierDict]:
    found: list[c.IdentifierDict] = []
    for story in record.stories:
        groups: dict[tuple[int, int], list[Reading]] = {}
        for reading in record.readings(story):
            groups.setdefault(reading.key, []).append(reading)
        found += [
            {
                "link": story.link.key,
                "identifier": readings[0].number,
                "name": _name(readings[0]),
                "readings": [_reading(one, clocks) for one in readings],
            }
            for _, readings in sorted(groups.items())
        ]
    return found


def _name(reading: Reading) -> str | None:
    title = reading.title
    return title.partition("(")[2].rstrip(")") or None


def _reading(item: Reading, clocks: Mapping[int, bool]) -> c.ReadingDict:
    exchange = item.exchange
    return {
        "capture": exchange.capture,
        "time_ns": exchange.end_ns if clocks[exchange.capture] else None,
        "raw": item.raw.hex().upper(),
        "value": item.text,
        "line": exchange.answer_lines[0],
    }


def _meanwhile(item: Meanwhile) -> c.MeanwhileDict:
    values = [one.value for one in item.moments] if item.course.unit else []
    return {
        "operation": item.operation.number,
        "moved": item.moved.value,
        "signal": item.course.signal.name,
        "link": item.course.source,
        "lowest": float(min(values)) if values else None,
        "highest": float(max(values)) if values else None,
        "unit": item.course.unit,
        "capture": item.course.capture,
        "lines": list(item.lines),
    }


def _post_mortem(item: PostMortem | None, clocks: Mapping[int, bool]) -> c.PostMortemDict | None:
    if item is None:
        return None
    return {
        "stage": item.stage,
        "last_good": _evidence(item.last_good) if item.last_good else None,
        "first_bad": _evidence(item.first_bad) if item.first_bad else None,
        "silent_first": item.silent_first.value,
        "share_carried": item.share_carried,
        "supply": [
            {
                "capture": one.evidence.capture,
                "link": one.source,
                "time_ns": one.time_ns if clocks[one.evidence.capture] else None,
                "volts": one.volts,
                "line": one.line,
            }
            for one in item.supply
        ],
        "facts": [_evidence(one) for one in item.facts],
        "explanations": [
            {
                "cause": one.cause,
                "for": [_evidence(sign) for sign in one.signs_for],
                "against": [_evidence(sign) for sign in one.signs_against],
                "settled_by": one.settled_by,
            }
            for one in item.explanations
        ],
    }
