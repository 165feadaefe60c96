"""Lines that are no frames, or only nearly: kept with their reason, and the lines around them are read."""

from __future__ import annotations

import pytest

from canlog.capture import candump_log, candump_text
from canlog.capture.lines import LONGEST_LINE_BYTES
from canlog.frames import FrameFlag, FrameTable, TimeKind, join_tables

GOOD = b"(1436509052.249710) vcan0 044#2A366C2BBA\n(1436509052.350000) vcan0 7E8#0350030032\n"
SCREEN = b" (1436509052.249710)  vcan0  044   [5]  2A 36 6C 2B BA\n (1436509052.350000)  vcan0  7E8   [2]  03 50\n"


def log(*parts: bytes) -> FrameTable:
    return join_tables(list(candump_log.read([b"".join(parts)])))


def screen(*parts: bytes) -> FrameTable:
    return join_tables(list(candump_text.read([b"".join(parts)])))


#: A line among good ones, and what its reason must say.
DAMAGED = [
    (b"(1436509052.3) vcan0 7E8#0350030032", "decimals"),
    (b"(1436509052.3500001) vcan0 7E8#0350030032", "decimals"),
    (b"(143650905.350000) vcan0 7E8#0350030032", "far from its neighbours"),
    (b"(0000000001.350000) vcan0 7E8#0350030032", "far from its neighbours"),
    (b"(9999999999.350000) vcan0 7E8#0350030032", "out of range"),
    (b"(14365090520.350000) vcan0 7E8#0350030032", "no CAN frame"),
    (b"vcan0 7E8#0350030032", "no time"),
    (b"1436509052.350000 vcan0 7E8#0350030032", "no CAN frame"),
    (b"52.350000) vcan0 7E8#0350030032", "no CAN frame"),
    (b"(1436509052.350000) 7E8#0350030032", "no CAN frame"),
    (b"(1436509052.350000) my bus 7E8#0350030032", "no CAN frame"),
    (b"(1436509052.350000) vcan0 7E8#035003003", "whole bytes"),
    (b"(1436509052.350000) vcan0 7E8#03500300G2", "whole bytes"),
    (b"(1436509052.350000) vcan0 7E8#035003003200000000", "9 bytes"),
    (b"(1436509052.350000) vcan0 7E8##1000102030405060708", "no size of a CAN FD frame"),
    (b"(1436509052.350000) vcan0 7E8##G00", "whole bytes"),
    (b"(1436509052.350000) vcan0 7E8##", "whole bytes"),
    (b"(1436509052.350000) vcan0 7E8#R9", "whole bytes"),
    (b"(1436509052.350000) vcan0 7E8#11223344556677_E", "whole bytes"),
    (b"(1436509052.350000) vcan0 FFF#00", "at most 7FF"),
    (b"(1436509052.350000) vcan0 9FFFFFFF#00", "bits above 29"),
    (b"(1436509052.350000) vcan0 40000004#00", "bits above 29"),
    (b"(1436509052.350000) vcan0 20000004#R", "never remote"),
    (b"(1436509052.350000) vcan0 20000004##000", "never CAN FD"),
    (b"(1436509052.350000) vcan0 1234567890#00", "no CAN frame"),
    (b"(1436509052.350000) vcan0 45123#81:00:12345678#1122", "CAN XL"),
    (b"(1436509052.350000) vcan0 7E8#0350(1436509052.360000) vcan0 7E0#0210030000000000", "spliced"),
    (b"(1436509052.350000) vcan0 7E8(1436509052.360000) vcan0 7E0#021003", "spliced"),
    (b"(1436509052.350000) vcan0 7E8#0350 trailing", "no CAN frame"),
    (b"$ candump -l can0", "no CAN frame"),
    (b"and then we switched the ignition off", "no CAN frame"),
    (b"\xff\xfe\x00\x01", "no CAN frame"),
]


@pytest.mark.parametrize(("line", "reason"), DAMAGED, ids=[line[:60].decode("latin-1") for line, _ in DAMAGED])
def test_a_damaged_line_is_kept_with_its_reason_and_reading_goes_on(line: bytes, reason: str) -> None:
    table = log(GOOD, line, b"\n", GOOD)
    assert [frame.line for frame in table] == [1, 2, 4, 5]
    assert [bad.line for bad in table.bad_lines] == [3]
    assert reason in table.bad_lines[0].reason
    assert table.bad_lines[0].text == line.decode("utf-8", "replace")
    assert table.lines_read == 5


