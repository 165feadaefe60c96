"""Links from evidence; noise must not become one."""

from __future__ import annotations

import random

import pytest

from canlog.frames import Frame, FrameFlag, FrameTable, table_of
from canlog.isotp.addressing import Addressing, Link, parse_link
from canlog.isotp.links import LinkFinder

MS = 1_000_000
Row = tuple[float, str]  # milliseconds, "ID bytes" or "channel:ID bytes"


def table(rows: list[Row]) -> FrameTable:
    frames = []
    for line, (at, text) in enumerate(rows, start=1):
        name, *data = text.split()
        channel, _, can_id = name.rpartition(":")
        flags = FrameFlag.EXTENDED if len(can_id) == 8 else FrameFlag(0)
        raw = bytes.fromhex("".join(data))
        frames.append(Frame(round(at * MS), channel or "can0", int(can_id, 16), flags, len(raw), raw, line, 0))
    return table_of(frames)


def find(rows: list[Row], *user: str, chunk: int = 0) -> list[Link]:
    finder = LinkFinder()
    for start in range(0, len(rows), chunk or len(rows)):
        finder.feed(table(rows[start : start + (chunk or len(rows))]))
    return finder.links([parse_link(text) for text in user])


def keys(links: list[Link]) -> list[str]:
    return [link.key for link in links]


def every(period_ms: float, text: str, *, until_ms: float = 10_000, phase_ms: float = 0) -> list[Row]:
    return [(phase_ms + n * period_ms, text) for n in range(int(until_ms / period_ms))]


def vin(request: str, response: str, at: float = 100, *, data_address: str = "", flow_address: str = "") -> list[Row]:
    """22 F190 and its long answer, with address bytes where given."""
    a, b = flow_address, data_address
    return [
        (at, f"{request} {a} 03 22 F1 90"),
        (at + 3, f"{response} {b} 10 14 62 F1 90 31 4D" + ("" if b else " 38")),
        (at + 4, f"{request} {a} 30 00 00"),
        (at + 5, f"{response} {b} 21 47 44 4D 39 41 58" + ("" if b else " 4B")),
        (at + 6, f"{response} {b} 22 50 30 34 32 37 38" + ("" if b else " 38")),
    ]


def mixed(*parts: list[Row]) -> list[Row]:
    return sorted((row for part in parts for row in part), key=lambda row: row[0])


def noise(seed: int, *, until_ms: float = 10_000) -> list[Row]:
    """Cyclic frames of thirty ids: counters, constants, zeros, random bytes."""
    rnd = random.Random(seed)
    rows: list[Row] = []
    for can_id in rnd.sample(range(0x100, 0x600), 30):
        kind, period = rnd.randrange(4), rnd.choice([10, 20, 50, 100])
        fixed = rnd.randbytes(8)
        for n in range(int(until_ms / period)):
            data = {
                0: fixed, 1: bytes(6) + bytes([n & 15, n & 255]), 2: fixed[:7] + bytes([n & 255]), 3: rnd.randbytes(8),
            }[kind]  # fmt: skip
            rows.append((n * period + can_id / 1000, f"{can_id:03X} {data.hex(' ')}"))
    return rows


def test_a_first_frame_answered_by_flow_control_makes_a_link() -> None:
    (link,) = find(vin("712", "71A"))
    assert link.key == "can0:712>71A" and not link.guessed and "flow control" in link.how


def test_the_offset_between_the_ids_is_free() -> None:
    assert keys(find(vin("640", "3C1"))) == ["can0:640>3C1"]


def test_a_long_request_finds_the_direction_by_its_service() -> None:
    rows = [
        (1, "6A0 10 0A 2E F1 90 01 02 03"), (2, "6B0 30 00 00"), (3, "6A0 21 04 05 06 07"), (5, "6B0 03 6E F1 90"),
    ]  # fmt: skip
    assert keys(find(rows)) == ["can0:6A0>6B0"]


def test_answers_of_several_services_make_a_link() -> None:
    rows: list[Row] = [
        (0, "650 02 10 03"), (9, "651 06 50 03 00 32 01 F4"), (100, "650 02 27 01"), (109, "651 04 67 01 AA BB"),
        (200, "650 03 22 F1 8C"), (209, "651 03 7F 22 31"),
    ]  # fmt: skip
    (link,) = find(rows)
    assert link.key == "can0:650>651" and link.how == "3 answers to 3 services"


def test_a_link_stands_out_of_the_noise() -> None:
    for seed in range(5):
        assert keys(find(mixed(noise(seed), vin("712", "71A", 555)))) == ["can0:712>71A"]


@pytest.mark.parametrize("seed", range(20))
def test_noise_alone_is_no_link(seed: int) -> None:
    assert find(noise(seed, until_ms=3000)) == []


def test_a_cyclic_id_that_repeats_a_valid_looking_single_frame_is_no_link() -> None:
    assert find(every(100, "57B 02 01 00 00 00 00 00 00")) == []


