"""The state machine, one situation a test. Situations: ISO 15765-2:2016, 9 (M)."""

from __future__ import annotations

import numpy as np

from canlog.frames import Frame, FrameFlag, FrameTable, table_of
from canlog.isotp.addressing import Direction, parse_link
from canlog.isotp.messages import Message, Missing
from canlog.isotp.reassembly import Reassembler

MS = 1_000_000
TEXT = "7E0>7E8"


def session(*rows: str, step_ms: float = 1.0) -> FrameTable:
    """Rows ``ID bytes`` with an optional ``@ms`` (else ``step_ms`` after the row before)."""
    frames, now = [], 0.0
    for line, row in enumerate(rows, start=1):
        text, _, at = row.partition("@")
        now = float(at) if at else now + step_ms
        name, *data = text.split()
        frames.append(
            Frame(
                round(now * MS), "can0", int(name, 16), FrameFlag.EXTENDED if len(name) == 8 else FrameFlag(0),
                len(data), bytes.fromhex("".join(data)), line, line * 40,
            )
        )  # fmt: skip
    return table_of(frames)


def rebuild(table: FrameTable, *links: str, end_ms: float | None = None) -> tuple[list[Message], Reassembler]:
    reassembler = Reassembler([parse_link(text) for text in links or (TEXT,)])
    done = reassembler.feed(table)
    end_ns = int(table.time_ns[-1]) if end_ms is None else round(end_ms * MS)
    return done + reassembler.finish(end_ns, int(table.line[-1])), reassembler


def rules(message: Message) -> list[str]:
    return [anomaly.rule for anomaly in message.anomalies]


FF = "7E8 10 14 62 F1 90 31 4D 38"  # 20 bytes: 6 + 7 + 7
FC = "7E0 30 00 00"
CF1 = "7E8 21 47 44 4D 39 41 58 4B"
CF2 = "7E8 22 50 30 34 32 37 38 38"
VIN = bytes.fromhex("62F190") + b"1M8GDM9AXKP042788"
OTHER = "7E8 03 7F 22 31"


def test_a_request_and_a_long_answer_become_two_messages() -> None:
    done, reassembler = rebuild(session("7E0 03 22 F1 90 CC CC CC CC", FF, FC, CF1, CF2))
    request, answer = done
    assert (request.direction, request.data, request.complete) == (Direction.REQUEST, bytes.fromhex("22F190"), True)
    assert (answer.direction, answer.data, answer.complete) == (Direction.RESPONSE, VIN, True)
    assert answer.lines == (2, 5) and answer.n_frames == 3 and answer.flow_control_lines == (3,)
    assert (answer.begin_ns, answer.end_ns, answer.position) == (2 * MS, 5 * MS, 80)
    assert not answer.anomalies and not answer.missing and not reassembler.strays


def test_padding_is_never_payload() -> None:
    (message,), _ = rebuild(session("7E8 10 08 62 F1 90 31 4D 38", "7E8 21 47 44 AA AA AA AA AA"))
    assert message.data == bytes.fromhex("62F190314D384744")


def test_a_lost_consecutive_frame_is_never_delivered_but_keeps_its_place() -> None:
    (message, _after), _ = rebuild(session(FF, FC, CF2, OTHER))
    assert not message.complete and message.reason == "wrong-sequence-number"
    assert message.missing == (Missing(6, 13),)
    assert message.data == VIN[:6] + bytes(7) + VIN[13:]
    assert message.length == 20


def test_a_lost_last_frame_ends_with_the_next_message() -> None:
    done, _ = rebuild(session(FF, FC, CF1, OTHER))
    assert [m.complete for m in done] == [False, True]
    assert done[0].reason == "cut-off-by-single" and done[0].missing == (Missing(13, 20),)
    assert done[0].data == VIN[:13]


