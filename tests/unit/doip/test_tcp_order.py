"""TCP put in order (RFC 9293): every byte once, and holes where bytes never came."""

from __future__ import annotations

from canlog.capture.ip import FIN, SYN, TCP, Datagram
from canlog.doip.pieces import MOST_WAITING, Piece, Place, TcpStream

START = 2**32 - 5  # the numbers turn over inside


def segment(at: int, data: bytes, *, flags: int = 0, size: int | None = None) -> Datagram:
    sequence = (START + at) % 2**32
    return Datagram(TCP, b"", b"", 1, 2, sequence, flags, data, len(data) if size is None else size, False)


def pieces(*segments: Datagram, flush: bool = True) -> list[Piece]:
    stream = TcpStream()
    found = [
        piece for line, each in enumerate(segments, start=1) for piece in stream.feed(each, Place(line, line, line))
    ]
    return found + (list(stream.flush()) if flush else [])


def text(found: list[Piece]) -> list[bytes | int]:
    return [piece.lost or piece.data for piece in found]


def test_segments_in_order_are_passed_on_with_their_packets() -> None:
    found = pieces(segment(-1, b"", flags=SYN), segment(0, b"abcdef"), segment(6, b"ghi"))
    assert text(found) == [b"abcdef", b"ghi"]
    assert [piece.place.line for piece in found] == [2, 3]


def test_a_segment_that_overtook_another_waits_for_it() -> None:
    found = pieces(segment(0, b"ab"), segment(6, b"gh"), segment(4, b"ef"), segment(2, b"cd"), flush=False)
    assert text(found) == [b"ab", b"cd", b"ef", b"gh"]
    assert [piece.place.line for piece in found] == [1, 4, 3, 2]


def test_what_was_seen_before_is_passed_on_once() -> None:
    found = pieces(segment(0, b"abcd"), segment(0, b"abcd"), segment(2, b"cdef"), segment(6, b"g"))
    assert text(found) == [b"abcd", b"ef", b"g"]


def test_a_repeat_is_counted_and_a_sign_of_life_is_not() -> None:
    stream = TcpStream()
    for line, each in enumerate((segment(0, b"abcd"), segment(3, b"d"), segment(0, b"abcd")), start=1):
        list(stream.feed(each, Place(line, line, line)))
    assert stream.n_repeated == 1
    assert stream.first_repeat == Place(3, 3, 3)


def test_bytes_that_never_come_are_a_hole_of_known_size() -> None:
    found = pieces(segment(0, b"ab"), segment(7, b"hi"))
    assert text(found) == [b"ab", 5, b"hi"]
    assert found[1].place.line == 2


def test_a_hole_is_believed_when_much_waits_behind_it() -> None:
    behind = [segment(10 + at, b"x") for at in range(MOST_WAITING + 1)]
    found = pieces(segment(0, b"ab"), *behind, flush=False)
    assert text(found)[:2] == [b"ab", 8]
    assert len(found) == 2 + len(behind)


def test_a_packet_that_was_cut_leaves_a_hole_behind_what_was_recorded() -> None:
    assert text(pieces(segment(0, b"ab", size=6), segment(6, b"gh"))) == [b"ab", 4, b"gh"]


def test_of_two_copies_that_wait_the_longer_one_counts() -> None:
    assert text(pieces(segment(0, b"a"), segment(3, b"d"), segment(3, b"def"), segment(1, b"bc"))) == [
        b"a", b"bc", b"def",
    ]  # fmt: skip


def test_the_stream_is_closed_when_all_before_the_end_mark_has_come() -> None:
    stream = TcpStream()
    list(stream.feed(segment(0, b"ab"), Place(1, 1, 1)))
    list(stream.feed(segment(4, b"ef", flags=FIN), Place(2, 2, 2)))
    assert not stream.is_closed
    list(stream.feed(segment(2, b"cd"), Place(3, 3, 3)))
    assert stream.is_closed


def test_a_new_beginning_between_the_same_ports_is_another_connection() -> None:
    stream = TcpStream()
    first = segment(-1, b"", flags=SYN)
    assert not stream.is_other(first)
    list(stream.feed(first, Place(1, 1, 1)))
    list(stream.feed(segment(0, b"abcd"), Place(2, 2, 2)))
    assert not stream.is_other(first)  # sent again
    assert stream.is_other(segment(-900, b"", flags=SYN))
    assert stream.is_other(segment(2**30, b"xy"))
    assert not stream.is_other(segment(2000, b"xy"))