#: Lines that differ in spelling only: each is 7E8 (or a 29-bit id), 03 50.
SPELLINGS = [
    (b"(1436509052.350000) vcan0 7e8#0350", 0x7E8, 0),
    (b"(1436509052.350000)\tvcan0\t7E8#0350\r", 0x7E8, 0),
    (b"   (1436509052.350000)     can0  7E8#0350  ", 0x7E8, 0),
    (b"(1436509052.350000123) vcan0 7E8#0350", 0x7E8, 0),
    (b"(1436509052.350000) vcan0 0x7E8#03.50", 0x7E8, 0),
    (b"(1436509052.350000) can0.1 7E8#0350 R", 0x7E8, FrameFlag.RECEIVED),
    (b"(1436509052.350000) 0 7E8#0350 t", 0x7E8, FrameFlag.SENT),
    (b"(1436509052.350000) any 7E#0350", 0x7E, 0),
    (b"(1436509052.350000) CH1 07E8#0350", 0x7E8, 0),
    (b"(1436509052.350000) slcan0 DA10F1#0350", 0xDA10F1, FrameFlag.EXTENDED),
    (b"(1436509052.350000) can0 000007E8#0350", 0x7E8, FrameFlag.EXTENDED),
    (b"(1436509052.350000) can0 18DAF110##F0350", 0x18DAF110, FrameFlag.EXTENDED | 14),
    (b"(1436509052.350000) can0 18DAF110##40350", 0x18DAF110, FrameFlag.EXTENDED | FrameFlag.FD),
]


@pytest.mark.parametrize(("line", "can_id", "flags"), SPELLINGS)
def test_a_whole_line_is_read_in_any_spelling(line: bytes, can_id: int, flags: int) -> None:
    table = log(GOOD, line, b"\n")
    assert not table.bad_lines
    frame = table[2]
    assert (frame.can_id, frame.flags, frame.data) == (can_id, flags, b"\x03\x50")
    assert 1436509052_350000000 <= frame.time_ns <= 1436509052_350000123


def test_an_unpadded_id_that_may_be_either_is_noted() -> None:
    assert "11 bit" in log(b"(1.000000) can0 7E#00\n").notes[0]
    assert log(GOOD).notes == ()


def test_channel_names_stay_as_they_are_written() -> None:
    table = log(b"(1.000000) 0 123#\n(1.000000) slcan0.1 123#\n(1.000000)      0 123#\n(1.000000) b\xe4s 123#\n")
    assert [frame.channel for frame in table] == ["0", "slcan0.1", "0", "b�s"]


def test_comments_and_blank_lines_are_neither_frames_nor_damage() -> None:
    table = log(b"# a note\n\n   \n", GOOD, b"\r\n#\n")
    assert len(table) == 2 and not table.bad_lines and table.lines_read == 7


def test_the_time_is_read_from_its_digits_to_the_nanosecond() -> None:
    table = log(b"(1700000000.249713123) can0 123#\n(1700000000.249713) can0 123#\n(1700000000) can0 123#\n")
    assert table.time_ns.tolist() == [1700000000249713123, 1700000000249713000, 1700000000000000000]


def test_two_stamps_in_a_row_that_agree_are_a_clock_that_was_set() -> None:
    later = GOOD.replace(b"14365", b"17365")
    table = log(GOOD, later, GOOD)
    assert len(table) == 6 and not table.bad_lines
    assert [frame.line for frame in table] == [1, 2, 3, 4, 5, 6]


def test_a_lone_far_stamp_at_the_end_is_damage() -> None:
    table = log(GOOD, b"(1836509052.350000) vcan0 7E8#00\n")
    assert len(table) == 2 and table.bad_lines[0].line == 3


def test_a_far_first_stamp_is_judged_by_the_lines_after_it() -> None:
    table = log(b"(0000000002.249713) vcan0 044#2A\n", GOOD, GOOD)
    assert [frame.line for frame in table] == [2, 3, 4, 5]
    assert table.bad_lines[0].line == 1


def test_a_writer_that_leaves_zeros_out_is_not_damaged() -> None:
    table = log(*(f"({1.5 + at / 16}) can0 123#00\n".encode() for at in range(16)))
    assert len(table) == 16
    assert table.time_ns.tolist() == [1_500_000_000 + at * 62_500_000 for at in range(16)]


def test_two_whole_lines_without_the_line_end_between_them_are_two_frames() -> None:
    first, second = b"(1436509052.350000) vcan0 7E8#0350030032AABBCC", b"(1436509052.360000) vcan0 7E0#021003"
    table = log(GOOD, first, second, b"\n")
    assert [(frame.can_id, frame.line) for frame in table][2:] == [(0x7E8, 3), (0x7E0, 3)]
    assert table[3].position == table[2].position + len(first)