def test_sixteen_lost_frames_show_in_the_count() -> None:
    pieces = [f"7E8 {0x20 | (n & 15):02X} 01 02 03 04 05 06 07" for n in range(1, 41)]
    whole = ["7E8 11 1E 00 00 00 00 00 00", FC, *pieces]
    assert rebuild(session(*whole))[0][0].complete
    lost = [*whole[:12], *whole[28:], OTHER]
    message = rebuild(session(*lost))[0][0]
    assert not message.complete and message.reason == "cut-off-by-single"
    assert message.missing == (Missing(6 + 24 * 7, 6 + 40 * 7),)


def test_two_swapped_frames_are_put_right_and_told() -> None:
    done, _ = rebuild(session("7E8 10 1B 62 F1 90 31 4D 38", FC, CF2, CF1, "7E8 23 01 02 03 04 05 06 07"))
    (message,) = done
    assert message.complete and message.data == VIN + bytes(range(1, 8))
    assert rules(message) == ["wrong-sequence-number", "consecutive-frame-out-of-order"]


def test_swapped_last_frames_are_put_right() -> None:
    (message,), _ = rebuild(session(FF, FC, CF2, CF1))
    assert message.complete and message.data == VIN
    assert "consecutive-frame-out-of-order" in rules(message)


def test_a_copy_of_the_logger_is_dropped() -> None:
    done, _ = rebuild(session(FF, FC, CF1 + "@5", CF1 + "@5.1", CF2))
    (message,) = done
    assert message.complete and message.data == VIN and rules(message) == ["logger-copy"]


def test_a_copied_single_frame_is_one_message() -> None:
    done, reassembler = rebuild(session("7E0 02 3E 00@1", "7E0 02 3E 00@1.05", "7E0 02 3E 00@3"))
    assert len(done) == 2 and [s.rule for s in reassembler.strays] == ["logger-copy"]


def test_without_a_clock_nothing_is_called_a_copy() -> None:
    done, _ = rebuild(session("7E0 02 3E 00@0", "7E0 02 3E 00@0"))
    assert len(done) == 2


def test_a_frame_repeated_on_the_bus_is_taken_once_and_told() -> None:
    (message,), _ = rebuild(session(FF, FC, CF1, CF1, CF2))
    assert message.complete and message.data == VIN and rules(message) == ["repeated-consecutive-frame"]


def test_a_second_frame_for_a_place_with_other_data_is_told_and_the_first_kept() -> None:
    (message,), _ = rebuild(session(FF, FC, CF1, "7E8 21 00 00 00 00 00 00 00", CF2))
    assert message.complete and message.data == VIN and rules(message) == ["contradicting-consecutive-frame"]


def test_missing_flow_control_is_only_a_note() -> None:
    (message,), _ = rebuild(session(FF, CF1, CF2))
    assert message.complete and rules(message) == ["flow-control-not-seen"]


def test_a_consecutive_frame_before_its_flow_control_is_told() -> None:
    (message,), _ = rebuild(session(FF, CF1 + "@5", FC + "@4", CF2))
    assert message.complete
    assert sorted(rules(message)) == ["consecutive-before-flow-control", "time-runs-backwards"]


def test_a_frame_with_an_earlier_stamp_than_its_flow_control_is_told() -> None:
    (message,), _ = rebuild(session(FF, FC + "@9", CF1 + "@8", CF2 + "@10"))
    assert message.complete and rules(message) == ["time-runs-backwards"]


def test_a_first_frame_that_slipped_before_the_last_frame_of_the_message_before_is_told() -> None:
    # Two messages of one consecutive frame; the order of the capture is not that of the stamps.
    a, a1 = "7E8 10 0A 62 F1 90 31 4D 38@1", "7E8 21 11 11 11 11@3"
    b, b1 = "7E8 10 0A 62 F1 91 31 4D 38@4", "7E8 21 22 22 22 22@6"
    done, _ = rebuild(session(a, b, a1, b1))
    assert not done[0].complete and done[0].reason == "cut-off-by-first"
    assert done[1].complete and set(rules(done[1])) >= {"follows-a-cut-off-message", "time-runs-backwards"}
    assert done[2].reason == "first-frame-missing"


def test_blocks_do_not_reset_the_sequence_number() -> None:
    done, _ = rebuild(session(FF, "7E0 30 01 00", CF1, "7E0 30 01 00", CF2))
    (message,) = done
    assert message.complete and not message.anomalies and message.flow_control_lines == (2, 4)


