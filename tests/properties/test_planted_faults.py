"""The heart of the suite: faults planted on good sessions never leave a *confirmed* whose proof they touched.

``planting.ledger`` knows from the simulator which exchange proves which act; ``planting.judge`` says when a
*confirmed* stands on a proof that is whole, behind its act and named as the evidence. What nobody can see who only
listens is let pass and nothing else: the table ``UNSEEN`` in ``planting.judge``:

| change | why no listener sees it |
|---|---|
| fill bytes | they carry nothing |
| stamps that keep the order of lines | a clock may be set, or slow |
| flow control | its pace is free; the data is whole without it |
| data of a block | only the module holds the sum; its check has judged what arrived |
| the option of a check, the group of a clear, the mask of a list | only the module can compare them |
| filling taken for data behind a status | names know the first status bytes |
| an identity value altered by a bit, before or after | any other value also counts as a change |
| another act missing whole (a later write, a reset, a second part) | nothing of it is left to see |
| an equal frame of another exchange in its place | the bytes are the same |
| act and proof changed alike | a forgery |
| reads that change places without crossing an act | they say the same in any order |

``python -m tests.long_run faults --trials 5000`` makes as many trials as one likes.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from planting.faults import FAULTS, Line, Lines, clean
from planting.judge import UNSEEN, raised_words, wrong_words
from planting.ledger import Act, Ledger
from planting.trial import SETTINGS, Setting, Trial, clean_report, ledger_of, report_of
from simulator.bench import Plan

from analysis.operations.model import Kind, Operation, Part
from analysis.report.model import Report
from analysis.trust.fitness import Fitness
from analysis.words import Confidence, Word

TRIALS = 6  # of each fault on each setting
NAMED, UNNAMED, WITH_SHEET, LONG_UNNAMED = SETTINGS


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "spoilt.log"


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
def test_the_good_session_is_confirmed_and_by_its_proofs(setting: Setting, place: Path) -> None:
    ledger = ledger_of(setting)
    report = clean_report(setting, place)
    assert report.verdict.overall is Word.CONFIRMED
    assert not list(wrong_words(report, ledger, clean(ledger)))
    assert len({act.kind for act in ledger.acts if act.proofs}) >= 3


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
@pytest.mark.parametrize("fault", FAULTS)
def test_a_fault_never_leaves_a_confirmed_without_its_proof(fault: str, setting: Setting, place: Path) -> None:
    for seed in range(TRIALS):
        assert Trial(setting, fault, seed).run(place).wrong == [], (fault, seed)


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
def test_every_proof_taken_away_takes_the_word_with_it(setting: Setting, place: Path) -> None:
    """No chance here: each act in turn loses everything that proves it."""
    ledger = ledger_of(setting)
    for act in ledger.acts:
        if act.exchanges and act.proofs:
            lost = {row for proof in act.proofs for part in proof.parts for row in part.with_flow}
            report = report_of(without(ledger, lost), setting, place)
            assert [one.outcome.word for one in operations_of(act, report)] == [Word.UNPROVEN], act.subject


@pytest.mark.parametrize("setting", SETTINGS, ids=str)
def test_every_frame_of_a_read_back_counts(setting: Setting, place: Path) -> None:
    """Each frame of each write's proof, lost or altered in its last used bit, takes the word away."""
    ledger = ledger_of(setting)
    for act in ledger.acts:
        if act.kind != "write" or not act.proofs:
            continue
        answer = act.proofs[-1].parts[0].answer
        for at, row in enumerate(answer.rows):
            spoilt = without(ledger, {row})
            assert all(one.outcome.word is not Word.CONFIRMED for one in after(spoilt, act, setting, place))
            spoilt = flipped(ledger, row, answer.used(at) - 1)
            assert all(one.outcome.word is Word.FAILED for one in after(spoilt, act, setting, place))


def test_the_judge_itself_sees_a_wrong_word(place: Path) -> None:
    """A report on the good session, held against a recording without proofs: every part is found out."""
    ledger = ledger_of(NAMED)
    lost = {row for act in ledger.acts for proof in act.proofs for part in proof.parts for row in part.rows}
    kept = [line if line.origin not in lost else Line(line.row, -1, text="no line") for line in clean(ledger)]
    rules = {wrong.word.split()[0] for wrong in wrong_words(clean_report(NAMED, place), ledger, kept)}
    assert {"download", "write", "clear", "routine"} <= rules
    weak = report_of(kept, NAMED, place)
    raised = raised_words(weak, clean_report(NAMED, place), ledger, clean(ledger))
    assert {wrong.word.split()[0] for wrong in raised} >= {"write", "clear"}


