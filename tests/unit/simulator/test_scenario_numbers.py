"""Every computed number of the invented worlds, calculated once before and again here.

VIN check digits: 49 CFR 565.15. CRC-32: zlib. Everything else is our own invention; the literals were first
computed by another script than the simulator.
"""

from __future__ import annotations

import zlib

import pytest
from simulator import bench, coach, van
from simulator.keys import key_for
from simulator.memory import crc16, image
from simulator.vin import check_sign, weighted_sum

RECORDS = [
    "02 01 26 04 11 87 00 0C 00 97 01 97 02 93 03 95 04 94 05 93 06 8F DD 2F",
    "02 02 26 04 11 93 00 0C 00 92 01 8E 02 8C 03 88 04 89 05 83 06 7E 0E 0F",
    "02 03 26 04 12 02 00 0C 00 95 01 92 02 91 03 8F 04 91 05 8C 06 8B C8 E9",
    "02 04 26 04 12 10 00 0C 00 8F 01 8F 02 87 03 87 04 85 05 7E 06 7C 12 74",
    "02 05 26 04 12 16 00 0C 00 9A 01 9A 02 96 03 99 04 98 05 97 06 96 D5 4D",
    "02 06 26 04 12 21 00 0C 00 96 01 91 02 90 03 8C 04 8E 05 87 06 88 52 4F",
    "02 07 26 04 12 30 00 0C 00 93 01 94 02 8D 03 91 04 8A 05 8F 06 81 21 A8",
]


@pytest.mark.parametrize(
    ("vin", "total"),
    [(coach.VIN, 280), (coach.FOREIGN_VIN, 329), (van.VIN, 289), (bench.VIN, None), (coach.KEEPER_FOREIGN_VIN, None)],
)
def test_check_digits_of_all_invented_vins_are_right(vin: str, total: int | None) -> None:
    assert len(vin) == 17
    assert vin[8] == check_sign(vin)
    assert total in (None, weighted_sum(vin))


def test_a_swapped_pair_breaks_the_check_digit() -> None:
    swapped = "E0KRC7HT5TD004271"
    assert swapped[8] != check_sign(swapped)


@pytest.mark.parametrize(
    ("seed", "key"), [(0x5A3C91E7, 0x90CEE908), (0x11C0FFEE, 0x6EF9EDAD), (0x7E2B4406, 0x9B24199A)]
)
def test_keys_follow_from_seeds(seed: int, key: int) -> None:
    assert key_for(seed) == key


@pytest.mark.parametrize(
    ("text", "size", "crc", "first"),
    [
        ("coach driver", 0x600, 0x424BC2D7, "B59F9949"),
        ("coach application", 0x6000, 0x390C7A1B, "9BB1A7E0"),
        ("coach calibration 0418", 0x1000, 0x3E690155, "56FB8E4D"),
        ("coach calibration 0412", 0x1000, 0x74CBCBE9, "EE5FD842"),
        ("van calibration 2207", 0x9600, 0x6A637C59, "DD7941FF"),
        ("van calibration 2204", 0x9600, 0xD8B86769, "E4EED573"),
    ],
)
def test_images_have_their_checksums(text: str, size: int, crc: int, first: str) -> None:
    data = image(text, size)
    assert (len(data), zlib.crc32(data), data[:4].hex().upper()) == (size, crc, first)


def test_crc16_has_the_check_value_of_its_kind() -> None:
    assert crc16(b"123456789") == 0x29B1  # CRC-16/IBM-3740 in the catalogue of parametrised CRC algorithms (M)


def test_solenoid_records_are_as_invented() -> None:
    assert [record.hex(" ").upper() for record in coach.RECORDS] == RECORDS
    assert coach.SET_RECORD.hex(" ").upper() == "56 42 32 36 30 34 31 37 07 F7 C8 BC C3"


def test_pressures_rise_along_every_record() -> None:
    assert all(list(points) == sorted(set(points)) for points in coach.PRESSURES)


def test_injector_codes_are_as_invented() -> None:
    assert van.OLD_CODES == ("5S9GHW6H", "13WDLGJ7", "1117JHC4", "5PGJSVRG")
    assert van.NEW_CODES == ("12R7R2V3", "5R41R7RY", "154AHECA", "5TEY4MTV")
    assert van.injector_code(0, 0, 0, 0) == "11111111"
    assert van.IN_FIRING_ORDER == ("12R7R2V3", "154AHECA", "5TEY4MTV", "5R41R7RY")


def test_the_job_sheets_ask_for_what_the_worlds_hold() -> None:
    import tomllib
    from pathlib import Path

    fixtures = Path(__file__).parents[3] / "fixtures"
    sheets = {name: tomllib.loads((fixtures / f"{name}.toml").read_text()) for name in ("coach", "van", "uds11")}
    assert sheets["coach"]["vehicle"]["vin"] == coach.VIN
    assert sheets["van"]["vehicle"]["vin"] == van.VIN
    assert sheets["uds11"]["vehicle"]["vin"] == bench.VIN
    written = [bytes.fromhex(trim["value"]).decode() for trim in sheets["van"]["module"][0]["trims"]]
    assert tuple(written) == van.NEW_CODES
    calibration = image("bench calibration 34", bench.Plan().calibration_size)
    assert sheets["uds11"]["module"][0]["programming"]["cvn"] == f"{zlib.crc32(calibration):08X}"
