"""Frames to messages, one frame after the other: the readable state machine.

One reassembly per sender: (channel, id, 11 or 29 bit, address byte). What each frame does is in
:data:`canlog.isotp.steps.STEPS`; this file holds the acts. Flow control is routed by its type before
any state is asked, because one id carries answers and flow control (full duplex).

Source: ISO 15765-2:2016, 9 (M).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from canlog.frames import FrameFlag, FrameTable, Ints
from canlog.isotp.addressing import Direction, Link
from canlog.isotp.messages import Anomaly, Message, Repeated
from canlog.isotp.pci import (
    ConsecutiveFrame,
    FirstFrame,
    FlowControl,
    Invalid,
    Pdu,
    SingleFrame,
    decode_frame,
    is_reserved_stmin,
)
from canlog.isotp.repeats import RepeatFinder
from canlog.isotp.steps import REASONS, RULES, STEPS, State, Step
from canlog.isotp.transfer import Placement, Seen, Transfer

#: Time-out of the sender waiting for flow control (N_Bs) and of the receiver waiting for a consecutive
#: frame (N_Cr). ISO 15765-2:2016, 9.8.2 (M); the kernel's isotp.c uses 1 s as well.
N_BS_NS: Final = 1_000_000_000
N_CR_NS: Final = 1_000_000_000

#: A frame of 8 bytes takes 111 bits and its stuff bits, 222 µs at 500 kbit/s: an equal frame of the same
#: id sooner than this was never on the bus. ISO 11898-1; the bit rate is the usual one (ISO 15765-4).
ONE_FRAME_NS: Final = 220_000

#: Frames that carry no bytes of a message.
NOT_DATA: Final = int(FrameFlag.REMOTE | FrameFlag.ERROR)


class Side:
    """What one sender puts on its id, as messages."""

    def __init__(self, link: Link, direction: Direction, address: int | None, done: list[Message]) -> None:
        self.link = link
        self.direction = direction
        self.address = address
        self.state = State.IDLE
        self.peers: list[Side] = []  # who sends flow control for this side, and whose flow control it sends
        self.transfer: Transfer | None = None
        self.done = done  # shared by all sides: messages in order of completion
        self.strays: list[Anomaly] = []
        self._is_fresh = True  # nothing seen yet: consecutive frames may belong to a message begun before
        self._previous_ns: int | None = None
        self._previous_data = b""
        self._acts: dict[str, Callable[[Seen, Pdu, Step], State | None]] = {
            act: getattr(self, act) for act in {step.act for step in STEPS.values()}
        }

    def take(self, frame: Seen, *, has_clock: bool) -> None:
        """One frame of this sender."""
        backwards_ns = 0
        if self._previous_ns is not None:
            gap_ns = frame.time_ns - self._previous_ns
            if has_clock and 0 <= gap_ns < ONE_FRAME_NS and frame.data == self._previous_data:
                self._keep("logger-copy", frame, f"the same frame again after {gap_ns / 1e6:.3f} ms, dropped")
                return
            backwards_ns = -gap_ns
        self._previous_ns, self._previous_data = frame.time_ns, frame.data
        pdu = decode_frame(frame.data, has_address=self.address is not None)
        if isinstance(pdu, FlowControl):
            self._route(pdu, frame)
        else:
            if isinstance(pdu, SingleFrame | FirstFrame):
                self._settle_peers(frame)
            self.step(pdu, frame)
        self._is_fresh = False
        if backwards_ns > 0:
            self._keep_backwards(frame, pdu, backwards_ns)

    def pass_over(self, time_ns: int, data: bytes) -> None:
        """Whole messages of this sender were taken elsewhere, this was their last frame."""
        self._previous_ns, self._previous_data = time_ns, data
        self._is_fresh = False

    def is_repeat_or_earlier(self, time_ns: int, data: bytes, *, has_clock: bool) -> bool:
        """Whether the next frame would be a copy by the logger, or has an earlier stamp than the last one."""
        if self._previous_ns is None:
            return False
        gap_ns = time_ns - self._previous_ns
        return gap_ns < 0 or (has_clock and gap_ns < ONE_FRAME_NS and data == self._previous_data)

    def step(self, pdu: Pdu, frame: Seen) -> None:
        """Look the frame up in the table and act."""
        step = STEPS[self.state, pdu.pci]
        then = self._acts[step.act](frame, pdu, step)
        self.state = step.then if then is None else then

    def finish(self, end_ns: int, end_line: int) -> None:
        """The capture ends: what is open is incomplete."""
        if self.transfer is not None:
            self._close("capture-ended", Seen(end_ns, end_line, 0, b""))
            self.state = State.IDLE

    # -- routing -----------------------------------------------------------------------------------

    def _route(self, flow: FlowControl, frame: Seen) -> None:
        """Flow control travels against the data: it serves the message the other side has open."""
        served = next((peer for peer in self.peers if peer.transfer is not None), None)
        if served is not None:
            served.step(flow, frame)
        elif self.peers:
            self.peers[0].step(flow, frame)
        else:
            self.strays.append(_anomaly("flow-control-without-first", frame, "flow control from a group address"))

    def _settle_peers(self, frame: Seen) -> None:
        """The other side speaks: a message whose end has been seen gets no late frames any more."""
        for peer in self.peers:
            if peer.state is State.HOLED:
                peer._close("wrong-sequence-number", frame)
                peer.state = State.IDLE

    def _keep(self, rule: str, frame: Seen, text: str) -> None:
        """On the open message when there is one, else as a stray."""
        anomaly = _anomaly(rule, frame, text)
        (self.strays if self.transfer is None else self.transfer.anomalies).append(anomaly)

    def _keep_backwards(self, frame: Seen, pdu: Pdu, step_ns: int) -> None:
        """An earlier stamp than the frame before: on the message this frame belongs to, wherever that is now."""
        text = f"{step_ns / 1e6:.3f} ms earlier than the frame before it on this id"
        anomaly = _anomaly("time-runs-backwards", frame, text)
        if isinstance(pdu, FlowControl):
            side = next((peer for peer in self.peers if peer.transfer is not None), self)
        else:
            side = self
        if side.transfer is not None:
            side.transfer.anomalies.append(anomaly)
        elif side.done and side.done[-1].last_line == frame.line and side.done[-1].link is side.link:
            side._mark_last(anomaly)
        else:
            side.strays.append(anomaly)

    def _mark_last(self, anomaly: Anomaly) -> None:
        last = self.done[-1]
        self.done[-1] = replace(last, anomalies=(*last.anomalies, anomaly))

    # -- acts, named in STEPS ----------------------------------------------------------------------

    def deliver(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """A message in one frame."""
        assert isinstance(pdu, SingleFrame)
        anomalies = (_deviation(pdu.deviation, frame),) if pdu.deviation else ()
        self.done.append(
            Message(
                self.link, self.direction, frame.time_ns, frame.time_ns, frame.line, frame.line, frame.position,
                1, True, "", len(pdu.data), pdu.data, (), anomalies,
            )
        )  # fmt: skip

    def begin(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """A longer message begins."""
        assert isinstance(pdu, FirstFrame)
        self.transfer = Transfer(self.link, self.direction, frame)
        self.transfer.open(pdu, 0 if self.address is None else 1)
        if pdu.deviation:
            self.transfer.anomalies.append(_deviation(pdu.deviation, frame))
        if self.link.functional:
            self.transfer.add("first-frame-on-functional", frame, "a first frame to a group of modules")

    def break_then_deliver(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """A single frame ends the open message, as in a real receiver."""
        reason = self._close(step.anomaly, frame)
        self.deliver(frame, pdu, step)
        if reason == step.anomaly:
            # Two messages of one sender overlap: the order of the capture may not be that of the bus, or
            # this was no single frame on the bus.
            self._mark_last(_anomaly("follows-a-cut-off-message", frame, "came while another message was open"))

    def break_then_begin(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """A first frame ends the open message, as in a real receiver."""
        reason = self._close(step.anomaly, frame)
        self.begin(frame, pdu, step)
        if reason == step.anomaly and self.transfer is not None:
            # As above, and the consecutive frames that follow may belong to the other message.
            self.transfer.add("follows-a-cut-off-message", frame, "began while another message was open")

    def begin_headless(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """A consecutive frame of a message whose begin was not seen."""
        assert isinstance(pdu, ConsecutiveFrame)
        text = "the capture begins inside this message" if self._is_fresh else "no first frame before this frame"
        self.transfer = Transfer(self.link, self.direction, frame)
        self.transfer.distrusted = not self._is_fresh
        self.transfer.append_headless(pdu)
        self.transfer.add(step.anomaly, frame, text)

    def collect_headless(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Another frame of a message whose begin was not seen."""
        assert isinstance(pdu, ConsecutiveFrame) and self.transfer is not None
        self._judge_gap(self.transfer, frame)
        self.transfer.touch(frame)
        self._record(self.transfer.append_headless(pdu), frame)

    def collect_unreleased(self, frame: Seen, pdu: Pdu, step: Step) -> State | None:
        """A consecutive frame while flow control is due: lost by the logger, out of order, or never sent."""
        transfer = self.transfer
        assert transfer is not None
        if transfer.unreleased is None:
            transfer.unreleased = frame
            transfer.n_since_unreleased = 0
        if transfer.block_size > 0:
            transfer.block_left = transfer.block_size
        return self.collect(frame, pdu, step)

    def collect(self, frame: Seen, pdu: Pdu, step: Step) -> State | None:
        """A consecutive frame goes to its place."""
        transfer = self.transfer
        assert isinstance(pdu, ConsecutiveFrame) and transfer is not None
        if step.anomaly:
            transfer.add(step.anomaly, frame, RULES[step.anomaly].text)
        self._judge_gap(transfer, frame)
        if len(frame.data) > transfer.frame_bytes:
            sizes = f"{len(frame.data)} bytes where the first frame has {transfer.frame_bytes}"
            transfer.add("consecutive-frame-too-long", frame, f"{sizes}: ignored, as a receiver does")
            return self.state
        transfer.distrusted = False
        was_short = transfer.too_short
        placement = transfer.place(pdu)
        self._record(placement, frame)
        if transfer.too_short and not was_short:
            transfer.add("consecutive-frame-too-short", frame, f"{len(pdu.data)} bytes do not fill the place")
        transfer.n_since_unreleased += 1
        if not placement.is_kept:
            transfer.end_ns = frame.time_ns  # alive, though it brought nothing
            return self.state
        transfer.touch(frame)
        return self._after(transfer, frame, step)

    def release(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Flow control "continue": a block may come."""
        assert isinstance(pdu, FlowControl) and self.transfer is not None
        transfer = self.transfer
        gap_ns = frame.time_ns - transfer.active_ns
        transfer.longest_gap_ns = max(transfer.longest_gap_ns, gap_ns)
        if gap_ns >= N_BS_NS:
            transfer.add("flow-control-late", frame, f"{gap_ns / 1e6:.0f} ms after it was due")
        self._serve(transfer, pdu, frame)
        transfer.block_left = transfer.block_size if pdu.block_size == transfer.block_size > 0 else -1

    def release_late(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Flow control "continue" while frames are already coming."""
        assert isinstance(pdu, FlowControl) and self.transfer is not None
        transfer = self.transfer
        if transfer.unreleased is None:
            transfer.add(step.anomaly, frame, RULES[step.anomaly].text)
            self._serve(transfer, pdu, frame)
        elif transfer.n_since_unreleased <= 1:
            # One frame slipped before its flow control: the order changed, nothing is lost.
            transfer.add(
                "consecutive-before-flow-control", transfer.unreleased, f"its flow control is in line {frame.line}"
            )
            transfer.unreleased = None
            self._serve(transfer, pdu, frame)
            transfer.block_left = pdu.block_size - 1 if pdu.block_size else -1
        else:
            # An earlier flow control was not seen, this one ends a block of unknown size.
            self._serve(transfer, pdu, frame)
            transfer.block_left = pdu.block_size or -1

    def hold(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Flow control "wait"."""
        self._judge_flow_order(frame)
        self.note_flow(frame, pdu, step)

    def distrust(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Flow control with a reserved status: the sender must abort, if that is what was sent."""
        assert self.transfer is not None
        self.note_flow(frame, pdu, step)
        self.transfer.distrusted = True

    def refuse(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Flow control "overflow": the message will never be delivered."""
        self._judge_flow_order(frame)
        self.note_flow(frame, pdu, step)

    def note_flow(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Keep flow control with the message it stands in."""
        assert self.transfer is not None
        if step.anomaly:
            text = RULES[step.anomaly].text if step.anomaly in RULES else REASONS[step.anomaly]
            self.transfer.add(step.anomaly, frame, text)
        self.transfer.flow_lines.append(frame.line)
        self.transfer.flow_ns = frame.time_ns

    def note(self, frame: Seen, pdu: Pdu, step: Step) -> None:
        """Keep a frame that changes nothing."""
        text = pdu.reason if isinstance(pdu, Invalid) else RULES[step.anomaly].text
        self._keep(step.anomaly, frame, text)

    # -- parts of the acts -------------------------------------------------------------------------

    def _serve(self, transfer: Transfer, flow: FlowControl, frame: Seen) -> None:
        self._judge_flow_order(frame)
        transfer.distrusted = False
        transfer.flow_lines.append(frame.line)
        transfer.flow_ns = frame.time_ns
        transfer.separation_ns = flow.separation_ns
        if is_reserved_stmin(flow.separation_time):
            transfer.add("separation-time-reserved", frame, f"separation time {flow.separation_time:02X}")
        if transfer.block_size < 0:
            transfer.block_size = flow.block_size
        elif flow.block_size != transfer.block_size and not _has(transfer, "block-size-changed"):
            # Which of the two the sender follows is its own choice: blocks are not counted any more.
            sizes = f"{flow.block_size} after {transfer.block_size}"
            transfer.add("block-size-changed", frame, f"block size {sizes}")

    def _judge_flow_order(self, frame: Seen) -> None:
        transfer = self.transfer
        if transfer is not None and frame.time_ns < transfer.end_ns:
            transfer.add("time-runs-backwards", frame, "flow control has an earlier stamp than the frame it answers")

    def _judge_gap(self, transfer: Transfer, frame: Seen) -> None:
        """Time since the last frame that moved the message."""
        gap_ns = frame.time_ns - transfer.active_ns
        if gap_ns > transfer.longest_gap_ns:
            transfer.longest_gap_ns = gap_ns
        if gap_ns >= N_CR_NS:
            transfer.add("stall", frame, f"{gap_ns / 1e6:.0f} ms after the frame before it")
        elif frame.time_ns < transfer.flow_ns and transfer.flow_lines:
            transfer.add("time-runs-backwards", frame, "an earlier stamp than the flow control that released it")

    def _record(self, placement: Placement, frame: Seen) -> None:
        if placement.anomaly and self.transfer is not None:
            self.transfer.add(placement.anomaly, frame, placement.text)

    def _after(self, transfer: Transfer, frame: Seen, step: Step) -> State | None:
        """The state behind a frame that found its place."""
        if transfer.is_whole:
            self._close("", frame)
            return State.IDLE
        if self.state is State.REFUSED:
            return State.REFUSED
        if transfer.is_at_end:
            return State.HOLED
        if transfer.block_left > 0:
            transfer.block_left -= 1
            if transfer.block_left == 0:
                return State.AWAITING_FLOW
        return None

    def _close(self, reason: str, frame: Seen) -> str:
        """End the open message; the reason that stands is returned."""
        transfer = self.transfer
        assert transfer is not None
        reason = self._why(transfer, reason, frame.time_ns)
        if reason and not _has(transfer, reason):
            transfer.add(reason, frame, REASONS[reason])
        self.transfer = None
        self.done.append(transfer.message(reason))
        return reason

    def _why(self, transfer: Transfer, reason: str, now_ns: int) -> str:
        """The cause behind an end: the state knows more than the frame that ended it."""
        if self.state is State.REFUSED:
            return "overflow"
        if not reason:
            return ""
        if self.state is State.HEADLESS:
            return "first-frame-missing" if transfer.distrusted else "starts-inside"
        if self.state is State.HOLED:
            has_jumped = _has(transfer, "wrong-sequence-number")
            return "wrong-sequence-number" if has_jumped else "consecutive-frame-too-short"
        if transfer.distrusted:
            return "flow-status-reserved"
        if now_ns - transfer.active_ns < N_CR_NS:
            return reason
        if self.state is State.HELD:
            return "wait-then-silence"
        if self.state is State.AWAITING_FLOW:
            return "timeout-n-bs" if transfer.n_frames > 1 else "no-flow-control-and-no-data"
        return "timeout-n-cr"


def _anomaly(rule: str, frame: Seen, text: str) -> Anomaly:
    return Anomaly(rule, frame.line, frame.time_ns, text)


def _deviation(rule: str, frame: Seen) -> Anomaly:
    return _anomaly(rule, frame, RULES[rule].text)


def _has(transfer: Transfer, rule: str) -> bool:
    return any(anomaly.rule == rule for anomaly in transfer.anomalies)


class Reassembler:
    """Rebuilds the messages of given links from a stream of frame tables.

    A link without a channel stands for its ids on every channel. Frames of other ids never reach the
    state machine; remote and error frames are no data.
    """

    def __init__(self, links: Sequence[Link]) -> None:
        self._links = tuple(links)
        self._channels: tuple[str, ...] = ()
        self._stations: dict[int, dict[int | None, Side]] = {}  # by frame key, then address byte
        self._keys: Ints = np.zeros(0, dtype=np.int64)
        self._sides: list[Side] = []
        self._done: list[Message] = []
        self._strays: list[Anomaly] = []
        self._repeats = RepeatFinder()
        self._has_clock = False

    @property
    def strays(self) -> tuple[Anomaly, ...]:
        """Frames on link ids that became part of no message, in order of line."""
        everything = [*self._strays, *(anomaly for side in self._sides for anomaly in side.strays)]
        return tuple(sorted(everything, key=lambda anomaly: anomaly.line))

    @property
    def repeats(self) -> tuple[Repeated, ...]:
        """Frames that came many times in a row with nothing in between, in order of line."""
        return self._repeats.found

    def feed(self, table: FrameTable) -> Sequence[Message]:
        """The messages that ended in this table, in order of completion."""
        self._learn(table.channels)
        self._has_clock = self._has_clock or bool(table.time_ns.any())
        keys, places = frame_keys(table), self._repeats.places(table)
        rows = np.flatnonzero(np.isin(keys, self._keys) & (table.flags & NOT_DATA == 0))
        if not len(rows):
            return []
        payload = table.payload.tobytes()
        has_clock = self._has_clock
        for key, time_ns, line, position, start, length, place in zip(
            keys[rows].tolist(), table.time_ns[rows].tolist(), table.line[rows].tolist(),
            table.position[rows].tolist(), table.offset[rows].tolist(), table.length[rows].tolist(),
            places[rows].tolist(), strict=True,
        ):  # fmt: skip
            data = payload[start : start + length]
            stations = self._stations[key]
            side = stations.get(data[0]) if data else None
            if side is None:
                side = stations.get(None)
            if side is None:
                continue  # the id carries an address that no link has
            seen = Seen(time_ns, line, position, data)
            self._repeats.take(side, key >> 30, seen, place, has_clock=has_clock)
            side.take(seen, has_clock=has_clock)
        return self._taken()

    def finish(self, end_ns: int, end_line: int) -> list[Message]:
        """The messages still open where the capture ends, as incomplete, in order of their begin."""
        for side in self._sides:
            side.finish(end_ns, end_line)
        return sorted(self._taken(), key=lambda message: message.first_line)

    def _taken(self) -> list[Message]:
        done = self._done[:]
        self._done.clear()
        return done

    def _learn(self, channels: tuple[str, ...]) -> None:
        """Make the sides of channels seen for the first time."""
        for code in range(len(self._channels), len(channels)):
            for link in self._links:
                if link.channel in ("", channels[code]):
                    self._add(replace(link, channel=channels[code]), code)
        if len(channels) > len(self._channels):
            self._channels = channels
            self._keys = np.array(sorted(self._stations), dtype=np.int64)

    def _add(self, link: Link, code: int) -> None:
        request = self._side(
            link, Direction.REQUEST, code, link.request_id, link.request_extended, link.request_address
        )
        if link.response_id is None:
            return
        response = self._side(
            link, Direction.RESPONSE, code, link.response_id, link.response_extended, link.response_address
        )
        if response not in request.peers:
            request.peers.append(response)
            response.peers.append(request)

    def _side(
        self, link: Link, direction: Direction, code: int, can_id: int, extended: bool, address: int | None
    ) -> Side:
        """The side of an id; two links that share one keep the first link's name."""
        station = self._stations.setdefault(frame_key(code, can_id, extended=extended), {})
        if address not in station:
            station[address] = Side(link, direction, address, self._done)
            self._sides.append(station[address])
        return station[address]


def frame_key(channel: int, can_id: int, *, extended: bool) -> int:
    """Channel code, 11 or 29 bit, and id as one number."""
    return channel << 30 | int(extended) << 29 | can_id


def frame_keys(table: FrameTable) -> Ints:
    """shape (n,), int64: :func:`frame_key` of every frame."""
    extended: npt.NDArray[np.int64] = (table.flags & int(FrameFlag.EXTENDED)).astype(np.int64)
    return table.channel.astype(np.int64) << 30 | extended << 29 | table.can_id.astype(np.int64)
