"""Which dialect a link speaks, from its messages: short sessions of our own in each dialect.

Forms of the messages: ISO 14229-1:2020 (M), ISO 14230-3 (M), GMW3110 1.6 (M), SAE J1979 (M).
"""

from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.isotp.addressing import Direction
from canlog.services.decode import DIALECTS
from canlog.services.dialects import FORMS, ONLY, DialectGuess, DialectJudge, judge_dialect


def messages(*texts: str) -> Iterator[tuple[str, bytes]]:
    """``>`` in front of a request, ``<`` of a response."""
    for text in texts:
        yield ("request" if text[0] == ">" else "response"), bytes.fromhex(text[1:])


UDS = (">10 03", "<50 03 00 32 01 F4", ">22 F1 90", "<62 F1 90 31 4D", ">3E 80", ">31 01 FF 00", "<71 01 FF 00 00",
       ">34 00 44 00 08 00 00 00 00 60 00", "<74 20 0F 02", ">11 01", "<51 01")  # fmt: skip
KWP = (">10 85", "<50 85", ">1A 90", "<5A 90 31 4D", ">3E 02", ">31 E0", "<71 E0", ">34 08 00 00 00 00 60 00", "<74 82",
       ">14 FF 00", "<54 FF 00", ">3B 9A 01", "<7B 9A")  # fmt: skip
GMW = (">28", "<68", ">A2", "<E2 00", ">A5 01", "<E5", ">A5 03", ">1A C1", "<5A C1 00 12 34 56", ">34 00 00 00 60 00",
       "<74", ">3B 90 31", "<7B 90", ">20", "<60")  # fmt: skip
OBD = (">01 00", "<41 00 BE 3F A8 13", ">09 02", "<49 02 01 31 4D", ">03", "<43 00")


@pytest.mark.parametrize(
    ("session", "dialect"), [(UDS, "uds"), (KWP, "kwp2000"), (GMW, "gmw3110"), (OBD, "obd")], ids=list(DIALECTS)
)
def test_a_session_is_known_by_its_answers(session: tuple[str, ...], dialect: str) -> None:
    guess = judge_dialect(messages(*session))
    assert (guess.dialect, guess.is_mixed) == (dialect, False)
    assert guess.evidence
    assert guess.score >= 3
    assert guess.text.startswith(f"{dialect}: ")


@pytest.mark.parametrize(
    ("session", "dialect"),
    [
        ((">10 85", "<50 85"), "kwp2000"),
        ((">10 89", "<50 89"), "kwp2000"),
        ((">10 01", "<50 01 00 32 01 F4"), "uds"),
        ((">10 02", "<50"), "gmw3110"),
        ((">21 01", "<61 01 05"), "kwp2000"),
        ((">18 00 FF 00", "<58 00"), "kwp2000"),
        ((">30 10 08 05", "<70 10 08 05"), "kwp2000"),
        ((">19 02 FF", "<59 02 FF"), "uds"),
        ((">2F 4A 10 03 01", "<6F 4A 10 03"), "uds"),
        ((">29 00", "<69 00 10"), "uds"),
        ((">29 01", "<69"), "kwp2000"),
        ((">28 01", "<68"), "kwp2000"),
        ((">28 01 01", "<68 01"), "uds"),
        ((">28", "<68"), "gmw3110"),
        ((">A2", "<E2 01"), "gmw3110"),
        ((">A5 01", "<E5"), "gmw3110"),
        ((">A5 03",), "gmw3110"),
        ((">AE 10 00 00 00 00 00", "<EE 10"), "gmw3110"),
        ((">A2", "<7F A2 22"), "gmw3110"),
        ((">1A C1", "<5A C1 00 12 34 56"), "gmw3110"),
        ((">14 FF 00", "<54 FF 00"), "kwp2000"),
        ((">14 FF FF FF", "<54"), "uds"),
        ((">01 0C", "<41 0C 1A F8"), "obd"),
        ((">04", "<7F 04 22"), "obd"),
        ((">22 F1 90",), "uds"),
        ((), "uds"),
        (("<61 01 05",), "kwp2000"),  # only the module was recorded
        (("<50 03 00 32 01 F4",), "uds"),
    ],
)
def test_one_exchange_tells(session: tuple[str, ...], dialect: str) -> None:
    assert judge_dialect(messages(*session)).dialect == dialect


def test_an_identification_alone_is_kwp_and_the_doubt_is_said() -> None:
    guess = judge_dialect(messages(">1A 90", "<5A 90 31"))
    assert guess.dialect == "kwp2000"
    assert guess.note == "read as KWP2000, could be GMW3110"


def test_a_positive_answer_weighs_more_than_requests() -> None:
    tried = (">1A 90", ">21 01", ">18 00 FF 00", ">A2", ">A5 01", ">AE 10 00 00 00 00 00")
    guess = judge_dialect(messages(*tried * 50, ">10 03", "<50 03 00 32 01 F4"))
    assert (guess.dialect, guess.is_mixed) == ("uds", False)