def unseen(ledger: Ledger) -> dict[str, Lines]:
    """One example of each change of ``UNSEEN`` that a single frame can carry."""
    read = act_of(ledger, "write", "3A01").proofs[0].parts[0]
    clear = act_of(ledger, "clear", "clear")
    download = act_of(ledger, "download", "00018000")
    block = next(item.ask for item in download.exchanges if item.ask.data[0] == 0x36)
    check = next(item for proof in download.proofs for item in proof.parts if item.ask.data[2:4] == b"\x02\x66")
    return {
        "fill bytes": flipped(ledger, read.ask.rows[0], 7),
        "stamps": [line.at(line.row.time_us + 10**9) for line in clean(ledger)],
        "flow control": flipped(ledger, read.answer.flow[0], 2),
        "data of a block": flipped(ledger, block.rows[1], 5),
        "what a check was asked with": flipped(ledger, check.ask.rows[-1], 1),
        "what faults were asked for": flipped(ledger, clear.exchanges[0].ask.rows[0], 4),
    }


def test_what_no_listener_sees_changes_no_word(place: Path) -> None:
    clean_words = [one.outcome.word for one in clean_report(NAMED, place).operations]
    examples = unseen(ledger_of(NAMED))
    assert set(examples) <= set(UNSEEN)
    for what, lines in examples.items():
        assert [one.outcome.word for one in report_of(lines, NAMED, place).operations] == clean_words, what


# -- what the trials found, each made as small as it gets


def test_an_answer_whose_request_is_missing_proves_nothing(place: Path) -> None:
    ledger = ledger_of(NAMED)
    act = act_of(ledger, "write", "3A01")
    spoilt = without(ledger, set(act.proofs[0].parts[0].ask.rows))
    [operation] = after(spoilt, act, NAMED, place)
    assert operation.outcome.word is Word.UNPROVEN


def test_a_value_read_without_its_request_fulfils_no_item(place: Path) -> None:
    ledger = ledger_of(WITH_SHEET)
    reads = [item for item in ledger.exchanges if item.ask.data == bytes.fromhex("22F1A1")]
    report = report_of(without(ledger, set(reads[-1].ask.rows)), WITH_SHEET, place)
    [item] = [item for item in report.expectations if item.item.endswith("CVN")]
    assert item.word is Word.UNPROVEN


def test_a_lost_request_gives_its_answer_to_no_other_module(place: Path) -> None:
    """Else the other module's requests seem to address both of them, and its whole job is lost."""
    setting = Setting("coach-all-good", names=True)
    ledger = ledger_of(setting)
    lost = next(item.ask for item in ledger.exchanges if item.label == "VBM" and item.ask.data[0] == 0x19)
    report = report_of(without(ledger, set(lost.rows)), setting, place)
    assert report.verdict.parts[Part.PROGRAMMING].word is Word.CONFIRMED
    words = {one.label: one.outcome.word for one in report.operations if one.kind is Kind.CLEAR}
    assert words["VBM"] is Word.UNPROVEN and words["DUC"] is Word.CONFIRMED


def test_a_clear_of_nobody_knows_what_is_not_confirmed(place: Path) -> None:
    ledger = ledger_of(NAMED)
    act = act_of(ledger, "clear", "clear")
    [operation] = after(without(ledger, set(act.exchanges[0].ask.rows)), act, NAMED, place)
    assert operation.outcome.word is Word.UNPROVEN


def test_a_list_of_faults_that_is_cut_short_is_no_proof(place: Path) -> None:
    """59 02 without its availability mask, by one bit in the length."""
    ledger = ledger_of(NAMED)
    act = act_of(ledger, "clear", "clear")
    row = act.proofs[0].parts[0].answer.rows[0]
    assert ledger.rows[row].data[0] == 3
    [operation] = after(flipped(ledger, row, 0), act, NAMED, place)
    assert operation.outcome.word is Word.UNPROVEN


