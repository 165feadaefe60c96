"""Every published or confirmed example message, field by field (sources: tests/vectors/service_examples.csv)."""

import csv
import itertools
from pathlib import Path

import pytest

from canlog.isotp.pci import SingleFrame, decode_frame
from canlog.names.dtc import dtc_text, parse_dtc, status_bits, two_byte_dtc_text
from canlog.names.obd import parameter_value
from canlog.services.decode import decode_request, decode_response
from canlog.services.layout import Decoded
from canlog.services.matching import Silence, answers, silence_means

VECTORS = Path(__file__).parent.parent / "vectors" / "service_examples.csv"
ROWS = list(csv.DictReader(line for line in VECTORS.read_text().splitlines() if not line.startswith("#")))


def rows_of(*kinds: str) -> list[pytest.param]:
    return [pytest.param(row, id=row["id"]) for row in ROWS if row["kind"].split(":")[0] in kinds]


def value_of(text: str) -> int | bytes | str:
    if text.startswith("hex:"):
        return bytes.fromhex(text[4:])
    if text.startswith("'"):
        return text[1:-1].replace("\\0", "\0")
    return int(text, 0)


def check(decoded: Decoded, pair: str) -> None:
    """One pair of the column ``expect``."""
    if "~" in pair:
        where, _, text = pair.partition("~")
        found = {"text": decoded.text(), "note": " ".join(decoded.notes), "problem": " ".join(decoded.problems)}
        assert value_of(text) in found[where]
        return
    name, _, text = pair.partition("=")
    if name == "service":
        assert decoded.service == value_of(text)
    elif name == "kind":
        assert decoded.kind == value_of(text)
    elif name == "codes":
        assert " ".join(two_byte_dtc_text(code) for code in decoded.all("dtc")) == value_of(text)
    elif name.startswith("supported["):
        block, bits = decoded.rows("parameter_identifier", "data_record")[int(name[10:-1])]
        mask = int.from_bytes(bits, "big")
        numbers = [block + 1 + at for at in range(32) if mask >> 31 - at & 1]
        assert " ".join(f"{number:02X}" for number in numbers) == value_of(text)
    elif name.startswith("count:"):
        assert len(decoded.all(name[6:])) == value_of(text)
    elif name.startswith("value:"):
        parameters = dict(decoded.rows("parameter_identifier", "data_record"))
        number = int(name[6:], 16)
        assert parameter_value(number, parameters[number]) == pytest.approx(float(text), rel=1e-6)
    elif name.endswith("]"):
        name, _, place = name[:-1].partition("[")
        assert decoded.all(name)[int(place)] == value_of(text)
    else:
        assert decoded[name] == value_of(text)


def test_the_vectors_hold_every_example_once() -> None:
    assert [row["id"] for row in ROWS] == [f"E{number:03}" for number in range(42, 185)]
    assert all(row["expect"] and row["sources"] for row in ROWS)


@pytest.mark.parametrize("row", rows_of("request", "response"))
def test_a_message_decodes_to_the_fields_of_its_example(row: dict[str, str]) -> None:
    data = bytes.fromhex(row["bytes"])
    kind, _, dialect = row["kind"].partition(":")
    decode = decode_request if kind == "request" else decode_response
    decoded = decode(data, dialect or "uds")
    for pair in row["expect"].split(";"):
        check(decoded, pair)
    if "problem~" not in row["expect"]:
        assert decoded.problems == ()
        assert decoded.rest == b""


@pytest.mark.parametrize("row", rows_of("frame"))
def test_a_frame_to_all_modules_holds_the_message_of_its_example(row: dict[str, str]) -> None:
    can_id, address, *data = row["bytes"].split()
    assert (can_id, address) == ("101", "FE")
    frame = decode_frame(bytes.fromhex(address + "".join(data)), has_address=True)
    assert isinstance(frame, SingleFrame)
    decoded = decode_request(frame.data, row["kind"].partition(":")[2])
    for pair in row["expect"].split(";"):
        check(decoded, pair)
    assert decoded.data == b"\x3e"
    assert silence_means(decoded.data, functional=True, dialect="gmw3110") is Silence.MAY_BE_SUCCESS


@pytest.mark.parametrize("row", rows_of("exchange"))
def test_an_exchange_is_matched_as_in_its_example(row: dict[str, str]) -> None:
    request, *responses = (bytes.fromhex(part) for part in row["bytes"].split("|"))
    while responses and responses[0] == request:  # the tester asked again
        responses.pop(0)
    found = [answers(request, response).answer.value for response in responses]
    wanted = row["expect"].split()
    if wanted[-1].startswith("silence:"):
        found.append(f"silence:{silence_means(request, functional=False, pending_seen='pending' in found).value}")
    assert found == wanted


@pytest.mark.parametrize("row", rows_of("counters"))
def test_the_block_counter_runs_over_00(row: dict[str, str]) -> None:
    blocks = [decode_request(bytes.fromhex(part)) for part in row["bytes"].split("|")]
    counters = [block.number("block_sequence_counter") for block in blocks]
    assert counters == [int(text, 16) for text in row["expect"].split()]
    assert all((after - before) % 256 == 1 for before, after in itertools.pairwise(counters))


@pytest.mark.parametrize("row", rows_of("dtc3"))
def test_a_three_byte_code_has_its_text(row: dict[str, str]) -> None:
    code = int.from_bytes(bytes.fromhex(row["bytes"]), "big")
    assert dtc_text(code) == row["expect"]
    assert parse_dtc(row["expect"]) == code


@pytest.mark.parametrize("row", rows_of("dtc2"))
def test_a_two_byte_code_has_its_text(row: dict[str, str]) -> None:
    code = int.from_bytes(bytes.fromhex(row["bytes"]), "big")
    assert two_byte_dtc_text(code) == row["expect"]
    assert parse_dtc(row["expect"]) == code << 8


@pytest.mark.parametrize("row", rows_of("status"))
def test_a_status_byte_has_its_bits(row: dict[str, str]) -> None:
    assert list(status_bits(int(row["bytes"], 16))) == row["expect"].split()
