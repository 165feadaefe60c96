"""Questions on the transfer of memory: blocks, counters, shares, rates, and whether the account closes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.exchanges import Exchange
from analysis.operations.attempts import block_form_of
from analysis.operations.block_form import form_of
from analysis.operations.model import Kind, Operation
from analysis.report.wording import seconds
from analysis.walk.question import COMPUTE, JUDGE, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.services.dialects import UDS
from canlog.services.traits import Act, location_of
from canlog.services.transfer import BLOCK_OVERHEAD

MS = 1_000_000
#: Of fewer blocks no rate is worked out ahead.
LEAST_HALF = 2
#: The pause that a sender must keep takes more than this part of the time: it sets the pace.
PACE_PERCENT = 50


def blocks_due(walk: Walk, step: Step) -> Iterator[Question]:
    """How many blocks a download takes. Source: ISO 14229-1:2020, 15.2 (M)."""
    first = step.first
    longest = first.answer.get("max_number_of_block_length") if first.positive else None
    place = location_of(first.asked, first.dialect) if first.act is Act.DOWNLOAD else None
    if first.dialect != UDS or place is None or not place.size or not isinstance(longest, int):
        return
    room = longest - BLOCK_OVERHEAD
    if room <= 0:
        return
    due = -(-place.size // room)
    yield Question(
        "blocks-due", COMPUTE,
        f"{place.size:,} bytes are to come, and a block may have {longest:,} bytes. How many blocks are due?",
        f"{counted(due, 'block')}", f"{longest} − {BLOCK_OVERHEAD} = {room} data bytes in a block, because service and "
        f"counter count as well; {place.size:,} / {room} rounded up", first.lines, str(due),
        f"{place.size / longest:.2f}, by dividing by {longest}: the bytes in front of the data count as well",
    )  # fmt: skip


def next_counter(walk: Walk, step: Step) -> Iterator[Question]:
    """What number comes behind a block. Source: ISO 14229-1:2020, 15.4 (M)."""
    if step.act is not Act.BLOCK or step.first.dialect != UDS:
        return
    numbers = [one.asked[1] for one in step.exchanges if len(one.asked) > 1]
    if not numbers:
        return
    at = 0xFF if 0xFF in numbers[:-1] else numbers[-1]
    due = (at + 1) & 0xFF
    yield Question(
        "next-counter", COMPUTE, f"A block bears the number {at:02X}. Which number must the next one bear?",
        f"{due:02X}", "the counter goes up by one and runs from FF to 00", step.lines, f"{due:02X}",
        {0: "01, because it began with 01: it does so only once", 10: "10: it is counted in hex"}.get(due, ""),
    )  # fmt: skip


def share_done(walk: Walk, step: Step) -> Iterator[Question]:
    """What part of the memory is carried, and how fast it went."""
    operation = operation_of(walk, step, Kind.DOWNLOAD)
    if operation is None or step.act is not Act.BLOCK:
        return
    asked, rate = operation.details["size_asked"], operation.details["rate_bytes_per_s"]
    carried = operation.details["size_carried"]
    blocks = _blocks(walk, operation)
    if isinstance(asked, int) and asked:
        done = _carried(walk, [one for one in blocks if one.number <= step.exchanges[-1].number])
        rest = (
            "100 %, because nothing was refused: what was not answered by then is not there yet"
            if done != asked
            else ""
        )
        yield Question(
            "share-done", COMPUTE,
            f"{asked:,} bytes were asked for. How many are there when this step ends, in percent?",
            f"{done:,} bytes, {100 * done / asked:.1f} %", "only blocks that were answered count",
            step.lines, f"{done} {asked}", rest,
        )  # fmt: skip
    if isinstance(rate, int) and rate and isinstance(carried, int):
        took = seconds(max(one.end_ns for one in blocks) - blocks[0].begin_ns)
        yield Question(
            "rate", COMPUTE, f"{carried:,} bytes were carried in {took} s. How many bytes a second, within 10 %?",
            f"about {rate:,} bytes/s",
            "from the first frame of the first block to the end of the last one, whether it was answered or not",
            step.lines, str(rate),
        )  # fmt: skip


def last_block(walk: Walk, step: Step) -> Iterator[Question]:
    """How many bytes are left for the last block."""
    operation = operation_of(walk, step, Kind.DOWNLOAD)
    if operation is None or not step.is_run or step.first.dialect != UDS:
        return
    size, carried = operation.details["size_asked"], operation.details["size_carried"]
    full = len(step.first.asked) - BLOCK_OVERHEAD
    if not isinstance(size, int) or size != carried or full <= 0:
        return
    left = size % full or full
    rest = size - left
    yield Question(
        "last-block", COMPUTE, f"A full block carries {full:,} bytes of {size:,}. How many are in the last block?",
        counted(left, "byte"), f"{counted(rest // full, 'full block')} carry {rest:,}; {size:,} − {rest:,} = {left:,}",
        step.lines, str(left), f"{full:,}: the last block need not be full" if left != full else "",
    )  # fmt: skip


def when_done(walk: Walk, step: Step) -> Iterator[Question]:
    """When a transfer would end at the rate of its first half; asked where it begins."""
    operation = operation_of(walk, step, Kind.DOWNLOAD)
    size = operation.details["size_asked"] if operation is not None else None
    half = step.exchanges[: len(step.exchanges) // 2]
    if operation is None or not isinstance(size, int) or len(half) < LEAST_HALF or not walk.has_clock(step.first):
        return
    blocks = _blocks(walk, operation)
    carried, took = _carried(walk, half), half[-1].end_ns - half[0].begin_ns
    if blocks[0] is not half[0] or step.first.dialect != UDS or took <= 0 or not 0 < carried < size:
        return
    whole, real = took * size // carried, blocks[-1].end_ns - blocks[0].begin_ns
    came = f"it took {seconds(real)} s" if operation.details["size_carried"] == size else "here it did not come so far"
    yield Question(
        "when-done", COMPUTE,
        f"The first {counted(len(half), 'block')} carried {carried:,} bytes in {seconds(took)} s. How long will all "
        f"{size:,} bytes take, within 10 %?", f"about {seconds(whole)} s; {came}",
        f"{seconds(took)} s × {size:,} / {carried:,}, as long as the rate stays the same", step.lines, str(whole),
        f"{seconds(whole - took)} s: that is what is still to come, not the whole",
    )  # fmt: skip


def _blocks(walk: Walk, operation: Operation) -> list[Exchange]:
    numbers = frozenset(operation.exchanges)
    return [one for one in walk.report.record.exchanges if one.number in numbers and one.act is Act.BLOCK]


def _carried(walk: Walk, blocks: Sequence[Exchange]) -> int:
    """Bytes of memory in blocks that were accepted."""
    known = block_form_of(blocks[0], walk.report.record) if blocks else None
    form = known or form_of(None, blocks, None)
    return sum(form.size(one.request.length) for one in blocks if one.request is not None and one.positive)


def what_sets_the_pace(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether the receiver's pause between frames or the rest takes most of the time."""
    if step.act is not Act.BLOCK or step.first.request is None or not walk.has_clock(step.first):
        return
    message, answer = step.first.request, step.first.response
    if message.separation_ns is None or message.n_frames < 3 or answer is None or not message.complete:
        return
    pause = message.separation_ns * (message.n_frames - 2)
    sending, thinking = message.end_ns - message.begin_ns, answer.begin_ns - message.end_ns
    if sending <= 0 or thinking < 0:
        return
    parts = {"the pause that the module asks for between two frames": pause, "the module's time to answer": thinking}
    parts["the bus and the tester"] = max(sending - pause, 0)
    slowest = max(parts, key=lambda name: parts[name])
    yield Question(
        "what-sets-the-pace", JUDGE,
        f"The first block here takes {sending / MS:.0f} ms to send, then {thinking / MS:.0f} ms until the answer. The "
        f"module asks for {message.separation_ns / MS:g} ms between frames. What takes most of the time?",
        slowest, f"{message.n_frames - 2} pauses of {message.separation_ns / MS:g} ms are {pause / MS:.0f} ms"
        if pause else f"no pause is asked for: {message.n_frames} frames one behind the other",
        step.first.lines, slowest, "the computer: it waits like everybody else",
    )  # fmt: skip


