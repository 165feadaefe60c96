"""The raw frames of a step, for the page: its ids only, the middle of long messages left out, secrets masked.

A secret byte is masked where it stands; control bytes, service and identifier stay readable. A frame on the ids of a
message with secrets that became no part of it (a second copy, a stray) is masked as a whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple

import numpy as np

from analysis.commands.listing import SecretFrames, frame_rows
from analysis.redact.places import Places
from analysis.secrecy import MASK
from analysis.walk.steps import Step, Walk
from canlog.frames import FrameTable, TimeKind, join_tables
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message
from canlog.isotp.pci import FlowControl, decode_frame
from canlog.services.traits import Act

#: Frames shown of one step, from its begin and from its end.
AT_BEGIN, AT_END = 7, 3
#: Every byte of the longest frame.
ALL = frozenset(range(64))
TENTH_OF_MS_NS = 100_000


class RawFrame(NamedTuple):
    """One frame as recorded; ``left_out`` frames stand between it and the one before."""

    line: int
    at: str  # seconds from the begin of the capture, in tenths of ms; empty without a clock
    can_id: str
    data: str
    left_out: int = 0


def frames_of(walk: Walk, steps: Sequence[Step]) -> Mapping[int, list[RawFrame]]:
    """The frames of steps, by number of the step. Of a run of blocks those of its first block."""
    found: dict[int, list[RawFrame]] = {}
    for record in walk.report.record.captures:
        own = [step for step in steps if step.first.capture == record.number]
        spans = {step.number: _span(step) for step in own}
        if not spans:
            continue
        has_time = record.survey.summary.time_kind is not TimeKind.NONE
        wanted = np.unique(np.concatenate([np.arange(first, last + 1) for first, last in spans.values()]))
        table = join_tables([one.take(np.isin(one.line, wanted)) for one in record.capture.chunks()])
        masked = _masked_bytes(walk, record.messages, table)
        start = record.survey.summary.first_time_ns or 0
        rows: dict[int, RawFrame] = {}
        secret = SecretFrames((), hides_packets=walk.masks.is_on)
        for row in frame_rows(record.number, table, has_time=has_time, secret=secret):
            at = _seconds(row["time_ns"] - start) if has_time else ""
            rows[row["line"]] = RawFrame(row["line"], at, row["can_id"], _hidden(row["data"], masked.get(row["line"])))
        for step in own:
            found[step.number] = _shortened(step, spans[step.number], rows)
    return found


def _masked_bytes(walk: Walk, messages: Iterable[Message], table: FrameTable) -> Mapping[int, frozenset[int]]:
    """Places of the secret bytes by line; :data:`ALL` for frames that nothing explains, on ids that carry secrets."""
    if not walk.masks.is_on:
        return {}
    places = Places(table)
    lines = {int(line) for line in table.line}
    hidden: set[int] = set()
    senders: dict[int, Message] = {}
    for message in messages:
        if message.first_line in lines:
            stands, secret = places.of(message), walk.masks.of(message)
            hidden |= {int(stands[at]) for at in secret if at < len(stands)}
            if secret:
                senders[_sender(message)] = message
    found: dict[int, frozenset[int]] = {}
    for row, (line, can_id) in enumerate(zip(table.line.tolist(), table.can_id.tolist(), strict=True)):
        first, size = int(table.offset[row]), int(table.length[row])
        found[line] = frozenset(at for at in range(size) if first + at in hidden)
        one = senders.get(can_id)
        if one is not None and row not in places.used and not _is_flow_control(one, table.data(row)):
            found[line] = ALL
    return found


def _sender(message: Message) -> int:
    link = message.link
    given = link.response_id if message.direction is Direction.RESPONSE else link.request_id
    return link.request_id if given is None else given


def _is_flow_control(message: Message, data: bytes) -> bool:
    return isinstance(decode_frame(data, has_address=message.link.request_address is not None), FlowControl)


def _hidden(data: str, places: frozenset[int] | None) -> str:
    """The hex text of a frame with ``**`` for its secret bytes."""
    if not places:
        return data
    octets = [data[at : at + 2] for at in range(0, len(data), 2)]
    return "".join(MASK if at in places else one for at, one in enumerate(octets))


def _span(step: Step) -> tuple[int, int]:
    return step.first.lines if step.act is Act.BLOCK else step.lines


def _shortened(step: Step, span: tuple[int, int], rows: Mapping[int, RawFrame]) -> list[RawFrame]:
    ids = {text for one in step.exchanges for text in (one.link.request_text, one.link.response_text)}
    if step.first.request is not None:
        ids.add(step.first.request.link.request_text)
    own = [rows[line] for line in range(span[0], span[1] + 1) if line in rows and rows[line].can_id in ids]
    between = len(own) - AT_BEGIN - AT_END
    if between <= 1:
        return own
    return [*own[:AT_BEGIN], own[-AT_END]._replace(left_out=between), *own[1 - AT_END :]]


def _seconds(time_ns: int) -> str:
    tenths = time_ns // TENTH_OF_MS_NS
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10_000}.{abs(tenths) % 10_000:04d}"