def test_two_cyclic_ids_that_look_like_request_and_answer_are_no_link() -> None:
    rows = mixed(every(100, "57B 02 01 00"), every(100, "57C 03 41 00 80", phase_ms=7))
    assert find(rows) == []
    assert find(mixed(every(100, "57B 02 01 00"), every(10, "57C 03 41 00 80", phase_ms=3))) == []


def test_slow_cyclic_ids_that_look_like_request_and_answer_are_no_link() -> None:
    assert find(mixed(every(500, "57B 02 01 00"), every(500, "57C 03 41 00 80", phase_ms=7))) == []


def test_a_cyclic_id_that_looks_like_requests_to_a_group_is_no_link() -> None:
    assert find(every(100, "57B 02 10 81")) == [] and find(every(100, "57B 05 3E 80 00 00 00")) == []


def test_a_cyclic_id_that_looks_like_flow_control_does_not_take_part() -> None:
    rows = mixed(every(10, "331 30 00 00 00 00 00 00 00", phase_ms=0.5), vin("712", "71A", 555))
    assert keys(find(rows)) == ["can0:712>71A"]


def test_a_slow_tester_present_with_its_answers_is_a_link_on_legislated_ids() -> None:
    rows = mixed(every(2000, "7E4 02 3E 00"), every(2000, "7EC 02 7E 00", phase_ms=6))
    (link,) = find(rows)
    assert link.key == "can0:7E4>7EC" and not link.guessed and "ISO 15765-4" in link.how


def test_on_other_ids_tester_present_must_be_slow_and_answered_at_once() -> None:
    slow = mixed(every(2000, "640 02 3E 00"), every(2000, "3C1 02 7E 00", phase_ms=6))
    assert keys(find(slow)) == ["can0:640>3C1"]
    assert find(mixed(every(100, "640 02 3E 00"), every(100, "3C1 02 7E 00", phase_ms=6))) == []
    assert find(mixed(every(2000, "640 02 3E 00"), every(2000, "3C1 02 7E 00", phase_ms=900))) == []
    assert find(mixed(every(2000, "640 02 22 01"), every(2000, "3C1 03 62 01 07", phase_ms=6))) == []


def test_a_silent_module_on_a_legislated_id_is_guessed() -> None:
    (link,) = find(every(500, "7E1 02 10 03", until_ms=2000))
    assert link.key == "can0:7E1>7E9" and link.guessed and link.how.startswith("no answer seen")
    (link,) = find(every(500, "18DA2AF1 02 10 03", until_ms=2000))
    assert link.key == "can0:18DA2AF1>18DAF12A" and link.guessed and link.addressing is Addressing.NORMAL_FIXED


def test_answers_without_their_requests_are_guessed_on_legislated_ids() -> None:
    (link,) = find([(1, "7E8 06 41 00 80 00 00 01")])
    assert link.key == "can0:7E0>7E8" and link.guessed and link.how.startswith("no request seen")


def test_a_functional_request_with_several_answers_has_a_link_of_its_own() -> None:
    rows: list[Row] = [
        (0, "7DF 02 01 00"), (4, "7E8 06 41 00 80 00 00 01"), (5, "7EA 06 41 00 80 00 00 01"),
        *vin("7E0", "7E8", 200),
    ]  # fmt: skip
    links = find(rows)
    assert keys(links) == ["can0:7E0>7E8", "can0:7E2>7EA", "can0:7DF>"]
    assert [link.guessed for link in links] == [False, True, False] and links[2].functional


def test_an_id_of_no_standard_that_several_modules_answer_is_functional() -> None:
    rows: list[Row] = [
        *vin("712", "71A", 0), *vin("722", "72A", 50),
        (100, "700 02 10 03"), (104, "71A 02 50 03"), (105, "72A 02 50 03"),
    ]  # fmt: skip
    links = find(rows)
    assert keys(links) == ["can0:712>71A", "can0:722>72A", "can0:700>"]
    assert "several ids" in links[2].how


def test_an_id_that_only_asks_for_no_answer_is_functional() -> None:
    rows = mixed(every(2000, "700 02 3E 80"), vin("712", "71A"))
    links = find(rows)
    assert keys(links) == ["can0:712>71A", "can0:700>"] and links[1].guessed


def test_normal_fixed_addressing_is_found_whatever_the_priority() -> None:
    (link,) = find(vin("18DA2AF1", "18DAF12A"))
    assert link.key == "can0:18DA2AF1>18DAF12A" and link.addressing is Addressing.NORMAL_FIXED
    assert keys(find(vin("1CDA2AF1", "1CDAF12A"))) == ["can0:1CDA2AF1>1CDAF12A"]


def test_two_testers_are_two_links() -> None:
    rows = mixed(vin("18DA2AF1", "18DAF12A", 100), vin("18DA2AF9", "18DAF92A", 103.5))
    assert keys(find(rows)) == ["can0:18DA2AF1>18DAF12A", "can0:18DA2AF9>18DAF92A"]