def account(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether as many bytes were carried as were asked for, at the end of a transfer."""
    operation = operation_of(walk, step, Kind.DOWNLOAD)
    if operation is None or step.act is not Act.EXIT:
        return
    size, carried = operation.details["size_asked"], operation.details["size_carried"]
    if not isinstance(size, int) or not isinstance(carried, int):
        return
    closes = size == carried
    yield Question(
        "account", COMPUTE, "Add up the blocks: do they make as many bytes as the download was asked for?",
        f"{'yes' if closes else 'no'}: {carried:,} of {size:,} bytes in {operation.details['blocks']} blocks",
        "of each block all bytes but service and counter count", step.lines, f"{carried} {size}",
        "so the bytes are right: their number is; their content is for the check",
    )  # fmt: skip


def block_frames(walk: Walk, step: Step) -> Iterator[Question]:
    """How many frames one block costs in all: data, flow control, answer."""
    first = step.first
    if step.act is not Act.BLOCK or not first.whole or not first.positive or first.request is None:
        return
    message = first.request
    others = len(message.flow_control_lines) + _frames(first)
    if message.n_frames < 2 or others == 0:
        return
    total = message.n_frames + others
    yield Question(
        "block-frames", COMPUTE,
        f"How many frames does this block of {message.length:,} bytes take on the bus, answer included?",
        f"{total}: {counted(message.n_frames, 'data frame')}, "
        f"{counted(len(message.flow_control_lines), 'flow control frame')}, {counted(_frames(first), 'answer frame')}",
        "6 bytes go into the first frame, 7 into each that follows", first.lines, str(total),
        f"{message.n_frames}: flow control and answer need the bus as well",
    )  # fmt: skip


def _frames(exchange: Exchange) -> int:
    return sum(one.n_frames for one in exchange.messages if one is not exchange.request)


def operation_of(walk: Walk, step: Step, kind: Kind) -> Operation | None:
    """The act of a kind that a step belongs to."""
    number = step.exchanges[-1].number
    return next((one for one in walk.report.operations if one.kind is kind and number in one.exchanges), None)
