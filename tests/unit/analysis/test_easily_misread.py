"""What is easily read wrong and had no test of its own: how long an answer may be put off, whose flow control it is,
knocks between the frames of a message, a verification number that is late, and which standard says what.

Flow control: ISO 15765-2:2016, 9.6 (M). Response pending: ISO 14229-1:2020, annex A (M). Verification numbers:
SAE J1979, infotype 06 (M).
"""

from __future__ import annotations

import re
from pathlib import Path

from talk import (
    GROUP,
    SOFTWARE,
    Talk,
    ask,
    enter,
    everybody,
    flat,
    frame,
    gap,
    heard,
    module,
    of_kind,
    only,
    programming,
    read,
    reset,
    tester,
    without,
    word_of,
    write,
)

ROOT = Path(__file__).parents[3]


def test_an_answer_may_be_put_off_for_minutes_and_still_be_the_answer() -> None:
    put_off: list[Talk] = [[module("7F 31 78"), gap(4)] for _ in range(50)]
    report = heard(enter(), tester("31 01 0266"), put_off, module("71 01 0266 00"))
    (exchange,) = [item for item in report.record.exchanges if item.service == 0x31]
    assert exchange.positive and len(exchange.pendings) == 50
    assert not {item.id for item in report.findings} & {"pending-without-end", "request-unanswered", "pending-late"}


def test_each_wait_starts_the_clock_anew_and_only_the_last_one_runs_out() -> None:
    report = heard(enter(), tester("31 01 0266"), module("7F 31 78"), gap(4), module("7F 31 78"), gap(30))
    (exchange,) = [item for item in report.record.exchanges if item.service == 0x31]
    assert not exchange.positive and len(exchange.pendings) == 2


def test_flow_control_travels_against_the_data() -> None:
    """The same frame on the id of the data serves nobody."""
    (asked, answer) = flat(read("F190", b"E0VLK3PS3SM018855"))
    first, control, *rest = answer.frames
    assert (first.can_id, control.can_id, rest[0].can_id) == (0x7E8, 0x7E0, 0x7E8)
    wrong = frame(0x7E8, "30 00 00 CC CC CC CC CC")
    for talk, lines in (([asked, answer], (3,)), ([asked, without(answer, 1), wrong], ())):
        (message,) = [
            one for one in heard(enter(), talk).record.captures[0].messages if one.data[:3] == b"\x62\xf1\x90"
        ]
        begin = message.first_line
        assert tuple(line - begin + 2 for line in message.flow_control_lines) == lines


def test_a_knock_for_all_inside_a_long_message_disturbs_nothing() -> None:
    knock = frame(GROUP, "02 3E 80 CC CC CC CC CC")

    def disturbed(lines: list[str]) -> list[str]:
        """A knock behind every frame of the long request."""
        stamp = knock.frames[0].data.hex().upper()
        found = []
        for line in lines:
            found.append(line)
            if re.search(r"7E0#[12]", line):
                found.append(f"{line.split()[0]} can0 7DF#{stamp}")
        return found

    talk: list[Talk] = [read("3A01", "FF"), write("3A01", bytes(range(30))), reset(), read("3A01", bytes(range(30)))]
    assert word_of(heard(talk, everybody("3E 80"), edit=disturbed), "write") == ("confirmed", "high")


def test_a_verification_number_that_is_not_there_yet_is_no_failure() -> None:
    job: list[Talk] = [read("F188", SOFTWARE), enter(), programming(), reset(), read("F188", b"PCU-SW-1207")]
    for late in (ask("09 06", "7F 09 78"), ask("09 06", "7F 09 22"), ask("09 06")):
        report = heard(job, late, gap(1), read("F190", "41"))
        assert only(report, "download").outcome.word == "confirmed", late
        assert not [item for item in of_kind(report, "download") if item.outcome.word == "failed"]


def test_transport_and_services_cite_the_standard_that_says_it() -> None:
    """ISO 15765-2 is transport alone; what is asked and answered over it is ISO 14229-1 and, on CAN, ISO 14229-3."""
    for path in sorted((ROOT / "canlog" / "services").glob("*.py")):
        sources = re.findall(r"^\s*(?:#: )?Source: (.*)$", path.read_text(), re.M)
        assert not [text for text in sources if "15765-2" in text], path.name
    for name in ("pci", "steps", "reassembly", "addressing"):
        text = (ROOT / "canlog" / "isotp" / f"{name}.py").read_text()
        assert "15765-2" in text and "14229" not in text, name
    pages = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *ROOT.glob("analysis/**/*.py"), *ROOT.glob("canlog/**/*.py")]
    for path in pages:
        assert not re.search(r"(UDS|diagnostics) on CAN[^.\n]{0,20}15765-[23]", path.read_text()), path.name
