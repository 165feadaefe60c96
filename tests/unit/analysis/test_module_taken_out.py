"""The old module and the new one on the same link: what the old one held is not what the new one held before."""

from __future__ import annotations

import pytest
from talk import BLOCK, Talk, judged, log_of, only, raw, read, reset, write

from analysis.trims.sheet import trim_sheets

VALUE = "0126514804A30001A153"
OLD, NEW = b"SERIAL-0001", b"SERIAL-0002"
LATER_NS = 1_795_000_100 * 10**9


def word(before: list[Talk], after: list[Talk]) -> str:
    return str(only(judged(log_of(*before), log_of(*after, start_ns=LATER_NS)), "write").outcome.word)


WRITTEN: list[Talk] = [write("3A01", VALUE), reset(), read("3A01", VALUE)]


def test_the_value_of_the_module_taken_out_written_unchanged_is_proved_by_reading() -> None:
    assert word([read("F18C", OLD), read("3A01", VALUE)], [read("F18C", NEW), *WRITTEN]) == "confirmed"


@pytest.mark.parametrize(
    ("then", "now"),
    [
        ([], []),  # nobody asked for a serial number
        ([read("F18C", OLD)], []),
        ([], [read("F18C", NEW)]),
        ([read("F18C", OLD)], [read("F18C", OLD)]),  # the same unit
        ([read("F18C", OLD)], [read("F18C", b"\xff" * BLOCK)]),  # a blank number is no other unit
        ([read("F18C", OLD)], [read("F18C", NEW), read("F18C", OLD)]),  # both are told in one capture
        ([read("F18C", OLD)], [write("F18C", NEW), read("F18C", NEW)]),  # the tester gave it the number
    ],
)
def test_without_a_sign_of_another_unit_the_write_stays_unproven(then: list[Talk], now: list[Talk]) -> None:
    report = judged(log_of(*then, read("3A01", VALUE)), log_of(*now, *WRITTEN, start_ns=LATER_NS))
    (found,) = [item for item in report.operations if item.subject == "write 3A01"]
    assert found.outcome.word == "unproven"


def test_inside_one_capture_the_value_before_counts_whatever_the_serial_number() -> None:
    report = judged(log_of(read("F18C", OLD), read("3A01", VALUE), read("F18C", NEW), *WRITTEN))
    assert only(report, "write").outcome.word == "unproven"


def test_another_unit_does_not_prove_what_was_not_read_back() -> None:
    assert word([read("F18C", OLD), read("3A01", VALUE)], [read("F18C", NEW), write("3A01", VALUE)]) == "unproven"


def test_the_sheet_names_the_module_taken_out_as_the_source() -> None:
    logs = log_of(read("F18C", OLD), read("3A01", VALUE)), log_of(read("F18C", NEW), *WRITTEN, start_ns=LATER_NS)
    (found,) = [line for sheet in trim_sheets(judged(*logs)) for line in sheet.lines if line.identifier == "3A01"]
    assert found.old is None
    assert [(value, place.capture) for value, place in found.earlier] == [(raw(VALUE), 1)]
    assert [(one.identifier, one.place.capture) for one in found.sources] == [("3A01", 1)]