def test_half_of_a_proof_in_two_parts_is_no_proof(place: Path) -> None:
    """Status 00 by custom needs the application's answer as well: one without the other confirms nothing."""
    ledger = ledger_of(LONG_UNNAMED)
    act = act_of(ledger, "download", "00010000")
    for part in {proof.parts[0] for proof in act.proofs if proof.signs}:
        lines = clean(ledger)
        lines.insert(part.answer.rows[0], Line(lines[0].row, -1, text="not a line of a capture"))
        [operation] = after(lines, act, LONG_UNNAMED, place)
        assert operation.outcome.word is Word.UNPROVEN


@pytest.mark.parametrize("left", [0x36, 0x37], ids=["blocks", "an exit"])
def test_an_erase_behind_what_is_left_of_a_transfer_is_no_crash(left: int, place: Path) -> None:
    ledger = ledger_of(LONG_UNNAMED)
    first, second = (act for act in ledger.acts if act.kind == "download")
    lost = {row for item in first.exchanges for row in item.with_flow if item.ask.data[0] != left}
    lost |= {row for item in first.exchanges for row in item.answer.rows if left == item.ask.data[0] == 0x37}
    report = report_of(without(ledger, lost), LONG_UNNAMED, place)
    assert len([one for one in report.operations if one.kind is Kind.DOWNLOAD]) == 2
    assert operations_of(second, report)[0].outcome.word is Word.CONFIRMED


@pytest.mark.parametrize("n_lost", [0, 3], ids=["whole", "broken off"])
def test_a_part_whose_erase_is_missing_is_no_helper_program(n_lost: int, place: Path) -> None:
    """Else the other part alone would decide the word of the programming."""
    ledger = ledger_of(LONG_UNNAMED)
    act = act_of(ledger, "download", "00010000")
    erase, rest = act.exchanges[0], act.exchanges[1:]
    lost = {row for item in (erase, *rest[len(rest) - n_lost :]) for row in item.with_flow}
    spoilt = [line for line in without(ledger, lost) if line.origin > erase.rows[-1]] if not n_lost else None
    report = report_of(spoilt or without(ledger, lost), LONG_UNNAMED, place)
    [operation] = operations_of(act, report)
    assert operation.part is Part.PROGRAMMING
    if n_lost:
        assert report.verdict.parts[Part.PROGRAMMING].word is Word.INTERRUPTED


def test_a_check_of_what_was_written_proves_no_upload(place: Path) -> None:
    """An exit that reads as a request to upload by one bit (37, 35) stays without an answer."""
    ledger = ledger_of(NAMED)
    leave = act_of(ledger, "download", "00018000").exchanges[-1]
    lines = clean(ledger)
    row = ledger.rows[leave.ask.rows[0]]
    data = row.data.replace(b"\x01\x37", b"\x01\x35")
    lines[leave.ask.rows[0]] = Line(replace(row, data=data), leave.ask.rows[0], frozenset({1}))
    uploads = [one for one in report_of(lines, NAMED, place).operations if one.kind is Kind.UPLOAD]
    assert [one.outcome.word for one in uploads] == [Word.UNPROVEN]


def test_a_broken_request_of_some_wild_size_hides_no_broken_part(place: Path) -> None:
    """A late copy of the request's first frame inside a block takes the block's bytes for its size: 655 MB.

    It then overlaps everything, and the part behind it must not stand for the one it broke.
    """
    setting = Setting("uds11-second-attempt-good")
    ledger = ledger_of(setting)
    act = act_of(ledger, "download", "00010000")
    request = next(item.ask for item in act.exchanges if item.ask.data[0] == 0x34)
    block = [item.ask for item in act.exchanges if item.ask.data[0] == 0x36][-2]
    lines = clean(ledger)
    at = block.rows[4]
    lines.insert(at + 1, lines[request.rows[0]].at(lines[at].row.time_us))
    assert report_of(lines, setting, place).verdict.parts[Part.PROGRAMMING].word is not Word.CONFIRMED


