"""Any bytes in any dialect: nothing raises, every byte is accounted for, every pair can be compared.

Generator: hypothesis; no outside source, these are properties of our own engine.
"""

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from canlog.services import gmw3110, kwp
from canlog.services.decode import DIALECTS, decode_request, decode_response
from canlog.services.layout import Decoded, Kind
from canlog.services.matching import Answer, Silence, answers, expects_answer, is_pending, is_suppressed, silence_means

DIALECT = st.sampled_from(list(DIALECTS))
#: First bytes that mean something somewhere, so that layouts are reached.
FIRST = st.sampled_from(sorted({sid for one in DIALECTS.values() for _, sid in one.layouts}))


def accounted(decoded: Decoded) -> bool:
    """The fields, in order and without gap, and the rest make up the message; second readings lie inside."""
    at = 0
    for field in decoded.fields:
        if field.size:
            if field.offset != at:
                return False
            at += field.size
        elif field.value not in (b"", "") and field.offset >= at:
            return False
    return decoded.data[at:] == decoded.rest


@pytest.mark.parametrize("dialect", DIALECTS)
@given(data=st.binary(max_size=60), asked=st.binary(max_size=12), width=st.sampled_from([None, 2, 3, 4]))
@example(data=b"", asked=b"", width=None)
def test_any_bytes_decode_in_any_dialect(dialect: str, data: bytes, asked: bytes, width: int | None) -> None:
    for decoded in (
        decode_request(data, dialect, address_bytes=width),
        decode_response(data, dialect),
        decode_response(data, dialect, request=asked),
    ):
        assert decoded.data == data
        assert accounted(decoded)
        assert decoded.text()


@pytest.mark.parametrize("dialect", DIALECTS)
@given(sid=FIRST, tail=st.binary(max_size=40))
def test_any_tail_of_a_service_decodes_in_any_dialect(dialect: str, sid: int, tail: bytes) -> None:
    assert accounted(decode_request(bytes([sid]) + tail, dialect))
    assert accounted(decode_response(bytes([(sid + 0x40) & 0xFF]) + tail, dialect))
    refused = decode_response(bytes([0x7F, sid]) + tail, dialect)
    assert accounted(refused)
    assert (refused.kind, refused.service) == (Kind.NEGATIVE, sid)


@given(dialect=DIALECT, sid=FIRST, tail=st.binary(max_size=8), answer=st.binary(max_size=8), functional=st.booleans())
def test_any_two_messages_can_be_compared_in_any_dialect(
    dialect: str, sid: int, tail: bytes, answer: bytes, functional: bool
) -> None:
    request = bytes([sid]) + tail
    for response in (answer, bytes([(sid + 0x40) & 0xFF]) + answer, bytes([0x7F, sid]) + answer):
        match = answers(request, response, dialect)
        assert match.why
        assert match.is_final <= bool(match)
        assert (match.answer is Answer.PENDING) <= is_pending(response, dialect)
    means = silence_means(request, functional, dialect=dialect)
    assert means in Silence
    assert expects_answer(request, functional, dialect) == (means is Silence.LOST)
    assert not (is_suppressed(request, dialect) and expects_answer(request, functional, dialect))


@given(dialect=DIALECT, sid=FIRST, tail=st.binary(min_size=1, max_size=8))
def test_an_answer_that_repeats_the_whole_request_is_never_another_s(dialect: str, sid: int, tail: bytes) -> None:
    """Bit 7 is masked in UDS, so it is left out; services that repeat less are satisfied too."""
    tail = bytes([tail[0] & 0x7F]) + tail[1:]
    match = answers(bytes([sid]) + tail, bytes([(sid + 0x40) & 0xFF]) + tail, dialect)
    asked = decode_request(bytes([sid]) + tail, dialect)
    if sid + 0x40 <= 0xFF and not asked.problems and sid in (0x10, 0x11, 0x14, 0x1A, 0x21, 0x2E, 0x30, 0x3B, 0x83):
        assert match


@given(frame=st.binary(max_size=8), blocks=st.lists(st.binary(max_size=6), max_size=8))
def test_reports_and_blocks_of_any_bytes_are_read(frame: bytes, blocks: list[bytes]) -> None:
    for service in gmw3110.ANSWERED_BY_FRAMES:
        assert accounted(gmw3110.decode_report(frame, service))
    width = gmw3110.address_bytes_of(frame)
    assert width is None or width in gmw3110.ADDRESS_WIDTHS
    assert kwp.blocks_are_counted(blocks) in (None, True, False)