def test_a_splice_with_one_broken_half_gives_no_frame() -> None:
    first, second = b"(1436509052.350000) vcan0 7E8#0350030032AABBCC", b"(1436509052.360000) vcan0 7E0#02100"
    table = log(GOOD, first, second, b"\n")
    assert len(table) == 2 and len(table.bad_lines) == 1


@pytest.mark.parametrize("cut", range(1, 42))
def test_a_cut_first_line_never_gives_a_frame(cut: int) -> None:
    table = log((b"(1436509052.123450) vcan0 12345678#2A366C2BBA\n" + GOOD)[cut:])
    assert [frame.line for frame in table] == [2, 3]


@pytest.mark.parametrize("cut", range(1, 35))
def test_a_cut_first_line_of_the_screen_form_never_gives_a_frame(cut: int) -> None:
    table = screen((b"(1436509052.123450)  vcan0  12345678  [2]  2A 36\n" + SCREEN)[cut:])
    assert [frame.line for frame in table] == [2, 3]


def test_a_cut_first_line_without_times_is_seen_by_its_channel() -> None:
    rest = b"  vcan0  7E8   [2]  03 50\n" * 2
    assert [frame.line for frame in screen(b"an0  7E8   [2]  03 50\n", rest)] == [2, 3]
    assert [frame.line for frame in log(b"an0 7E8#0350\n", b"vcan0 7E8#0350\n" * 2)] == [2, 3]


def test_a_line_too_long_for_text_is_skipped_and_its_place_is_kept() -> None:
    blocks = [GOOD, b"x" * 700_000, b"y" * 700_000, b"z\n", GOOD, b"w" * (LONGEST_LINE_BYTES + 1), b"w"]
    table = join_tables(list(candump_log.read(blocks)))
    assert [frame.line for frame in table] == [1, 2, 4, 5]
    assert [(bad.line, len(bad.text)) for bad in table.bad_lines] == [(3, 200), (6, 200)]
    assert table[2].position == len(GOOD) + 1_400_002
    assert str(LONGEST_LINE_BYTES) in table.bad_lines[0].reason


@pytest.mark.parametrize("size", [1, 2, 7, 64])
def test_blocks_may_be_cut_anywhere(size: int) -> None:
    text = b"\xef\xbb\xbf" + GOOD + b"prompt>\r\n" + GOOD
    blocks = [text[at : at + size] for at in range(0, len(text), size)]
    table = join_tables(list(candump_log.read(blocks)))
    assert [frame.line for frame in table] == [1, 2, 4, 5]
    assert [text[frame.position :][:5] for frame in table] == [b"(1436"] * 4


def test_lines_that_end_in_cr_alone_are_lines() -> None:
    table = log(GOOD.replace(b"\n", b"\r"))
    assert [frame.line for frame in table] == [1, 2]


def test_more_channel_names_than_buses_are_damage() -> None:
    table = log(*(f"(1.000000) c{number} 123#\n".encode() for number in range(1100)))
    assert len(table.channels) == 1000 and len(table.bad_lines) == 100


# --- the screen form


def test_deltas_are_added_up() -> None:
    steps = [0, 123, 50_000, 7, 900, 3, 12_000]
    table = screen(*(f" (000.{step:06d})  can0  123   [1]  00\n".encode() for step in steps))
    assert table.time_ns.tolist() == [sum(steps[: at + 1]) * 1000 for at in range(len(steps))]
    assert table.time_kind is TimeKind.RELATIVE and "added up" in table.notes[0]


def test_equal_deltas_are_added_up_too() -> None:
    table = screen(*(f" (000.{step:06d})  can0  123   [1]  00\n".encode() for step in [0, 10_000, 10_000, 10_000]))
    assert table.time_ns.tolist() == [0, 10_000_000, 20_000_000, 30_000_000]


def test_times_from_the_first_frame_are_taken_as_they_are() -> None:
    stamps = [0, 100, 100, 250, 249, 300, 411, 500, 600, 700, 800, 900, 1000, 1100]
    table = screen(*(f" (000.{stamp:06d})  can0  123   [1]  00\n".encode() for stamp in stamps))
    assert table.time_ns.tolist() == [stamp * 1000 for stamp in stamps]


def test_local_dates_are_relative_and_say_so() -> None:
    table = screen(
        b" (2024-03-05 23:59:59.999999)  can0  123   [0] \n (2024-03-06 00:00:00.000001)  can0  123   [0] \n"
    )
    assert table.time_ns[1] - table.time_ns[0] == 2_000
    assert table.time_kind is TimeKind.RELATIVE and "zone" in table.notes[0]


def test_no_time_is_said_and_zero() -> None:
    table = screen(b"  can0  123   [1]  00\n  can0  123   [1]  01\n")
    assert table.time_kind is TimeKind.NONE and table.time_ns.tolist() == [0, 0]


