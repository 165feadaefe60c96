"""The small parts of the column twin: numbers for ids, messages made on demand."""

from __future__ import annotations

import random

import numpy as np
import pytest

from canlog.frames import Frame, FrameFlag, FrameTable, table_of
from canlog.isotp.addressing import parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.messages import JoinedMessages, MessageTable
from canlog.isotp.numbering import Numbering
from canlog.isotp.reassembly import Reassembler

LINK = parse_link("7E0>7E8")


def exchanges(n_exchanges: int, first_line: int = 1) -> FrameTable:
    """Requests of one frame, answers of three."""
    rows = [
        (0x7E0, "0322F190CCCCCCCC"), (0x7E8, "101462F190314D38"), (0x7E0, "3000000000000000"),
        (0x7E8, "2147444D3941584B"), (0x7E8, "2250303432373838"),
    ] * n_exchanges  # fmt: skip
    return table_of(
        Frame(line * 1_000_000, "can0", can_id, FrameFlag(0), 8, bytes.fromhex(data), line, 40 * line)
        for line, (can_id, data) in enumerate(rows, start=first_line)
    )


def test_keys_are_numbered_in_order_of_first_sight_and_unknown_ones_have_none() -> None:
    rnd = random.Random(11898)
    everything = [rnd.randrange(1 << 36) for _ in range(5000)] + list(range(0x7FF))
    numbering, number = Numbering(), {}
    for _ in range(40):
        keys = rnd.choices(everything, k=2000)
        learned = numbering.learn(np.array(keys, dtype=np.int64)).tolist()
        for key in keys:
            number.setdefault(key, len(number))
        assert learned == [number[key] for key in keys] and numbering.keys == list(number)
        asked = rnd.choices(everything, k=500)
        assert numbering.of(np.array(asked, dtype=np.int64)).tolist() == [number.get(key, -1) for key in asked]


def test_messages_of_columns_are_the_same_one_by_one_from_the_end_in_slices_and_all_at_once() -> None:
    table = exchanges(5)
    expected = list(Reassembler([LINK]).feed(table))
    batch = BulkReassembler([LINK]).feed(table)
    assert len(batch) == 10 and list(batch) == expected
    assert [batch[row] for row in range(10)] == [batch[row] for row in range(-10, 0)] == expected
    assert batch[3:8:2] == expected[3:8:2] and list(reversed(batch)) == expected[::-1]
    with pytest.raises(IndexError):
        batch[10]


def test_joined_messages_know_their_part_and_keep_what_was_made() -> None:
    reassembler = BulkReassembler([LINK])
    parts = [reassembler.feed(exchanges(n, first_line)) for n, first_line in ((2, 1), (0, 11), (3, 11))]
    joined = JoinedMessages(parts)
    one_by_one = [joined[row] for row in range(len(joined))]
    assert len(joined) == 10 and one_by_one == [message for part in parts for message in part]
    kept = list(joined)
    assert kept == one_by_one
    assert all(first is second for first, second in zip(kept, joined, strict=True)) and joined[7] is kept[7]
    assert list(JoinedMessages([])) == [] and len(JoinedMessages([])) == 0


def test_a_table_finds_the_messages_of_a_link_by_its_key() -> None:
    other = parse_link("7E1>7E9")
    messages = BulkReassembler([LINK, other]).feed(exchanges(2))
    table = MessageTable((LINK, other), messages)
    assert list(table.of(messages[0].link)) == list(messages) and list(table.of(other)) == []


def test_a_message_cut_by_a_table_waits_and_is_whole_in_the_next() -> None:
    """And where the capture ends instead, it is incomplete."""
    table = exchanges(1)
    rows = np.arange(len(table))
    reassembler = BulkReassembler([LINK])
    head = list(reassembler.feed(table.take(rows[:3])))
    tail = list(reassembler.feed(table.take(rows[3:])))
    assert [len(head), len(tail)] == [1, 1] and tail[0].complete and tail[0].flow_control_lines == (3,)
    cut_off = BulkReassembler([LINK])
    cut_off.feed(table.take(rows[:4]))
    (message,) = cut_off.finish(4_000_000, 4)
    assert (message.complete, message.reason, len(message.data)) == (False, "capture-ended", 13)