def test_a_lost_flow_control_between_blocks_is_a_note() -> None:
    (message,), _ = rebuild(session(FF, "7E0 30 01 00", CF1, CF2))
    assert message.complete and rules(message) == ["flow-control-not-seen"]


def test_wait_and_then_continue_is_normal() -> None:
    (message,), _ = rebuild(session(FF, "7E0 31 00 FF", "7E0 31 00 FF", FC, CF1, CF2))
    assert message.complete and not message.anomalies and message.flow_control_lines == (2, 3, 4)


def test_wait_and_then_silence_is_named() -> None:
    (message,), _ = rebuild(session(FF, "7E0 31 00 00"), end_ms=5000)
    assert message.reason == "wait-then-silence" and message.data == VIN[:6]


def test_overflow_is_never_delivered() -> None:
    done, _ = rebuild(session(FF, "7E0 32 00 00", OTHER))
    assert done[0].reason == "overflow" and rules(done[0]) == ["overflow"]
    done, _ = rebuild(session(FF, "7E0 32 00 00", CF1, CF2))
    assert done[0].reason == "overflow" and not done[0].complete and done[0].data == VIN


def test_a_reserved_flow_status_is_named_when_nothing_follows() -> None:
    (message,), _ = rebuild(session(FF, "7E0 33 00 00"), end_ms=3000)
    assert message.reason == "flow-status-reserved"
    (message,), _ = rebuild(session(FF, "7E0 33 00 00", FC, CF1, CF2))
    assert message.complete and rules(message) == ["flow-status-reserved"]


def test_silence_behind_a_first_frame_is_told_from_the_end_of_the_capture() -> None:
    assert rebuild(session(FF), end_ms=900)[0][0].reason == "capture-ended"
    assert rebuild(session(FF), end_ms=1001)[0][0].reason == "no-flow-control-and-no-data"
    assert rebuild(session(FF, FC, CF1), end_ms=1002)[0][0].reason == "capture-ended"
    assert rebuild(session(FF, FC, CF1), end_ms=1003)[0][0].reason == "timeout-n-cr"
    assert rebuild(session(FF, "7E0 30 01 00", CF1), end_ms=1003)[0][0].reason == "timeout-n-bs"


def test_a_stall_that_closes_is_complete_and_told() -> None:
    (message,), _ = rebuild(session(FF, FC, CF1, CF2 + "@1003"))
    assert message.complete and rules(message) == ["stall"]
    (message,), _ = rebuild(session(FF, FC, CF1, CF2 + "@1002.999"))
    assert message.complete and not rules(message)


def test_a_capture_that_begins_inside_says_so() -> None:
    done, _ = rebuild(session(CF1, CF2, OTHER))
    assert done[0].reason == "starts-inside" and done[0].data == VIN[6:] and done[1].complete


def test_a_lost_first_frame_is_told_from_a_capture_that_begins_inside() -> None:
    done, _ = rebuild(session(OTHER, CF1, CF2))
    assert done[1].reason == "first-frame-missing" and rules(done[1])[0] == "consecutive-without-first"


def test_both_directions_at_once_do_not_disturb_each_other() -> None:
    rows = [
        "7E0 10 0A 2E F1 90 01 02 03", FF, "7E8 30 00 00", FC, "7E0 21 04 05 06 07", CF1, CF2,
    ]  # fmt: skip
    done, _ = rebuild(session(*rows))
    assert [m.complete for m in done] == [True, True] and not done[0].anomalies and not done[1].anomalies


def test_thirty_two_bit_lengths_do_not_allocate() -> None:
    (message,), _ = rebuild(session("7E8 10 00 FF FF FF FF 36 01", FC, CF1))
    assert message.length == 4_294_967_295 and len(message.data) == 9
    assert message.missing == (Missing(9, 4_294_967_295),)


