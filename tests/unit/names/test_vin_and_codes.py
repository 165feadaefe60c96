"""Vehicle identification numbers and fault codes.

Source of the check digit: 49 CFR 565.15 (values, weights, remainder 10 = X). The made-up numbers below are
computed; 1M8GDM9AXKP042788 and 11111111111111111 stand in public articles, W0L000051T2123456 in the tests of
scapy 2.8.0. The coach and van numbers are of our own demo.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.names.dids import obd_parameter, obd_vehicle_information
from canlog.names.dtc import FAILURE_TYPES, PROGRAMMING_FAILURE_TYPES, dtc_text, parse_dtc, status_text
from canlog.names.vin import ALPHABET, VALUES, WEIGHTS, check_digit, check_vin, is_blank, is_well_formed, model_years

#: VIN, products by position, sum, check digit, right, finding.
VINS = [
    ("11111111111111111", "8 7 6 5 4 3 2 10 0 9 8 7 6 5 4 3 2", 89, "1", True, ""),
    ("1M8GDM9AXKP042788", "8 28 48 35 16 12 18 10 0 18 56 0 24 10 28 24 16", 351, "X", True, ""),
    ("1ZZZA11A8AZ000001", "8 63 54 45 4 3 2 10 0 9 72 0 0 0 0 0 2", 272, "8", True, ""),
    ("W0L000051T2123456", "48 0 18 0 0 0 0 50 0 27 16 7 12 15 16 15 12", 236, "5", False, ""),
    ("1M8GDM9AXKP042789", "8 28 48 35 16 12 18 10 0 18 56 0 24 10 28 24 18", 353, "1", False,
     "check digit X should be 1"),
]  # fmt: skip


@pytest.mark.parametrize(("vin", "products", "total", "digit", "right", "finding"), VINS)
def test_a_check_digit_is_computed_as_the_law_says(
    vin: str, products: str, total: int, digit: str, right: bool, finding: str
) -> None:
    by_hand = [VALUES[sign] * weight for sign, weight in zip(vin, WEIGHTS, strict=True)]
    assert by_hand == [int(text) for text in products.split()]
    assert sum(by_hand) == total
    checked = check_vin(vin.encode())
    assert (check_digit(vin), checked.check_digit_right, checked.finding) == (digit, right, finding)


@pytest.mark.parametrize("vin", ["E0KRC7HT5TD004217", "E0KRC5HTXRD002086", "E0VLK3PS3SM018855"])
def test_the_numbers_of_the_demo_have_right_digits_and_a_swapped_pair_betrays_itself(vin: str) -> None:
    assert check_vin(vin).check_digit_right
    swapped = vin[:-2] + vin[-1] + vin[-2]
    assert vin[-1] == vin[-2] or not check_vin(swapped).check_digit_right
    assert check_vin(swapped).finding == ""  # its region asks for no check digit


@pytest.mark.parametrize("region", sorted(ALPHABET))
def test_a_wrong_digit_is_a_finding_only_where_the_law_asks_for_it(region: str) -> None:
    vin = region + "M8GDM9AZKP042788"  # Z is never a right digit
    assert bool(check_vin(vin).finding) == (region in "123457")
    assert not check_vin(vin).check_digit_right


@pytest.mark.parametrize("data", [b"\xff" * 17, bytes(17), b" " * 17, b"0" * 17, b"", b"\x00\xff" * 8])
def test_a_number_never_written_is_blank_not_wrong(data: bytes) -> None:
    assert is_blank(data)
    checked = check_vin(data)
    assert (checked.blank, checked.well_formed, checked.finding) == (True, False, "blank")


def test_fill_bytes_at_the_ends_are_no_part_of_the_number() -> None:
    assert check_vin(b"\x00\x00\x001M8GDM9AXKP042788").text == "1M8GDM9AXKP042788"
    assert check_vin(b"1M8GDM9AXKP042788\xff").finding == ""


@pytest.mark.parametrize("vin", ["1M8GDM9AXKP04278", "1M8GDM9AXKP0427888", "IM8GDM9AXKP042788", "1m8gdm9axkp042788"])
def test_other_signs_or_lengths_are_not_well_formed(vin: str) -> None:
    assert not is_well_formed(vin)
    assert check_vin(vin).finding.startswith("not 17")
    with pytest.raises(ValueError, match="is not a VIN"):
        check_digit(vin)


@given(data=st.one_of(st.binary(max_size=24), st.text(max_size=20)))
def test_any_bytes_can_be_checked(data: bytes | str) -> None:
    checked = check_vin(data)
    assert checked.well_formed == bool(checked.check_digit)
    assert model_years(checked.text) is not None


@given(vin=st.text(st.sampled_from(sorted(ALPHABET)), min_size=17, max_size=17))
def test_putting_the_digit_in_makes_it_right(vin: str) -> None:
    fixed = vin[:8] + check_digit(vin) + vin[9:]
    assert check_digit(fixed) == check_digit(vin)  # position 9 has weight 0
    assert is_blank(fixed.encode()) or check_vin(fixed).check_digit_right


def test_a_model_year_comes_twice_in_60_years_and_only_in_north_america() -> None:
    """49 CFR 565.15: J is 1988 and 3 is 2003 in public articles; A is 2010 in 73 FR 23367."""
    assert model_years("1M8GDM9AXKP042788") == (1989, 2019)
    assert model_years("1M8GDM9AXJP042788") == (1988, 2018)
    assert model_years("1M8GDM9AXAP042788") == (1980, 2010)
    assert model_years("1M8GDM9AX3P042788") == (2003, 2033)
    assert model_years("W0L000051T2123456") == ()
    assert model_years("1M8GDM9AX0P042788") == ()


@given(code=st.integers(0, 0xFFFFFF))
def test_a_fault_code_reads_back(code: int) -> None:
    assert parse_dtc(dtc_text(code)) == code


@pytest.mark.parametrize("text", ["", "P", "X0143-00", "P4143", "P014", "P0143-0", "P0143/00", "P0143-000", "P01G3"])
def test_other_text_is_no_fault_code(text: str) -> None:
    with pytest.raises(ValueError, match=r"fault code|invalid literal"):
        parse_dtc(text)


def test_a_status_without_bits_says_so() -> None:
    assert status_text(0) == "00 no bit set"
    assert status_text(0x09) == "09 testFailed, confirmedDTC"


def test_failure_types_that_speak_of_programming_are_known() -> None:
    assert set(FAILURE_TYPES) >= PROGRAMMING_FAILURE_TYPES
    assert all(0 <= number <= 0xFF for number in FAILURE_TYPES)


def test_identifiers_that_carry_obd_data_say_which() -> None:
    assert obd_parameter(0xF442) == 0x42
    assert obd_parameter(0xF842) is None
    assert obd_vehicle_information(0xF806) == 0x06
    assert obd_vehicle_information(0xF190) is None
