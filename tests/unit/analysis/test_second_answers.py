"""A request that was answered twice, once so and once otherwise, proves nothing by either answer."""

from __future__ import annotations

import pytest
from talk import CHECK, NAMES, SOFTWARE, Talk, ask, enter, gap, heard, module, programming, read, reset, word_of, write

BEFORE: list[Talk] = [read("F188", SOFTWARE), enter()]


@pytest.mark.parametrize("second", ["7F 31 72", "7F 31 22", "71 01 0266 01"])
def test_a_check_that_is_answered_otherwise_at_once_proves_nothing(second: str) -> None:
    checked = [*ask(CHECK, "71 01 0266 00"), module(second)]
    assert word_of(heard(BEFORE, programming(), checked, names=NAMES), "download")[0] in ("unproven", "failed")


def test_an_answer_to_something_else_or_long_after_takes_nothing_away() -> None:
    checked = ask(CHECK, "71 01 0266 00")
    for more in (module("7F 22 31"), [gap(5), module("7F 31 72")]):
        assert word_of(heard(BEFORE, programming(), checked, more, names=NAMES), "download")[0] == "confirmed"


def test_nor_does_a_list_of_faults() -> None:
    talk: list[Talk] = [ask("19 02 FF", "59 02 FF 123456 08"), ask("14 FFFFFF", "54")]
    once = ask("19 02 FF", "59 02 FF")
    assert word_of(heard(talk, once), "clear") == ("confirmed", "high")
    assert word_of(heard(talk, once, module("59 02 FF 123456 08")), "clear")[0] != "confirmed"


def test_nor_does_a_value_read_back() -> None:
    talk: list[Talk] = [ask("10 03", "50 03 0032 01F4"), write("3A01", "0102"), reset(), read("3A01", "0102")]
    assert word_of(heard(talk), "write") == ("confirmed", "high")
    assert word_of(heard(talk, module("7F 22 31")), "write")[0] != "confirmed"