def test_an_escape_that_is_not_needed_is_rebuilt_and_noted() -> None:
    (message,), _ = rebuild(session("7E8 10 00 00 00 00 09 36 01", FC, CF1))
    assert (
        message.complete
        and message.data == bytes.fromhex("3601") + VIN[6:13]
        and rules(message) == ["escape-not-needed"]
    )


def test_a_short_consecutive_frame_in_the_middle_leaves_a_hole() -> None:
    done, _ = rebuild(session(FF, FC, "7E8 21 47 44 4D", CF2, OTHER))
    assert (not done[0].complete and done[0].reason == "wrong-sequence-number") or done[0].missing == (Missing(9, 13),)


def test_a_short_last_frame_is_incomplete() -> None:
    done, _ = rebuild(session(FF, FC, CF1, "7E8 22 50 30", OTHER))
    assert done[0].reason == "consecutive-frame-too-short" and done[0].missing == (Missing(15, 20),)


def test_a_longer_consecutive_frame_is_ignored_as_a_receiver_does() -> None:
    done, _ = rebuild(session(FF, FC, CF1 + " 00 00 00 00", CF1, CF2))
    assert done[0].complete and rules(done[0]) == ["consecutive-frame-too-long"]


def test_fd_uses_the_size_of_the_first_frame() -> None:
    body = bytes(range(100))
    rows = [
        "7E8 10 64 " + body[:62].hex(" "), FC, "7E8 21 " + (body[62:] + bytes(9)).hex(" "),
    ]  # fmt: skip
    (message,), _ = rebuild(session(*rows))
    assert message.complete and message.data == body and not message.anomalies


def test_extended_addressing_keeps_modules_apart() -> None:
    rows = [
        "6F1 1A 03 22 F1 90",
        "6F1 2B 03 22 F1 91",
        "61A F1 10 08 62 F1 90 31 4D",
        "6F1 1A 30 00 00",
        "61A F1 21 38 47 44",
    ]
    done, reassembler = rebuild(session(*rows), "6F1.1A>61A.F1")
    assert [m.data.hex() for m in done] == ["22f190", "62f190314d384744"] and not reassembler.strays
    assert done[1].link.key == "can0:6F1.1A>61A.F1"


def test_a_first_frame_to_a_group_is_told() -> None:
    (message,), _ = rebuild(session("7DF 10 08 22 F1 90 F1 91 F1", "7DF 21 92 93"), "7DF>")
    assert message.complete and "first-frame-on-functional" in rules(message)


def test_remote_and_error_frames_are_no_data() -> None:
    table = session("7E8 02 7E 00", "7E8 02 7E 00", "7E8 02 7E 00")
    table.flags[0] |= FrameFlag.REMOTE
    table.flags[1] |= FrameFlag.ERROR
    done, reassembler = rebuild(table)
    assert [m.first_line for m in done] == [3] and not reassembler.strays


def test_the_same_id_on_two_channels_is_two_links() -> None:
    frames = [
        Frame(n * MS, channel, 0x7E0, FrameFlag(0), 8, bytes.fromhex(data), n, 0)
        for n, channel, data in [
            (1, "can0", "100A2EF190010203"), (2, "can1", "100A2EF190111213"),
            (3, "can0", "2104050607000000"), (4, "can1", "2114151617000000"),
        ]
    ]  # fmt: skip
    done, _ = rebuild(table_of(frames))
    assert [m.link.key for m in done] == ["can0:7E0>7E8", "can1:7E0>7E8"] and all(m.complete for m in done)


def test_the_size_of_the_chunks_does_not_matter() -> None:
    table = session("7E0 03 22 F1 90", FF, FC, CF1, CF2, OTHER)
    whole, _ = rebuild(table)
    reassembler = Reassembler([parse_link(TEXT)])
    pieces = [message for row in range(len(table)) for message in reassembler.feed(table.take(np.array([row])))]
    assert pieces == whole


def test_an_invalid_frame_is_kept_as_a_stray() -> None:
    done, reassembler = rebuild(session("7E8 00 00 00", FC, "7E8 40 00"))
    assert not done
    assert [s.rule for s in reassembler.strays] == [
        "not-a-valid-frame",
        "flow-control-without-first",
        "not-a-valid-frame",
    ]
