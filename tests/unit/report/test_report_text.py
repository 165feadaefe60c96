"""The report as a technician sees it."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from report_examples import DUC, EXAMPLES, all_good, base, evidence, failed_erase, link, only_read, times, without_clock

from analysis.report.lines import Lines, printable, shorten_middle
from analysis.report.text import render_text
from analysis.report.wording import WORD, at_lines, seconds

WIDTHS = (60, 80, 120)


def headings(text: str) -> list[str]:
    return [line.split("  ")[0] for line in text.splitlines() if line and line.split("  ")[0].isupper()]


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("name", EXAMPLES)
def test_no_line_is_wider_than_the_terminal(name: str, width: int) -> None:
    lines = render_text(EXAMPLES[name](), width).splitlines()
    assert max(map(len, lines)) <= width
    assert all(line == line.rstrip() for line in lines)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_five_words_are_never_cut(width: int) -> None:
    for word in WORD.values():
        report = all_good()
        token = next(key for key, value in WORD.items() if value == word)
        for trim in report["trims"]:
            trim["word"] = token  # type: ignore[typeddict-item]
        table = render_text(report, width).split("TRIMS AND CONFIGURATION")[1]
        assert table.count(word) >= 7


def test_the_answer_comes_in_the_order_of_the_questions() -> None:
    assert headings(render_text(failed_erase())) == [
        "THE MODULES NOW", "THE JOB", "WHAT TO DO NEXT", "CAN THIS CAPTURE BE TRUSTED?", "WHY",
        "WHAT READS DIFFERENTLY NOW", "WHERE IT BROKE", "WHAT WOULD CHANGE A WORD", "WHAT THIS CAPTURE CANNOT SHOW",
        "TIMELINE", "WHO TALKED", "HOW SOON THEY ANSWERED", "SEE MORE",
    ]  # fmt: skip


def test_the_answer_to_a_good_job_fits_one_screen() -> None:
    report = all_good()
    report["expectations"] = []
    top = render_text(report, 80).split("\nWHY")[0]
    assert "CAN THIS CAPTURE BE TRUSTED?" in top
    assert len(top.splitlines()) <= 24


def test_the_headline_then_a_module_in_boot_mode_and_the_caution_behind_the_job() -> None:
    text = render_text(failed_erase())
    assert text.startswith("DUC: programming failed: the erase broke off;")
    assert "\n  DUC: boot mode only, the application does not run. May it be tried again? Yes," in text
    assert text.index("  Learn routines") < text.index("  Caution: Keep battery support on.") < text.index("WHAT TO DO")


def test_the_caution_on_top_takes_whole_sentences_of_two_lines_and_the_rest_stands_below() -> None:
    top, below = render_text(failed_erase()).split("\nWHY\n")
    assert "  Caution: Keep battery support on.\n\n" in top
    assert "retry blindly" not in top
    assert "retry blindly" in below


def test_a_bad_state_is_shown_with_its_advice_and_its_lines() -> None:
    why = render_text(failed_erase()).split("\nWHY\n")[1]
    assert why.startswith("  DUC: boot mode only, the application does not run\n    Start again from the programming")
    assert "(line 9300)" in why


def test_what_would_change_a_word_is_said_in_full_below() -> None:
    report = failed_erase()
    report["verdict"]["parts"]["programming"]["would_change"] = ["first", "second", "third", "fourth"]
    below = render_text(report).split("WHAT WOULD CHANGE A WORD")[1]
    assert below.startswith("\n  Programming: first\n  Programming: second\n  Programming: third\n")


def test_a_caution_of_two_modules_is_said_once_on_top() -> None:
    report = failed_erase()
    report["modules"][1] = {**report["modules"][0], "label": "VBM"}
    assert render_text(report).split("\nWHY\n")[0].count("Keep battery support on.") == 1


def test_every_part_of_the_job_has_its_line() -> None:
    text = render_text(failed_erase())
    assert re.search(r"^  Programming +failed +confidence high$", text, re.M)
    for part in ("Trims, configuration", "VIN", "Fault memory", "Learn routines"):
        assert re.search(rf"^  {part} +not shown$", text, re.M)
    assert "Programming: a new attempt that ends with a good check" in text


def test_a_capture_of_a_scan_is_called_read_only_and_shows_what_was_read() -> None:
    text = render_text(only_read())
    assert "THE JOB  read only, nothing was attempted" in text
    assert "F188 software number: DUC0726A3" in text
    assert "020126041187000C009701970293039504940593068FDD2F" in text, "a value to copy by hand is never shortened"
    assert "failed" not in text


def test_a_reset_alone_is_not_called_read_only() -> None:
    report = only_read()
    report["operations"][0]["kind"] = "reset"
    assert "read only" not in render_text(report)
    assert "no part of the job was attempted" in render_text(report)


def test_an_item_of_the_sheet_that_differs_shows_asked_and_found() -> None:
    text = render_text(all_good())
    assert re.search(r"failed +calibration\n +asked RC7-CITY-0418, found RC7-CITY-0412", text)


def test_a_read_back_that_differs_in_the_middle_is_said_to_differ() -> None:
    report = all_good()
    trim = report["trims"][0]
    assert trim["written"] is not None
    trim["read_back"] = trim["written"][:20] + "FF" + trim["written"][22:]
    text = render_text(report)
    assert "differs from byte 11 on: 01970293 written, FF970293 read back" in text
    assert text.split("TRIMS AND CONFIGURATION")[1].count(" equal ") == 6


def test_lines_carry_their_capture_only_where_there_are_several() -> None:
    report = failed_erase()
    assert "(lines 9120-9180)" in render_text(report)
    report["captures"].append({**report["captures"][0], "number": 2})
    assert "(lines 9120-9180, capture 1)" in render_text(report)


def test_superseded_attempts_stay_visible() -> None:
    assert "failed, tried again later" in " ".join(render_text(failed_erase()).split())


def test_without_a_clock_no_time_is_invented() -> None:
    text = render_text(without_clock())
    assert "TIMELINE  in order, no common clock" in text
    assert not re.search(r"\d+\.\d{3}", text)
    assert "2 unreadable lines" in text


def test_a_module_without_a_name_is_called_by_its_link() -> None:
    assert f"\n  {DUC.partition(':')[2]}: boot mode only" in render_text(without_clock())


def test_a_capture_without_links_still_has_an_answer() -> None:
    report = base()
    report.update(links=[], modules=[], identifiers=[])
    assert "No module answered in this capture." in render_text(report)


@pytest.mark.parametrize("name", EXAMPLES)
def test_colour_says_nothing_that_the_words_do_not(name: str) -> None:
    report = EXAMPLES[name]()
    coloured = render_text(report, 80, color=True)
    assert "\033[" in coloured
    assert re.sub(r"\033\[[0-9;]*m", "", coloured) == render_text(report, 80)


def test_a_capture_cannot_steer_the_terminal() -> None:
    report = failed_erase()
    report["findings"][0]["evidence"] = [evidence("text \033[2J\a\r", 5)]
    report["links"].append(link("can0:7E0>7E8", "\033]0;x\a", 1, 1))
    text = render_text(report)
    assert "\033" not in text and "\a" not in text and "\r" not in text
    assert "\\x1b[2J" in text


@given(st.text(max_size=60), st.integers(5, 40))
def test_shortening_keeps_begin_and_end(text: str, width: int) -> None:
    short = shorten_middle(text, width)
    assert len(short) <= width
    assert short == text if len(text) <= width else short[0] == text[0] and (width < 6 or short[-1] == text[-1])


@given(st.text())
def test_printable_text_is_printable(text: str) -> None:
    assert printable(text).isprintable()


@given(st.text(max_size=300), st.integers(40, 120), st.integers(0, 8))
def test_paragraphs_keep_the_width(text: str, width: int, indent: int) -> None:
    page = Lines(width, color=False)
    page.text(text, indent=indent, mark="Caution: ")
    assert max(map(len, str(page).splitlines())) <= width


def test_times_are_exact_to_the_thousandth() -> None:
    assert seconds(1_780_000_000_123_999_999, 1_780_000_000_000_000_000) == "0.123"
    assert seconds(-1_500_000) == "-0.002"
    assert seconds(None) == ""


def test_lines_are_said_in_words() -> None:
    assert at_lines([7], 1, 1) == "line 7"
    assert at_lines([7, 12], 1, 1) == "lines 7-12"
    assert at_lines([1, 2, 3], 2, 2) == "lines 1, 2, 3, capture 2"
    assert at_lines(list(range(1, 10)), 1, 1) == "lines 1, 2, 3, 4, 5, 6, ..."


def test_how_soon_each_module_answered_stands_beside_what_it_announced() -> None:
    report = failed_erase()
    times = report["links"][0]["timing"]
    times |= {
        "p2_announced_ns": 50_000_000, "p2_star_announced_ns": 5_000_000_000, "announced_lines": [8532],
        "pendings": 2, "p2_star_max_ns": 1_560_000_000, "p2_star_max_lines": [2700, 2767], "late_answers": 3,
        "stamp_step_ns": 10_000_000,
    }  # fmt: skip
    text = " ".join(render_text(report, 120).split("\nHOW SOON THEY ANSWERED")[1].split())
    assert "2.5 ms 8 ms 20 ms 41 ms, line 702" in text
    assert "announced 50 ms, 5000 ms after a wait answer (line 8532): 3 later" in text
    assert "at most 1560 ms after a wait answer (line 2767)" in text
    assert "stamps in steps of 10 ms" in text


def test_without_a_timed_answer_nothing_is_said_of_times() -> None:
    report = failed_erase()
    for one in report["links"]:
        one["timing"] = times(0)
    assert "HOW SOON" not in render_text(report)


def test_other_protocols_are_named_with_what_they_tell_and_how_they_are_known() -> None:
    report = without_clock()
    report["captures"][0]["other_traffic"] = [
        {
            "protocol": "J1939", "channel": "can0", "score": 8, "confidence": "medium",
            "signs": [evidence("engine 1 (F004) from address 00", 3)],
            "facts": [evidence("active fault SPN 190 FMI 9", 49)],
        }
    ]  # fmt: skip
    said = render_text(report).split("\nWHAT ELSE WAS ON THE BUS")[1].splitlines()
    assert said[1:4] == [
        "  J1939 on can0 (confidence medium)", "    - active fault SPN 190 FMI 9 (line 49)",
        "    known by: engine 1 (F004) from address 00 (line 3)",
    ]  # fmt: skip
