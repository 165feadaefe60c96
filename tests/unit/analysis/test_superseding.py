"""A later attempt at the same thing replaces an earlier one, which stays visible."""

from __future__ import annotations

from talk import (
    ADDRESS,
    CHECK,
    ERASE,
    IMAGE,
    KEEPER,
    NAMES,
    Talk,
    ask,
    block,
    download,
    enter,
    gap,
    heard,
    of_kind,
    programming,
    read,
    request,
    reset,
    words,
    write,
)  # fmt: skip

BEFORE: list[Talk] = [read("F190", "41"), enter()]
GOOD = ask(CHECK, "71 01 0266 00")
BROKEN: list[Talk] = [ask(*ERASE), request(), block(1, IMAGE[:32]), block(2, IMAGE[32:64], "7F 36 72")]


def test_a_second_download_of_the_same_memory_replaces_the_first() -> None:
    report = heard(BEFORE, BROKEN, enter(), programming(), GOOD, names=NAMES)
    first, second = of_kind(report, "download")
    assert (first.outcome.word, second.outcome.word) == ("failed", "confirmed")
    assert first.superseded_by == second.number
    assert second.superseded_by is None
    assert report.verdict.overall == "confirmed"


def test_a_failed_second_download_replaces_a_confirmed_first_one() -> None:
    report = heard(BEFORE, programming(), GOOD, enter(), BROKEN, names=NAMES)
    assert words(report, "download") == ["confirmed", "failed"]
    assert report.verdict.overall == "failed"


def test_an_erase_alone_replaces_what_it_erased() -> None:
    report = heard(BEFORE, programming(), GOOD, enter(), ask(*ERASE), gap(9), names=NAMES)
    assert words(report, "download") == ["confirmed", "interrupted"]
    assert of_kind(report, "download")[0].superseded_by is not None


def test_a_download_of_other_memory_replaces_nothing() -> None:
    report = heard(BEFORE, BROKEN, enter(), programming(address=ADDRESS + 0x10000), GOOD, names=NAMES)
    assert of_kind(report, "download")[0].superseded_by is None
    assert report.verdict.overall == "failed"


def test_a_download_over_a_corner_of_failed_memory_does_not_replace_it() -> None:
    report = heard(BEFORE, BROKEN, enter(), programming(address=ADDRESS + 0x20), GOOD, names=NAMES)
    assert of_kind(report, "download")[0].superseded_by is None
    assert report.verdict.overall == "failed"


def test_several_downloads_that_cover_the_failed_memory_replace_it() -> None:
    half = len(IMAGE) // 2
    report = heard(
        BEFORE, BROKEN, enter(), programming(IMAGE[:half]), GOOD, programming(IMAGE[half:], ADDRESS + half), GOOD,
        names=NAMES,
    )  # fmt: skip
    assert of_kind(report, "download")[0].superseded_by is not None


def test_the_same_memory_of_another_module_is_another_thing() -> None:
    other = [ask("10 02", "50 02 0032 01F4", on=KEEPER), ask(*ERASE, on=KEEPER)]
    report = heard(BEFORE, BROKEN, other)
    assert all(item.superseded_by is None for item in of_kind(report, "download"))


def test_a_second_write_of_an_identifier_replaces_the_first() -> None:
    report = heard(
        BEFORE, read("3A01", "FF"), write("3A01", "AA"), write("3A01", "BB"), reset(), read("3A01", "BB")
    )  # fmt: skip
    first, second = of_kind(report, "write")
    assert (first.outcome.word, second.outcome.word) == ("unproven", "confirmed")
    assert first.superseded_by == second.number


def test_a_write_of_another_identifier_replaces_nothing() -> None:
    report = heard(BEFORE, write("3A01", "AA", "7F 2E 22"), write("3A02", "BB"))
    assert [item.superseded_by for item in of_kind(report, "write")] == [None, None]
    assert report.verdict.overall == "failed"


def test_a_later_refused_write_replaces_an_accepted_one() -> None:
    report = heard(BEFORE, read("3A01", "FF"), write("3A01", "AA"), read("3A01", "AA"), write("3A01", "BB", "7F 2E 22"))
    assert report.verdict.overall == "failed"


def test_supporting_acts_are_never_superseded() -> None:
    report = heard(BEFORE, enter(), reset(), reset())
    acts = [item for kind in ("session", "unlock", "reset") for item in of_kind(report, kind)]
    assert len(acts) == 6
    assert all(item.superseded_by is None for item in acts)


def test_the_overall_word_is_the_worst_of_what_stands() -> None:
    good = [read("3A01", "FF"), write("3A01", "AA"), reset(), read("3A01", "AA")]
    assert heard(BEFORE, good).verdict.overall == "confirmed"
    assert heard(BEFORE, good, write("3A02", "BB")).verdict.overall == "unproven"
    assert heard(BEFORE, good, write("3A02", "BB"), ask("2E 3A03 CC"), gap(9)).verdict.overall == "interrupted"
    every = heard(BEFORE, good, write("3A02", "BB"), ask("2E 3A03 CC"), gap(9), write("3A04", "DD", "7F 2E 22"))
    assert every.verdict.overall == "failed"


def test_supporting_acts_that_fail_never_lower_the_overall_word() -> None:
    good = [read("3A01", "FF"), write("3A01", "AA"), reset(), read("3A01", "AA")]
    support = [
        ask("10 03", "7F 10 22"), ask("27 01", "7F 27 37"), ask("11 01", "7F 11 22"), ask("28 03 01", "7F 28 22"),
        write("F184", "AA", "7F 2E 22"), ask("85 02", "7F 85 22"), ask("22 F188", "7F 22 31"),
    ]  # fmt: skip
    assert heard(BEFORE, good, support).verdict.overall == "confirmed"


def test_a_download_again_by_another_go_at_the_same_address_counts_only_once() -> None:
    report = heard(BEFORE, ask(*ERASE), download(), download(), GOOD, names=NAMES)
    assert words(report, "download") == ["unproven", "confirmed"]
    assert of_kind(report, "download")[0].superseded_by is not None