SCREEN_SPELLINGS = [
    (b"  can0  18DAF110   [2]  03 50", 0x18DAF110, FrameFlag.EXTENDED),
    (b"  can0       7E8   [2]  03 50", 0x7E8, 0),
    (b"  can0  RX - -  7E8   [2]  03 50", 0x7E8, FrameFlag.RECEIVED),
    (b"  can0  TX B E  7E8  [02]  03 50", 0x7E8, FrameFlag.SENT | FrameFlag.FD | FrameFlag.BRS | FrameFlag.ESI),
    (b"  can0  RX - E  7E8  [02]  03 50", 0x7E8, FrameFlag.RECEIVED | FrameFlag.FD | FrameFlag.ESI),
    (b"  can0  7E8   [2]  03 50                     '.P'", 0x7E8, 0),
    (b"  can0  7E8   [2]  03 50                     '['[8] #'", 0x7E8, 0),
    (b"  can0  7E8   [2]  50`03", 0x7E8, 0),
    (b"  can0  7E8   [2]  00000011 01010000", 0x7E8, 0),
    (b"\x1b[31m  can0\x1b[0m  \x1b[1m7E8\x1b[0m   [2]  03 50\x1b[0m", 0x7E8, 0),
    (b"can0 7e8 [2] 0350", 0x7E8, 0),
    (b"7E8 2 03 50", 0x7E8, 0),
    (b"can0 0x7E8 2 03.50", 0x7E8, 0),
    (b"can0\t7E8\t[2]\t03 50\r", 0x7E8, 0),
]


@pytest.mark.parametrize(("line", "can_id", "flags"), SCREEN_SPELLINGS)
def test_a_whole_screen_line_is_read_in_any_spelling(line: bytes, can_id: int, flags: int) -> None:
    table = screen(line, b"\n")
    assert not table.bad_lines
    assert (table[0].can_id, table[0].flags, table[0].data) == (can_id, flags, b"\x03\x50")


SCREEN_DAMAGED = [
    (b" (1436509052.400000)  vcan0  7E8   [8]  03 50 03", "8 bytes announced, 3 there"),
    (b" (1436509052.400000)  vcan0  7E8   [2]  03 5", "2 bytes announced"),
    (b" (1436509052.400000)  vcan0  7E8   [9]  03 50 03 00 32 01 F4 00 00", "9 bytes"),
    (b" (1436509052.400000)  vcan0  7E8  [09]  03 50 03 00 32 01 F4 00 00", "no size of a CAN FD frame"),
    (b" (1436509052.400000)  vcan0  7E8  [0003]  03 50 03", "CAN XL"),
    (b" (1436509052.400000)  vcan0  123  [05]  remote request", "remote"),
    (b" (1436509052.400000)  vcan0  7E8   [2]  03 50 and more", "no data"),
    (b"  vcan0  7E8   [2]  03 50", "not of the kind"),
    (b" (2024-03-05 10:11:12.123456)  vcan0  7E8   [2]  03 50", "not of the kind"),
    (b" (0000000009.400000)  vcan0  7E8   [2]  03 50", "far from its neighbours"),
    (b"\tcontroller-problem{rx-overflow}", "no CAN frame"),
    (b"user@bench:~$ candump can0", "no CAN frame"),
]


@pytest.mark.parametrize(("line", "reason"), SCREEN_DAMAGED)
def test_a_damaged_screen_line_is_kept_with_its_reason(line: bytes, reason: str) -> None:
    table = screen(SCREEN, line, b"\n", SCREEN)
    assert [frame.line for frame in table] == [1, 2, 4, 5]
    assert reason in table.bad_lines[0].reason


def test_the_words_below_an_error_frame_are_no_damage() -> None:
    error = b" (1436509052.400000)  vcan0  20000004   [8]  00 01 00 00 00 00 00 00   ERRORFRAME\n"
    table = screen(SCREEN, error, b"\tcontroller-problem{rx-overflow}\n\terror-counter-tx-rx{{0}{8}}\n", SCREEN)
    assert [frame.line for frame in table] == [1, 2, 3, 6, 7] and not table.bad_lines
    assert table[2].flags == FrameFlag.ERROR and table[2].can_id == 4


def test_a_drop_count_is_the_loggers_word_in_both_forms() -> None:
    line = b"DROPCOUNT: dropped 1 CAN frame on 'vcan0' socket (total drops 13)\n"
    for table in (log(GOOD, line, GOOD), screen(SCREEN, line, SCREEN)):
        assert [(drop.line, drop.frames) for drop in table.drops] == [(3, 1)]
        assert len(table) == 4 and not table.bad_lines