def test_a_service_that_the_module_does_not_have_is_no_sign() -> None:
    assert judge_dialect(messages(">1A 90", "<7F 1A 11", ">21 01", "<7F 21 11")).dialect == "uds"
    assert judge_dialect(messages(">1A 90", "<7F 1A 12")).dialect == "kwp2000"
    assert judge_dialect(messages(">01 0C", "<7F 01 11")).evidence == ()


@pytest.mark.parametrize(
    ("session", "dialect"),
    [
        # A scan of one vehicle in which both dialects are fitted: every module is asked in both ways.
        ((">10 03", ">10 90", ">20"), "uds"),
        ((">10 03", "<50 03", ">20", "<60", ">18 60 FF 00", "<7F 18 11", ">19 02 08", "<7F 19 7F", "<7F 20 7F"), "uds"),
        ((">10 03", "<50 03", ">10 90", "<50 90", ">20", "<60", ">19 02 08", "<59 02 FF 58 12 87 28"), "uds"),
        ((">10 03", "<7F 10 12", ">10 90", "<50 90", ">20", "<60", ">19 02 08", "<7F 19 11", ">18 00 FF 00", "<58 00",
          ">18 02 80 00", "<7F 18 12", "<41 00 80 00 00 01"), "kwp2000"),
    ],
    ids=["asked only", "refused in a session", "older uds", "kwp2000"],
)  # fmt: skip
def test_a_scan_that_tries_both_dialects_does_not_mislead(session: tuple[str, ...], dialect: str) -> None:
    """Shapes of messages as in a public scan of an electric car (data licence CC0-1.0); the codes are changed."""
    assert judge_dialect(messages(*session)).dialect == dialect


@pytest.mark.parametrize(
    ("code", "dialect"), [("13", "uds"), ("7F", "uds"), ("73", "uds"), ("40", "kwp2000"), ("80", "kwp2000")]
)
def test_a_code_that_only_one_dialect_has_is_a_sign(code: str, dialect: str) -> None:
    assert judge_dialect(messages(">34 00", f"<7F 34 {code}")).dialect == dialect


def test_a_module_that_answers_both_is_read_as_uds_with_a_note() -> None:
    guess = judge_dialect(messages(*UDS, ">1A 90", "<5A 90 31", ">21 01", "<61 01 05"))
    assert (guess.dialect, guess.is_mixed) == ("uds", True)
    assert "kwp2000 too" in guess.note
    assert "5A answered" in guess.text


def test_identifiers_of_two_bytes_do_not_make_kwp_uds() -> None:
    guess = judge_dialect(messages(*KWP, ">22 12 34", "<62 12 34 05", ">2E 12 34 05", "<6E 12 34"))
    assert guess.dialect == "kwp2000"


def test_obd_beside_a_dialect_leaves_the_dialect() -> None:
    for session, dialect in ((UDS, "uds"), (KWP, "kwp2000"), (GMW, "gmw3110")):
        assert judge_dialect(messages(*OBD, *session)).dialect == dialect


def test_how_often_a_sign_comes_does_not_count() -> None:
    once, often = judge_dialect(messages(*KWP)), judge_dialect(messages(*KWP * 200))
    assert once == often


def test_the_judge_can_be_asked_at_any_time_and_knows_directions() -> None:
    judge = DialectJudge()
    assert judge.guess() == DialectGuess("uds", 0, ())
    judge.see(Direction.REQUEST, b"\x1a\x90")
    assert judge.guess().score == 1
    judge.see(Direction.RESPONSE, b"\x5a\x90\x31")
    assert judge.guess().score == 4


@given(
    st.lists(st.tuples(st.sampled_from(list(Direction)), st.binary(max_size=12)), max_size=40),
    st.lists(st.tuples(st.sampled_from(list(Direction)), st.binary(max_size=2)), max_size=40),
)
def test_any_messages_give_a_dialect_with_words(long: list[tuple[str, bytes]], short: list[tuple[str, bytes]]) -> None:
    guess = judge_dialect([*long, *short])
    assert guess.dialect in DIALECTS
    assert guess.score == 0 or guess.evidence
    assert guess.text


@pytest.mark.parametrize("dialect", ["kwp2000", "gmw3110"])
def test_what_only_one_dialect_knows_is_known_there(dialect: str) -> None:
    for service, dialects in ONLY.items():
        known = service in {sid for _, sid in DIALECTS[dialect].layouts}
        assert known or dialect not in dialects
    uds = {sid for _, sid in DIALECTS["uds"].layouts}
    assert all(service in uds for service, dialects in ONLY.items() if "uds" in dialects)
    assert not any(service in uds for service, dialects in ONLY.items() if "uds" not in dialects)
    assert set(FORMS) <= uds
