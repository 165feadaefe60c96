"""Questions on how a message crossed the bus: frames, flow control, waiting."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.exchanges import Answer, Exchange
from analysis.report.wording import seconds
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.isotp.addressing import Addressing

#: A classic frame: six bytes fit behind the length in the first frame, seven in each that follows.
IN_FIRST, IN_NEXT = 6, 7
MS = 1_000_000


def frames_needed(walk: Walk, step: Step) -> Iterator[Question]:
    """How many data frames a long message takes. Source: ISO 15765-2:2016, 9.6 (M)."""
    for message in step.first.messages:
        needed = 1 - (-(message.length - IN_FIRST) // IN_NEXT)
        if message.complete and message.n_frames > 1 and message.n_frames == needed:
            yield Question(
                "frames-needed", COMPUTE,
                f"The {message.direction.value} has {message.length:,} bytes. How many data frames carry it?",
                f"{needed}: one first frame and {counted(needed - 1, 'consecutive frame')}",
                f"{IN_FIRST} bytes fit in the first frame and {IN_NEXT} in each that follows: "
                f"({message.length} − {IN_FIRST}) / {IN_NEXT}, rounded up, and one. Flow control comes on top.",
                message.lines, str(needed),
                f"{-(-message.length // 8)}, by dividing by 8: each frame has bytes that only number it"
                if -(-message.length // 8) != needed else "",
            )  # fmt: skip
            return


def flow_control(walk: Walk, step: Step) -> Iterator[Question]:
    """Which frame gives leave, and what it allows. Source: ISO 15765-2:2016, 9.6.5 (M)."""
    for message in step.first.messages:
        if not message.flow_control_lines or message.block_size is None or message.separation_ns is None:
            continue
        line = message.flow_control_lines[0]
        size = f"{counted(message.block_size, 'frame')} at a time" if message.block_size else "all frames in one go"
        gap = message.separation_ns
        pace = f"at least {gap / MS:g} ms apart" if gap else "as fast as the sender can"
        yield Question(
            "flow-control", READ_OFF, "Which line is the flow control frame, and what does it allow the sender?",
            f"line {line}: {size}, {pace}",
            "the receiver of a long message says the pace: the bytes behind 30 are block size and separation time",
            (line, line), f"{line} {message.block_size} {gap}",
        )  # fmt: skip
        return


def waiting(walk: Walk, step: Step) -> Iterator[Question]:
    """What 78 means, how often it came and how long it took. Source: ISO 14229-1:2020, annex A (M)."""
    first = step.first
    if not first.pendings:
        return
    count = counted(len(first.pendings), "time")
    if not walk.has_clock(first) or first.response is None:
        answer, value = f"asked to wait {count}", str(len(first.pendings))
    else:
        waited = first.response.begin_ns - first.pendings[0].begin_ns
        answer = f"asked to wait {count}; the answer came {seconds(waited)} s after the first of them"
        value = f"{len(first.pendings)} {waited}"
    yield Question(
        "pending", COMPUTE,
        "7F .. 78 is in this step. Is that a failure? How often does it come, and how long is the wait?",
        f"78 itself is none: {answer}", "78 means: understood, still at work, please wait; the real answer follows",
        first.lines, value, "yes, because it begins with 7F",
    )  # fmt: skip


def p2_kept(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether the module's first sign came within the time it announced. Source: ISO 14229-2 (M)."""
    first = step.first
    promised = _promise(walk, step, first)
    answer = next(iter((*first.pendings, *([first.response] if first.response else ()))), None)
    if promised is None or answer is None or first.request is None or not walk.has_clock(first):
        return
    took = answer.begin_ns - first.request.end_ns
    if took < 0:
        return
    kept = took <= promised * MS
    yield Question(
        "p2-kept", JUDGE, f"The module announced P2 = {promised} ms. Did it keep to that here?",
        f"{'yes' if kept else 'no'}: its first sign came after {took / MS:.1f} ms",
        "measured from the last frame of the request to the first frame of the answer, by the recorder's clock",
        (first.request.last_line, answer.first_line), f"{'yes' if kept else 'no'} {took}",
    )  # fmt: skip


def _promise(walk: Walk, step: Step, exchange: Exchange) -> int | None:
    """P2 in ms as the module announced it last."""
    for earlier in walk.before(step, exchange):
        value = earlier.answer.get("p2_server_max_ms") if earlier.positive else None
        if isinstance(value, int):
            return value
    return None


def suppressed(walk: Walk, step: Step) -> Iterator[Question]:
    """Why nobody answers. Source: ISO 14229-1:2020, 8.2.2 (M)."""
    first = step.first
    if first.outcome is not Answer.SUPPRESSED or len(first.asked) < 2 or not first.asked[1] & 0x80:
        return
    yield Question(
        "no-answer-wanted", JUDGE, "Nobody answers this request. Is that a fault? Which bit says so?",
        f"no fault: bit 7 of the second byte ({first.asked[1]:02X}) is set",
        "it asks for no positive answer; a refusal would still come", first.lines, f"{first.asked[1]:02X}",
        "the modules are asleep or dead",
    )  # fmt: skip


def who_answered(walk: Walk, step: Step) -> Iterator[Question]:
    """How many modules answer one request to all."""
    answered = [one for one in step.exchanges if one.response is not None]
    if step.to_all and answered:
        yield Question(
            "who-answered", READ_OFF, "This request went to all. How many modules answered?",
            f"{counted(len(answered), 'module')}: {', '.join(_who(walk, one) for one in answered)}",
            "each module answers with an id of its own", step.lines, str(len(answered)),
        )  # fmt: skip


def who_talks(walk: Walk, step: Step) -> Iterator[Question]:
    """Which id asks and which one answers."""
    link = step.first.link
    if step.to_all or link.response_text is None or step.first.response is None:
        return
    asks, gives = link.request_text, link.response_text
    pair = f"{asks} is the tester's, {gives} the module's"
    yield Question(
        "who-talks", READ_OFF, "Two ids stand in these lines. Which one asks, and which one answers?", pair,
        "the one that speaks first asks; its first byte of content is a service, the answer begins with 40 more",
        step.first.lines, f"{asks} {gives}", "both are the module's: every direction has an id of its own",
    )  # fmt: skip


def next_sequence_number(walk: Walk, step: Step) -> Iterator[Question]:
    """What the number in a consecutive frame is. Source: ISO 15765-2:2016, 9.6.4 (M)."""
    for message in step.first.messages:
        if not message.complete or message.n_frames < 3 or message.link.addressing is Addressing.DOIP:
            continue
        last = message.n_frames - 1
        due = last & 0xF
        yield Question(
            "next-sequence-number", COMPUTE,
            f"The {message.direction.value} goes on in {counted(last, 'consecutive frame')}: the first begins with 21, "
            "the next with 22. How does the last one begin?",
            f"2{due:X}", "the low half of the byte counts from 1, runs from F to 0 and goes on", message.lines,
            f"{due:X}", f"2{last}: it counts in hex and has one digit" if last > 9 else "",
        )  # fmt: skip
        return


def _who(walk: Walk, exchange: Exchange) -> str:
    return walk.labels.get(exchange.link.key) or exchange.link.response_text or exchange.link.key