def test_extended_addressing_names_the_address_bytes() -> None:
    rows = mixed(
        vin("6F1", "61A", 100, flow_address="1A", data_address="F1"),
        vin("6F1", "62B", 300, flow_address="2B", data_address="F1"),
    )
    links = find(mixed(noise(1), rows))
    assert keys(links) == ["can0:6F1.1A>61A.F1", "can0:6F1.2B>62B.F1"]
    assert all(link.addressing is Addressing.EXTENDED for link in links)


def test_another_address_on_a_known_tester_is_a_silent_module_or_a_group() -> None:
    rows: list[Row] = [
        *vin("6F1", "61A", 100, flow_address="1A", data_address="F1"),
        (300, "6F1 40 02 10 03"), (400, "6F1 DF 02 3E 80"),
    ]  # fmt: skip
    links = find(rows)
    assert keys(links) == ["can0:6F1.1A>61A.F1", "can0:6F1.40>640.F1", "can0:6F1.DF>"]
    assert [link.guessed for link in links] == [False, True, True]


def test_the_group_of_the_gmw_dialect_is_found_beside_plain_ids() -> None:
    rows: list[Row] = [
        (0, "101 FE 01 28 00 00 00 00 00"), (50, "101 FE 02 A5 01 00 00 00 00"), (90, "101 FE 01 3E 00 00 00 00 00"),
        *vin("7E0", "7E8"),
    ]  # fmt: skip
    assert keys(find(rows)) == ["can0:7E0>7E8", "can0:101.FE>"]


def test_mixed_addressing_has_the_same_address_byte_both_ways() -> None:
    (link,) = find(vin("18CE10F1", "18CEF110", flow_address="55", data_address="55"))
    assert link.key == "can0:18CE10F1.55>18CEF110.55" and link.addressing is Addressing.MIXED


def test_mixed_29_bit_addresses_of_each_other_are_a_hint_that_one_exchange_is_enough_for() -> None:
    """18CExxyy and 18CEyyxx with one extension (ISO 15765-2:2016, 10.3.5 (M))."""
    asked, answer = (100, "18CE2AF1 55 03 22 F1 90"), "18CEF12A 55 05 62 F1 90 41 42"
    assert keys(find([asked, (104, answer)])) == ["can0:18CE2AF1.55>18CEF12A.55"]
    assert find([asked, (104, answer.replace(" 55 ", " 56 ", 1))]) == []
    assert find([asked, (104, answer.replace("18CEF12A", "18CEF12B"))]) == []


def test_the_group_of_mixed_addressing_is_known_by_its_id() -> None:
    """18CDxxyy is the functional id of mixed addressing with 29 bits. ISO 15765-2:2016, 10.3.5 (M)."""
    asked = vin("18CE44F1", "18CEF144", data_address="9C", flow_address="9C")
    links = find(mixed(asked, every(2000, "18CD33F1 9C 02 3E 80")))
    assert [(link.key, link.functional) for link in links] == [
        ("can0:18CE44F1.9C>18CEF144.9C", False), ("can0:18CD33F1.9C>", True),
    ]  # fmt: skip


def test_the_same_ids_on_two_channels_are_two_links() -> None:
    rows = mixed(vin("7E0", "7E8", 100), vin("can1:7E0", "can1:7E8", 200))
    assert keys(find(rows)) == ["can0:7E0>7E8", "can1:7E0>7E8"]


def test_what_the_user_names_wins() -> None:
    rows = mixed(vin("7E0", "7E8", 100), vin("can1:7E0", "can1:7E8", 200))
    links = find(rows, "7E0>7E9", "can1:640>641")
    assert keys(links) == ["can0:7E0>7E9", "can1:7E0>7E9", "can1:640>641"]
    assert all(link.how == "named by the user" for link in links)


def test_a_capture_in_which_every_frame_stands_twice_gives_the_same_links() -> None:
    rows = mixed(vin("7E0", "7E8", 100), [(200, "7E0 02 3E 00"), (204, "7E8 02 7E 00")])
    doubled = mixed(rows, [(at + 0.05, text) for at, text in rows])
    assert keys(find(doubled)) == keys(find(rows)) == ["can0:7E0>7E8"]


def test_the_size_of_the_chunks_does_not_matter() -> None:
    rows = mixed(noise(3, until_ms=2000), vin("712", "71A", 555), every(500, "7DF 02 3E 80", until_ms=2000))
    assert find(rows, chunk=37) == find(rows) and keys(find(rows)) == ["can0:712>71A", "can0:7DF>"]


def test_an_empty_capture_has_no_links() -> None:
    finder = LinkFinder()
    finder.feed(table([]))
    assert finder.links() == []
    assert keys(finder.links([parse_link("7E0>7E8")])) == [":7E0>7E8"]
