"""A later attempt at the same thing replaces an earlier one, which stays visible."""

from __future__ import annotations

from talk import (
    ADDRESS,
    CHECK,
    ERASE,
    IMAGE,
    KEEPER,
    NAMES,
    START_NS,
    Talk,
    ask,
    block,
    download,
    enter,
    gap,
    heard,
    item,
    judged,
    log_of,
    of_kind,
    programming,
    read,
    request,
    reset,
    state,
    word_of,
    words,
    write,
)  # fmt: skip

from analysis.report.model import Report

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


# -- two jobs in one file, the clock of the second an hour behind


def joined(*parts: list[Talk], back_s: int = 3600, sheet: str = "") -> Report:
    """The lines of each part as a log of its own, each begun so much before the one in front of it."""
    logs = [log_of(*part, start_ns=START_NS - back_s * 10**9 * at) for at, part in enumerate(parts)]
    return judged("".join(logs), names=NAMES, sheet=sheet)


WHOLE: list[Talk] = [*BEFORE, programming(), GOOD, reset(), read("F190", "41")]
HALF: list[Talk] = [*BEFORE, BROKEN]
SHEET = """
[[module]]
label = "PCU"
trims = [{ identifier = "3A01", value = "0102" }]
"""


def test_a_good_job_behind_a_clock_that_went_back_does_not_replace_a_broken_one() -> None:
    report = joined(HALF, WHOLE)
    assert [item.superseded_by for item in of_kind(report, "download")] == [None, None]
    assert report.verdict.overall == "failed"
    assert {item.outcome.confidence for item in of_kind(report, "download")} == {"medium"}
    assert state(report).now == "unknown"
    assert "the clock goes back 1 h 0 min at line" in report.verdict.headline
    assert report.verdict.next_steps[0].startswith("Read the identification of ")


def test_a_broken_job_behind_a_clock_that_went_back_is_not_the_last_for_sure() -> None:
    report = joined(WHOLE, HALF)
    assert (report.verdict.overall, report.verdict.confidence) == ("failed", "medium")


def test_the_same_good_job_twice_behind_a_clock_that_went_back_is_medium() -> None:
    report = joined(WHOLE, WHOLE)
    assert (report.verdict.overall, report.verdict.confidence) == ("confirmed", "medium")


def test_a_clock_that_goes_back_less_than_the_jobs_are_apart_changes_no_order() -> None:
    report = joined(HALF, [gap(30), *WHOLE], back_s=20)
    assert of_kind(report, "download")[0].superseded_by is not None
    assert report.verdict.overall == "confirmed"


def test_of_two_writes_in_unknown_order_the_one_of_another_value_decides_an_item() -> None:
    one, other = ([write("3A01", value), reset(), read("3A01", value)] for value in ("0102", "0304"))
    for parts in ([one, other], [other, one]):
        report = joined(*parts, sheet=SHEET)
        assert (item(report, "3A01").word, item(report, "3A01").confidence) != ("confirmed", "high")


def test_a_proof_behind_a_clock_that_went_back_is_medium_also_between_the_acts() -> None:
    report = joined([*BEFORE, programming()], [read("F190", "41"), GOOD, reset(), read("F190", "41")])
    assert word_of(report, "download") == ("confirmed", "medium")
    report = joined([*BEFORE, write("3A01", "0102")], [read("F190", "41"), reset(), read("3A01", "0102")])
    assert word_of(report, "write") == ("confirmed", "medium")