def test_a_single_answer_makes_no_group_of_a_wrong_address(place: Path) -> None:
    """A read asked of another address is not what its answer answers."""
    setting = Setting(Plan("extended", addressing="extended"))
    ledger = ledger_of(setting)
    act = act_of(ledger, "write", "3A03")
    row = act.proofs[-1].parts[0].ask.rows[0]
    lines = clean(ledger)
    data = bytes([0x40]) + ledger.rows[row].data[1:]
    lines[row] = Line(replace(ledger.rows[row], data=data), row, frozenset({0}))
    assert [one.outcome.word for one in after(lines, act, setting, place)] == [Word.UNPROVEN]


def test_an_erase_alone_is_another_part(place: Path) -> None:
    """An identity that no names tie to a part proves nothing when a second part was begun."""
    ledger = ledger_of(LONG_UNNAMED)
    first, second = (act for act in ledger.acts if act.kind == "download")
    fit = next(item for item in ledger.exchanges if item.ask.data[2:4] == b"\xff\x01")
    kept = set(second.exchanges[0].with_flow)
    gone = range(second.exchanges[0].rows[0], fit.rows[-1] + 1)
    report = report_of(without(ledger, set(gone) - kept), LONG_UNNAMED, place)
    [operation] = operations_of(first, report)
    assert operation.outcome.word is Word.UNPROVEN


def test_a_second_check_that_stands_alone_still_proves(place: Path) -> None:
    """Another proof that nothing touched may confirm: the check of the block, when that of the fit is gone."""
    ledger = ledger_of(NAMED)
    act = act_of(ledger, "download", "00018000")
    fit = next(proof.parts[0] for proof in act.proofs if proof.parts[0].ask.data[2:4] == b"\xff\x01")
    [operation] = after(without(ledger, set(fit.ask.rows)), act, NAMED, place)
    assert operation.outcome.word is Word.CONFIRMED
    assert operation.outcome.confidence is not Confidence.LOW


def test_two_halves_of_one_block_make_no_good_capture(place: Path) -> None:
    """The piece between is missing: a block begun in the attempt that was refused ends in the next one."""
    setting = Setting("uds11-second-attempt-good")
    lines = clean(ledger_of(setting))
    [capture] = report_of(lines[:132] + lines[232:], setting, place).record.captures
    assert capture.trust.fitness is Fitness.LIMITED
    assert any(reason.startswith("no frame for 4.741 s in the middle of a step") for reason in capture.trust.reasons)


def test_blocks_behind_the_request_of_another_attempt_are_judged_as_its_own(place: Path) -> None:
    """The request of the second attempt stands behind its blocks: nothing was raised by that."""
    assert Trial(Setting("uds11-second-attempt-good"), "move_block", 91003956).run(place).wrong == []


def test_a_check_of_a_later_attempt_proves_nothing_of_one_that_never_ended(place: Path) -> None:
    """A first attempt of 128 of 1,024 bytes, then an erase and other requests in front of the check."""
    assert Trial(Setting("uds11-second-attempt-good", names=True), "move_block", 4711014053).run(place).wrong == []


def test_an_exit_moved_into_another_attempt_proves_nothing_of_that_one(place: Path) -> None:
    """Its answer stands behind the next attempt: what was checked then is what that one left."""
    assert Trial(Setting("uds11-second-attempt-good"), "move", 2726015080).run(place).wrong == []


# -- small tools


def act_of(ledger: Ledger, kind: str, subject: str) -> Act:
    return next(act for act in ledger.acts if (act.kind, act.subject) == (kind, subject))


def without(ledger: Ledger, lost: set[int]) -> Lines:
    return [line for line in clean(ledger) if line.origin not in lost]


def flipped(ledger: Ledger, row: int, byte: int) -> Lines:
    lines = clean(ledger)
    data = bytearray(ledger.rows[row].data)
    data[byte] ^= 1
    lines[row] = Line(replace(ledger.rows[row], data=bytes(data)), row, frozenset({byte}))
    return lines


def after(lines: Lines, act: Act, setting: Setting, place: Path) -> list[Operation]:
    return operations_of(act, report_of(lines, setting, place))


def operations_of(act: Act, report: Report) -> list[Operation]:
    kinds = [one for one in report.operations if one.kind == act.kind and one.link.key == act.link]
    subjects = {"write": "identifier", "download": "address"}
    key = subjects.get(act.kind)
    return [one for one in kinds if key is None or one.details[key] == act.subject]
