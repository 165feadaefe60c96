"""Every check: it has its texts, sees what it is for, is silent on what looks like it and on every good session.

The sessions are simulated (tests/simulator), some with one thing changed afterwards (edited_sessions).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import partial
from pathlib import Path
from random import Random
from typing import NamedTuple

import edited_sessions as edit
import pytest
from edited_sessions import FIXTURES, Lines, fixture, plan
from simulator import Plan, session
from simulator import ethernet as over_ethernet
from simulator.bench import WHOLE_JOB, pump_trim, random_plan
from simulator.bench_faults import FAULTS
from simulator.sessions import play
from simulator.vin import with_check_sign

from analysis import analyse
from analysis.answer.advice import starts_with_a_verb
from analysis.checks import refusal_codes, runner
from analysis.checks.finding import Finding
from analysis.checks.registry import HEADINGS, Context, Seen
from analysis.words import Confidence, Severity, Word

CHECKS = runner.load_checks()
GOOD = fixture("uds11-all-good")


class Session(NamedTuple):
    """Lines of a recording, and what is given with them."""

    lines: Callable[[], Lines | bytes]  # bytes: a packet capture
    world: str  # coach, van, uds11 or doip
    names: bool = False
    sheet: bool = False
    bus: bool = False  # the description of the cyclic messages
    circumstances: str = ""  # lines for the first module of the sheet
    gateway: str = ""  # label of the module that names call the gateway


def shipped(name: str, *, names: bool = False, sheet: bool = False) -> Session:
    return Session(partial(fixture, name), name.split("-")[0], names, sheet)


def bench(lines: Callable[[], Lines], *, names: bool = False, sheet: bool = False) -> Session:
    return Session(lines, "uds11", names, sheet)


def changed(name: str, old: str, new: str, times: int = 1, *, names: bool = False) -> Session:
    return Session(lambda: edit.replaced(fixture(name), old, new, times=times), name.split("-")[0], names)


def cyclic(head: str) -> Session:
    """The whole job with a cyclic message of the vehicle (fixtures/names/bench.dbc)."""
    return Session(lambda: edit.with_cyclic(GOOD, head), "uds11", bus=True)


def ethernet(name: str) -> Session:
    return Session((FIXTURES / name / "capture.pcap").read_bytes, "doip")


def reset_at_the_end(name: str, behind: str = "") -> bytes:
    """The session over Ethernet, ended by a reset instead of a FIN: when all was answered, or behind a request."""
    talk = over_ethernet.talk_of(play(name))
    last = next(at for at, said in enumerate(talk, start=1) if said.data.hex().startswith(behind) or at == len(talk))
    return over_ethernet.capture(talk[: last if behind else None], ends="RA")


@pytest.fixture(name="findings")
def findings_of(tmp_path: Path) -> Callable[[Session], list[Finding]]:
    def find(session: Session) -> list[Finding]:
        path = tmp_path / "capture.log"
        lines = session.lines()
        path.write_bytes(lines if isinstance(lines, bytes) else ("\n".join(lines) + "\n").encode())
        job = FIXTURES / f"{session.world}.toml" if session.sheet else None
        if job is not None and session.circumstances:
            text = job.read_text().replace('\nlink = "', f'\n{session.circumstances}\nlink = "', 1)
            job = tmp_path / "job.toml"
            job.write_text(text)
        names = [FIXTURES / f"{session.world}_names.toml"] if session.names else []
        if session.gateway:
            label = f'label = "{session.gateway}"\n'
            text = names[0].read_text().replace(label, f"{label}gateway = true\n", 1)
            names = [tmp_path / "names.toml"]
            names[0].write_text(text)
        names += [FIXTURES / "names" / "bench.dbc"] if session.bus else []
        return list(analyse(path, job, names).findings)

    return find


Findings = Callable[[Session], list[Finding]]

LOADER = ("look", "enter-loader", "calibration")
FIRST_LOADER = "7E0#100B340044"
JOB_TO_READ = ("look", "enter-loader", "calibration", "fit", "reset", "read-trims")
ONE_BYTE_OFF = pump_trim(2)[:5] + bytes([pump_trim(2)[5] ^ 0x01]) + pump_trim(2)[6:]
OF_OTHER_UNIT = b"\x04" + pump_trim(2)[1:]
OUT_OF_RANGE = pump_trim(2)[:6] + bytes.fromhex("0400") + pump_trim(2)[8:]
ERRORS = tuple(["({t}) can0 20000004#0000000000000000"] * 20)


def same_identity(scene: object) -> None:
    """A download that brings the version that was there."""
    scene.pump.carries = {}  # type: ignore[attr-defined]


def other_vin(scene: object) -> None:
    scene.pump.values.stored[0xF190] = with_check_sign("E0VLK3P00RM055555").encode()  # type: ignore[attr-defined]


FOREIGN_VIN = with_check_sign("E0VLK3P00RM055555").encode()


def cut_at(pattern: str, *, keep_after: bool) -> Lines:
    """The good bench job from the first line that fits on, or up to it."""
    at = next(at for at, line in enumerate(GOOD) if re.search(pattern, line))
    return GOOD[at:] if keep_after else GOOD[: at + 1]


def stalled_erase_cut() -> Lines:
    """The recording ends with the last wait answer."""
    lines = plan(*LOADER, faults=("erase-stalls",))
    last = max(at for at, line in enumerate(lines) if "7E8#037F3178" in line)
    return lines[: last + 1]


def power_cut(first: Lines) -> Lines:
    return edit.behind(first, plan("look", "read-keeper"), 20.0)


def two_channels() -> Lines:
    """Two recordings in one file, each channel in order for itself."""
    return [*GOOD, *edit.shifted(plan("look", "read-keeper"), -5.0, channel="can1")]


def set_back() -> Lines:
    middle = len(GOOD) // 2
    return [*GOOD[:middle], *edit.shifted(GOOD[middle:], -5.0)]


def later(pattern: str, seconds: float) -> Session:
    """The good bench job; everything from the first line that fits on comes later."""
    at = next(at for at, line in enumerate(GOOD) if re.search(pattern, line))
    return bench(lambda: [*GOOD[:at], *edit.shifted(GOOD[at:], seconds)])


def asked_meanwhile(data: str) -> Session:
    """The good bench job with one more request while the erase is put off."""
    at = next(at for at, line in enumerate(GOOD) if "7E8#037F3178" in line)
    return bench(lambda: edit.with_lines(GOOD, at + 1, f"({{t}}) can0 7E0#{data}"))


def said_on_sheet(circumstances: str, lines: Callable[[], Lines] = lambda: GOOD) -> Session:
    """A job of the bench, and what its sheet says of the pump unit besides."""
    return Session(lines, "uds11", sheet=True, circumstances=circumstances)


OUTPUT_ORDER = ("({t}) can0 7E0#042FF03203CCCCCC", "({t}) can0 7E8#046FF03203CCCCCC")


def refused_with(code: str) -> Session:
    """The third of four trims is refused, with this code."""
    return changed("uds11-write-refused", "7F2E22", f"7F2E{code}")


def third_write(lines: Lines) -> int:
    return next(at for at, line in enumerate(lines) if re.search(r"7E0#10..2E3A03", line))


def locked_by_session() -> Lines:
    """Between the unlocking and the refusal the session is asked for once more."""
    lines = refused_with("33").lines()
    assert not isinstance(lines, bytes)
    again = ("({t}) can0 7E0#021003CCCCCCCCCC", "({t}) can0 7E8#065003003201F4CC")
    return edit.with_lines(lines, third_write(lines), *again)


def never_unlocked() -> Lines:
    """Keys are neither sent nor accepted."""
    lines = refused_with("33").lines()
    assert not isinstance(lines, bytes)
    return edit.without(lines, "7E8#0[23]67")


def allowed_length(length: str) -> Lines:
    """The module allows blocks of another length than the ones that it gets."""
    return [line.replace("7E8#04742000" + "82", "7E8#047420" + length) for line in GOOD]


def begun_again(lines: Lines, first: str, after: int) -> Lines:
    """So many lines behind the first one that holds this, everything comes again from that line on."""
    start = next(at for at, line in enumerate(lines) if first in line)
    return edit.behind(lines[: start + after], lines[start:], 0.2)


def not_received(flow: str | None) -> Lines:
    """A write whose first frame is answered with this flow control, or not at all, and then given up."""
    first = next(at for at, line in enumerate(GOOD) if "7E0#100D2E3A02" in line)
    last = next(at for at, line in enumerate(GOOD) if at > first and "7E8#036E3A02" in line)
    waits = [line for line in GOOD[first : last + 1] if flow and "7E8#30" in line]
    held = [line.replace("7E8#300000", f"7E8#{flow}") for line in waits]
    return edit.behind([*GOOD[: first + 1], *held], GOOD[last + 1 :], 1.5)


def carries(content: bytes) -> Callable[[object], None]:
    """A calibration with other bytes."""

    def change(scene: object) -> None:
        scene.images[2] = content  # type: ignore[attr-defined]

    return change


def overwritten(before: str, written: str) -> Lines:
    """The good job; behind it a record is read, and another one is written there."""
    said = (f"7E0#072E3B40{written}", "7E8#036E3B40CCCCCCCC")
    lines = [*single_read("3B40", before), *(f"({{t}}) can0 {one}" for one in said), *single_read("3B40", written)]
    return edit.with_lines(GOOD, len(GOOD) - 1, *lines)


HALF_EMPTY = bytes(range(1, 0xC1)) + b"\xff" * 0xC0


def speed_change() -> Lines:
    """Both steps of a change of the line's speed, accepted."""
    said = ("7E0#03870112CCCCCCCC", "7E8#02C701CCCCCCCCCC", "7E0#028703CCCCCCCCCC", "7E8#02C703CCCCCCCCCC")
    return edit.with_lines(GOOD, len(GOOD) - 1, *(f"({{t}}) can0 {one}" for one in said))[-5:-1]


def speed_changed_and_back() -> Lines:
    return edit.behind([*GOOD, *speed_change()], plan("look"), 1.0)


def seed_asked_twice() -> Lines:
    """The first request for a seed, and its answer, stand twice, some time apart."""
    at = next(at for at, line in enumerate(GOOD) if "7E8#066711" in line)
    return edit.behind(GOOD[: at + 1], GOOD[at - 1 :], 0.5)


def single_read(identifier: str, *values: str) -> Lines:
    """A reading in single frames, answered once or twice."""
    answers = [f"7E8#{len(one) // 2 + 3:02X}62{identifier}{one}".ljust(20, "C") for one in values]
    return [f"({{t}}) can0 {one}" for one in (f"7E0#0322{identifier}CCCCCCCC", *answers)]


def vin_reads(vin: bytes, at: int) -> Lines:
    """The job with the VIN of the pump read once more: three frames, flow control in between."""
    parts = [f"101462F190{vin[:3].hex()}", f"21{vin[3:10].hex()}", f"22{vin[10:].hex()}"]
    first, *rest = (f"7E8#{part.upper()}" for part in parts)
    frames = ["7E0#0322F190CCCCCCCC", first, "7E0#300000CCCCCCCCCC", *rest]
    return edit.with_lines(GOOD, at, *(f"({{t}}) can0 {one}" for one in frames))


def reads_twice(identifier: str, before: str, after: str, *, twice: str = "", lines: Lines = GOOD) -> Lines:
    """The job with one more reading in front of it and behind it."""
    places = [at for at, line in enumerate(lines) if "7E0#0322F188" in line]
    behind = edit.with_lines(lines, places[-1], *single_read(identifier, after, *([twice] if twice else [])))
    return edit.with_lines(behind, places[0], *single_read(identifier, before))


def calibrations(cvn_after: str) -> Lines:
    """Another calibration identification behind the download, and this verification number; 12345678 before."""
    lines = reads_twice("F804", "414231", "414232")
    return reads_twice("F806", "12345678", cvn_after, lines=lines)


JOB_AND_FAULTS = (*LOADER, "fit", "reset", "read-faults")


def with_fault(code: int, *acts: str) -> Lines:
    """The unit lists a code as failed."""
    return edit.played(lambda scene: scene.pump.dtcs.update({code: 0x2F}), *(acts or JOB_AND_FAULTS))


WITH_TWO_READINGS = (*LOADER, "fit", "reset", "write-trims", "read-trims", "restart", "read-trims")
WRITTEN_EARLY = ("look", "write-trims", "enter-loader", "application", "calibration", "fit", "reset")


def forgets(identifier: int) -> Callable[[object], None]:
    """The unit accepts a value and loses it at its next start."""
    return lambda scene: scene.pump.values.loses.add(identifier)  # type: ignore[attr-defined]


def without_talk(first: str, last: str, *, of: Lines | None = None) -> Lines:
    """Diagnostic frames from each line that fits the first pattern to the next one that fits the last."""
    kept, gone = [], False
    for line in of or fixture("coach-all-good"):
        gone = gone or re.search(rf"#\w{{2,4}}({first})", line) is not None
        if not (gone and re.search(" (18DA|7E)", line)):
            kept.append(line)
        gone = gone and re.search(rf"#\w{{2,4}}({last})", line) is None
    return kept


def routine(control: str) -> Lines:
    """A learn routine, started or asked for its result; without a status."""
    return [f"({{t}}) can0 7E0#0431{control}0270CCCCCC", f"({{t}}) can0 7E8#0471{control}0270CCCCCC"]


def exchanged_modules(lines: Lines) -> Lines:
    """The same session, with the two modules in each other's place."""
    other = {"7E0": "7E1", "7E1": "7E0", "7E8": "7E9", "7E9": "7E8"}
    return [re.sub(r" (7E[0189])#", lambda found: f" {other[found[1]]}#", line) for line in lines]


def erased_at_once(size: str = "9000") -> Lines:
    """The first erase names the memory of both parts, and there is no second one."""
    lines = edit.replaced(GOOD, "2101000000000400", f"210100000000{size}")
    asked = [at for at, line in enumerate(lines) if "7E0#100D3101FF00" in line][1]
    answered = next(at for at in range(asked, len(lines)) if "7E8#057101FF00" in lines[at])
    kept = [line for line in lines[asked : answered + 1] if " 7E" not in line]
    return [*lines[:asked], *kept, *lines[answered + 1 :]]


def one_after_the_other() -> Lines:
    """Both units are silent at the end, but one of them still answered when the other one did not."""
    lines = plan("look", "read-keeper", *LOADER[1:], faults=("branch-silent",))
    asked = next(at for at, line in enumerate(lines) if "7E0#023E00" in line)  # in vain
    return edit.with_lines(lines, asked + 1, "({t}) can0 7E1#0322F18CCCCCCCCC", "({t}) can0 7E9#037F2231CCCCCCCC")


def only_the_tester_is_kept() -> Lines:
    """A recorder that keeps no id but those of the conversation with one module, which falls silent."""
    return edit.without(plan(*LOADER, faults=("tester-alone",)), " (120|3A8)#")


#: By check: where it must see something, and where it must not although that looks much the same.
CASES: dict[str, tuple[Session, Session]] = {
    "answer-late": (later("7E8#036EF184", 0.1), later("7E8#036EF184", 0.04)),
    "authentication-missing": (refused_with("34"), refused_with("33")),
    "attempts-exceeded": (shipped("uds11-wrong-key"), changed("uds11-wrong-key", "7F2736", "7F2737")),
    "block-counter-refused": (
        changed("uds11-transfer-refused", "7F3672", "7F3673"),
        shipped("uds11-transfer-refused"),
    ),
    "block-missing": (
        bench(lambda: edit.without_block(GOOD, "03", keep_answer=False)),
        shipped("uds11-block-repeated"),
    ),
    "block-repeated": (shipped("uds11-block-repeated"), shipped("uds11-doubled")),
    "block-repeated-different": (
        bench(lambda: edit.other_bytes(fixture("uds11-block-repeated"), "7E0#10823604")),
        shipped("uds11-block-repeated"),
    ),
    "boot-mode-only": (shipped("coach-next-day", names=True), shipped("coach-reflash", names=True)),
    "busy-repeat": (refused_with("21"), shipped("uds11-all-good")),  # where the module says wait, and goes on
    "calibration-not-expected": (
        shipped("van-wrong-calibration", sheet=True),
        shipped("uds11-exit-refused", sheet=True),
    ),
    "capture-ends-inside": (shipped("coach-ends-mid-transfer"), shipped("coach-tester-silent")),
    "capture-starts-inside": (
        bench(lambda: cut_at(r"7E0#1...3604", keep_after=True)),
        bench(lambda: edit.without(GOOD, "(7E0|7E1|7DF)#")),
    ),
    "check-failed": (shipped("uds11-check-bad", names=True), shipped("uds11-check-bad")),
    "check-status-unknown": (shipped("uds11-check-bad"), shipped("uds11-check-bad", names=True)),
    "clock-steps": (bench(set_back), bench(two_channels)),
    "condition-named": (refused_with("8C"), refused_with("93")),
    "connection-broken-off": (
        Session(partial(reset_at_the_end, "uds11-all-good", "3604"), "doip"),
        Session(partial(reset_at_the_end, "uds11-only-reads"), "doip"),
    ),
    "communication-not-restored": (shipped("coach-quiet-not-restored"), shipped("coach-ends-mid-transfer")),
    "conditions-not-correct": (
        changed("coach-erase-low-voltage", "7F3193", "7F3122"),
        shipped("uds11-write-refused"),  # a series, of which another finding speaks
    ),
    "consecutive-sequence-gap": (
        bench(lambda: edit.without(GOOD, "7E9#21", nth=0)),
        shipped("coach-frame-missing-in-log"),
    ),
    "copy-differs": (bench(lambda: edit.with_trims({2: ONE_BYTE_OFF})), shipped("coach-trims-exchanged")),
    "dependency-check-missing": (shipped("uds11-no-check"), shipped("uds11-all-good-short")),
    "download-ended-unchecked": (
        shipped("uds11-no-check"),
        bench(partial(plan, *LOADER, faults=("parts-not-checked",), tail_s=1.0)),
    ),
    "download-refused": (bench(partial(plan, faults=("download-refused",))), shipped("uds11-transfer-refused")),
    "dtc-lost-communication": (shipped("coach-next-day"), shipped("uds11-dtc-returns")),
    "dtc-not-cleared": (bench(partial(plan, faults=("clear-refused",))), shipped("uds11-dtc-returns")),
    "dtc-returns": (shipped("uds11-dtc-returns"), shipped("coach-reflash")),
    "duplicate-frames": (shipped("uds11-doubled"), shipped("uds11-block-repeated")),
    "engine-running": (refused_with("83"), refused_with("84")),
    "erase-failed": (shipped("coach-erase-low-voltage"), shipped("uds11-erase-refused")),
    "erase-refused": (shipped("uds11-erase-refused"), shipped("coach-erase-low-voltage")),
    "error-frame-burst": (
        bench(lambda: edit.with_lines(GOOD, 300, *ERRORS)),
        bench(lambda: edit.with_lines(GOOD, 300, *ERRORS[:5])),
    ),
    "fault-active": (
        bench(lambda: edit.replaced(GOOD, "035902FFCCCCCCCC", "075902FF93052209")),
        bench(lambda: edit.replaced(GOOD, "035902FFCCCCCCCC", "075902FF93052208")),
    ),
    "fault-count-disagrees": (
        changed("obd-clear", "0641010077656500", "0641018107656500"),
        shipped("obd-clear"),
    ),
    "fault-setting-not-restored": (shipped("coach-quiet-not-restored"), shipped("coach-ends-mid-transfer")),
    "frame-repeated-unacknowledged": (
        bench(partial(plan, *LOADER, faults=("line-cut",))),
        bench(partial(plan, *LOADER, faults=("module-silent",))),  # repeated by a program
    ),
    "frames-dropped-by-logger": (
        shipped("coach-frame-missing-in-log"),
        bench(lambda: edit.without(GOOD, "7E9#21", nth=0)),
    ),
    "general-reject": (refused_with("10"), refused_with("22")),
    "given-fits-nothing": (
        Session(partial(fixture, "coach-all-good"), "van", names=True),
        shipped("coach-before-removal-dead", names=True),
    ),
    "identity-blank": (
        bench(lambda: reads_twice("F189", "41424331", "FFFFFFFF")),
        bench(lambda: reads_twice("F189", "FFFFFFFF", "41424331")),
    ),
    "identity-unchanged": (bench(lambda: edit.played(same_identity)), shipped("uds11-all-good")),
    "identifier-refused": (bench(partial(plan, faults=("vin-refused",))), shipped("uds11-write-refused")),
    "key-refused": (shipped("uds11-wrong-key"), changed("uds11-wrong-key", "7F2735", "7F2737")),
    "length-refused": (refused_with("13"), refused_with("31")),
    "lines-damaged": (
        bench(lambda: edit.with_lines(GOOD, 100, "({t}) can0 7E8#03", "({t}) ca")),
        bench(lambda: edit.with_lines(GOOD, 100, "({t}) can0 7E8#R")),
    ),
    "one-direction-only": (
        bench(lambda: edit.without(GOOD, "(7E8|7E9)#(?!3)")),
        shipped("coach-before-removal-dead"),
    ),
    "pending-late": (later("7E8#057101FF00", 5.0), later("7E8#057101FF00", 4.0)),
    "pending-without-end": (bench(partial(plan, *LOADER, faults=("erase-stalls",))), bench(stalled_erase_cut)),
    "programming-failure": (shipped("uds11-transfer-refused"), shipped("uds11-exit-refused")),
    "request-unanswered": (shipped("coach-before-removal-dead"), shipped("uds11-reset-no-return")),
    "request-not-delivered": (ethernet("doip-module-silent"), shipped("coach-module-silent")),
    "reset-missing": (bench(partial(plan, *LOADER, "background")), bench(partial(plan, *LOADER))),
    "reset-no-return": (shipped("uds11-reset-no-return"), shipped("uds11-boot-mode-after-reset")),
    "flow-control-overflow": (
        bench(lambda: [*GOOD[:144], GOOD[144].replace("7E8#3000", "7E8#3200")]),
        shipped("uds11-module-silent"),
    ),
    "record-gap": (
        bench(lambda: [*GOOD[:186], *edit.shifted(GOOD[186:], 40)]),
        bench(lambda: [*GOOD[:460], *edit.shifted(GOOD[460:], 40)]),  # between two readings
    ),
    "step-missing": (
        bench(lambda: edit.without(GOOD, "7E8#027603")),
        bench(lambda: fixture("uds11-block-repeated")),
    ),
    "sequence-refused": (refused_with("24"), changed("uds11-transfer-refused", "7F3672", "7F3624")),
    "service-unknown": (refused_with("11"), refused_with("7F")),
    "session-dropped-in-download": (
        changed("uds11-transfer-refused", "7F3672", "7F367F"),
        changed("uds11-transfer-refused", "7F3672", "7F3673"),
    ),
    "session-refused": (
        bench(lambda: edit.replaced(plan(faults=("programming-session-refused",)), "7F1022", "7F1012")),
        bench(partial(plan, faults=("programming-session-refused",))),
    ),
    "session-wrong-for-service": (refused_with("7F"), refused_with("11")),
    "sheet-of-another-job": (
        Session(partial(fixture, "coach-all-good"), "van", sheet=True),
        shipped("coach-vin-swapped", sheet=True),
    ),
    "session-gap": (later("7E0#022711", 6.0), later("7E8#057101FF00", 6.0)),
    "silence-everything": (
        bench(lambda: power_cut(fixture("uds11-ends-mid-transfer"))),
        bench(lambda: power_cut(GOOD)),
    ),
    "silence-branch": (
        bench(partial(plan, *LOADER, faults=("branch-silent",))),
        bench(lambda: one_after_the_other()),
    ),
    "tester-alone": (
        bench(partial(plan, *LOADER, faults=("tester-alone",))),
        bench(lambda: only_the_tester_is_kept()),
    ),
    "silence-module-first": (shipped("coach-module-silent"), shipped("uds11-reset-no-return")),
    "silence-tester-first": (shipped("coach-tester-silent"), shipped("coach-ends-mid-transfer")),
    "size-over": (bench(lambda: edit.other_size(GOOD, -1)), shipped("uds11-block-repeated")),
    "stall-inside-message": (later("7E0#21B2F59438E21C", 1.2), later("7E0#21B2F59438E21C", 0.8)),
    "tester-gives-up-early": (asked_meanwhile("0322F18CCCCCCCCC"), asked_meanwhile("023E80CCCCCCCCCC")),
    "size-short": (bench(lambda: edit.other_size(GOOD, +1)), shipped("uds11-ends-mid-transfer")),
    "transfer-exit-missing": (
        bench(lambda: edit.without(GOOD, "(7E0#0137|7E8#0177)")),
        shipped("uds11-ends-mid-transfer"),
    ),
    "transfer-exit-refused": (shipped("uds11-exit-refused"), shipped("uds11-transfer-refused")),
    "transfer-suspended": (
        changed("uds11-transfer-refused", "7F3672", "7F3671"),
        shipped("uds11-transfer-refused"),
    ),
    "stored-fault-blocks": (refused_with("26"), refused_with("22")),
    "subnet-silent": (refused_with("25"), refused_with("26")),
    "trims-check-bad": (
        bench(lambda: edit.with_trims({2: OF_OTHER_UNIT}), names=True),
        shipped("coach-trims-exchanged", names=True),  # told as a set in another order, once
    ),
    "trims-default": (bench(partial(plan, *JOB_TO_READ), names=True), shipped("uds11-erase-refused", names=True)),
    "trims-implausible": (
        bench(lambda: edit.with_trims({2: OUT_OF_RANGE}), names=True),
        shipped("uds11-read-back-differs", names=True),
    ),
    "trims-not-read-back": (
        shipped("coach-trims-not-read-back-stored"),
        shipped("uds11-read-back-same-power-cycle"),
    ),
    "trims-order-suspicious": (
        shipped("van-trims-firing-order", sheet=True),
        shipped("van-wrong-calibration", sheet=True),
    ),
    "trims-overwritten": (
        bench(lambda: overwritten("41424344", "FFFFFFFF")),
        bench(lambda: overwritten("FFFFFFFF", "FFFFFFFF")),
    ),
    "trims-read-back-differs": (shipped("uds11-read-back-differs"), shipped("uds11-write-refused")),
    "trims-two-equal": (bench(lambda: edit.with_trims({2: pump_trim(1)})), shipped("uds11-all-good")),
    "two-testers": (shipped("coach-two-testers"), shipped("uds11-block-repeated")),
    "unlock-delay-running": (changed("uds11-wrong-key", "7F2736", "7F2737"), shipped("uds11-wrong-key")),
    "unlock-lost": (bench(locked_by_session), refused_with("33")),
    "unlock-missing": (bench(never_unlocked), bench(locked_by_session)),
    "vin-changed": (
        bench(lambda: vin_reads(b"\xff" * 17, len(GOOD) - 1)),
        bench(lambda: vin_reads(FOREIGN_VIN, 10)),  # written since
    ),
    "vin-disagrees": (
        bench(lambda: edit.played(other_vin, "look", "read-keeper")),
        shipped("coach-foreign-keeper"),
    ),
    "vin-foreign": (shipped("coach-foreign-keeper"), shipped("coach-vin-swapped")),
    "vin-typed-wrong": (shipped("coach-vin-swapped"), shipped("coach-foreign-keeper")),
    "vehicle-moving": (cyclic("3D0#B004FFFFFFFFFFFF"), cyclic("3D0#6400FFFFFFFFFFFF")),
    "engine-ran": (cyclic("3D1#0C80FFFF0EFFFFFF"), cyclic("3D1#0320FFFF0DFFFFFF")),
    "voltage-falls": (shipped("coach-erase-low-voltage"), shipped("coach-reflash")),
    "voltage-too-high": (
        changed("coach-erase-low-voltage", "7F3193", "7F3192"),
        shipped("coach-erase-low-voltage"),
    ),
    "voltage-too-low": (
        shipped("coach-erase-low-voltage"),
        bench(partial(plan, faults=("erase-conditions",))),
    ),
    "write-refused-in-a-list": (
        shipped("uds11-write-refused"),
        bench(partial(plan, faults=("vin-refused",))),
    ),
    # transfers and the line
    "block-answer-differs": (
        bench(lambda: edit.replaced(GOOD, "027603", "027605")),
        bench(lambda: edit.without_block(GOOD, "03", keep_answer=True)),
    ),
    "block-longer-than-allowed": (bench(lambda: allowed_length("0081")), bench(lambda: GOOD)),
    "blocks-shorter-than-allowed": (bench(lambda: allowed_length("0100")), bench(lambda: allowed_length("0084"))),
    "flow-control-missing": (bench(lambda: not_received(flow=None)), bench(lambda: edit.without(GOOD, "7E8#30"))),
    "image-blank": (
        bench(lambda: edit.played(carries(b"\xff" * 0x180))),
        bench(lambda: edit.played(carries(HALF_EMPTY))),
    ),
    "line-speed-changed": (bench(lambda: [*GOOD, *speed_change()]), bench(lambda: speed_changed_and_back())),
    "seed-all-zero": (
        changed("uds11-all-good", "667113715402F", "667110000000 0".replace(" ", "")),
        bench(lambda: GOOD),
    ),
    "seed-repeats": (bench(lambda: seed_asked_twice()), shipped("uds11-doubled")),
    "separation-time-ignored": (
        bench(lambda: [line.replace("7E8#300000", "7E8#30000A") for line in GOOD]),
        bench(partial(plan, separation_ms=1)),
    ),
    "silence-in-erase": (
        bench(partial(plan, *LOADER, faults=("power-lost-in-erase",))),
        bench(partial(plan, *LOADER, faults=("erase-stalls",))),
    ),
    "transfer-cut-by-new-message": (
        bench(lambda: begun_again(GOOD, "7E0#10823603", 5)),
        bench(lambda: edit.without(GOOD, "7E0#2.", nth=40)),
    ),
    "transfer-restarted": (bench(lambda: begun_again(GOOD, FIRST_LOADER, 60)), shipped("uds11-second-attempt-good")),
    "wait-frames-exhausted": (bench(lambda: not_received(flow="310000")), bench(lambda: not_received(flow=None))),
    # writes, identities, fault memory, the network
    "cvn-not-ready": (bench(lambda: reads_twice("F806", "12345678", "00000000")), bench(lambda: GOOD)),
    "cvn-unchanged": (bench(lambda: calibrations("12345678")), bench(lambda: calibrations("12345679"))),
    "dtc-memory-check": (bench(lambda: with_fault(0x060100)), bench(lambda: with_fault(0x060100, *WHOLE_JOB))),
    "dtc-not-programmed": (bench(lambda: with_fault(0xC30100)), bench(lambda: with_fault(0xC10100))),
    "dtc-store-cut-short": (bench(lambda: with_fault(0x068A00)), bench(lambda: with_fault(0x062F00))),
    "output-controlled": (
        bench(lambda: edit.with_lines(GOOD, 400, *OUTPUT_ORDER)),
        bench(lambda: edit.with_lines(GOOD, 400, OUTPUT_ORDER[0], "({t}) can0 7E8#037F2F31CCCCCCCC")),
    ),
    "functional-write": (
        bench(lambda: edit.with_lines(GOOD, 400, "({t}) can0 7DF#052E3B100102CCCC")),
        bench(lambda: edit.with_lines(GOOD, 400, "({t}) can0 7DF#0414FFFFFFCCCCCC")),
    ),
    "hardware-differs": (
        bench(lambda: reads_twice("F191", "414243", "414244")),
        bench(lambda: reads_twice("F191", "414243", "414243")),
    ),
    "trims-lost-after-reset": (
        bench(lambda: edit.played(forgets(0x3A03), *WITH_TWO_READINGS)),
        bench(lambda: edit.played(forgets(0x3A03))),
    ),
    "trims-written-before-flash": (
        bench(partial(plan, *WRITTEN_EARLY)),
        bench(partial(plan, *WRITTEN_EARLY, "read-trims")),
    ),
    "two-modules-one-address": (
        bench(lambda: reads_twice("F191", "414243", "414243", twice="414244")),
        bench(lambda: reads_twice("F191", "414243", "414243", twice="414243")),
    ),
    "write-not-taken": (
        bench(lambda: edit.played(forgets(0x3A01))),
        bench(lambda: edit.played(forgets(0x3A03))),  # whose old value was never read
    ),
    # what the sheet asks for, and the network
    "done-unasked": (
        Session(lambda: edit.replaced(GOOD, "2E3A04", "2E3A05"), "uds11", sheet=True),
        shipped("uds11-all-good", sheet=True),
    ),
    "configuration-not-written": (
        Session(lambda: without_talk("2E4D05|224D05", "6E4D05|624D05"), "coach", sheet=True),
        shipped("coach-all-good", sheet=True),
    ),
    "blank-module": (said_on_sheet('unit = "kept"'), said_on_sheet('unit = "new"')),
    "trims-not-recorded": (
        said_on_sheet("read_first = true", lambda: without_talk("223A0[1-4]", "623A0[1-4]", of=GOOD)),
        said_on_sheet("read_first = true"),  # the keeper of the copies was read
    ),
    "ranges-overlap": (
        bench(lambda: edit.replaced(GOOD, "100B340044000180", "100B340044000101")),
        shipped("uds11-second-attempt-good"),
    ),
    "ranges-hole": (bench(lambda: erased_at_once()), bench(lambda: GOOD)),
    "erase-not-seen": (
        bench(lambda: without_talk("3101FF00", "7101FF00", of=plan("look", "enter-loader", "application", "reset"))),
        bench(partial(plan, "look", "enter-loader", "application", "reset")),
    ),
    "gateway-blocks": (
        Session(lambda: edit.without(fixture("coach-all-good"), "18DAF1(2B|31)#"), "coach", names=True),
        Session(lambda: edit.without(fixture("coach-all-good"), "18DAF12B#"), "coach", names=True),
    ),
    "relearn-not-run": (
        Session(lambda: without_talk("310[13]0340", "710[13]0340"), "coach", sheet=True),
        shipped("coach-next-day", sheet=True),  # where programming had failed
    ),
    "routine-result-not-asked": (
        bench(lambda: edit.with_lines(GOOD, len(GOOD) - 1, *routine("01"))),
        bench(lambda: edit.with_lines(GOOD, len(GOOD) - 1, *routine("01"), *routine("03"))),
    ),
    "trims-set-incomplete": (
        shipped("uds11-all-good-short", sheet=True),
        shipped("uds11-write-refused", sheet=True),
    ),
    "vin-not-written": (
        shipped("uds11-all-good-short", sheet=True),
        Session(partial(plan, faults=("vin-refused",)), "uds11", sheet=True),
    ),
    "wrong-module-addressed": (
        Session(lambda: exchanged_modules(GOOD), "uds11", sheet=True),
        Session(partial(fixture, "coach-all-good"), "van", sheet=True),
    ),
}

#: Sessions in which all went well, or nothing was done, and the notes that may stand in them.
GOOD_SESSIONS = (
    "coach-all-good", "coach-before-removal", "coach-reflash", "uds11-all-good", "uds11-all-good-short",
    "uds11-doubled", "uds11-only-reads", "uds11-no-diagnostics", "uds11-read-back-same-power-cycle",
)  # fmt: skip
NOTES_OF_GOOD_SESSIONS = {"uds11-doubled": {"duplicate-frames"}}
NOTES_WITHOUT_NAMES = {"check-status-unknown"}


# -- what every check has


@pytest.mark.parametrize("check_id", CHECKS)
def test_every_check_has_all_its_texts(check_id: str) -> None:
    check = CHECKS[check_id]
    assert re.fullmatch(r"[a-z0-9]+(-[a-z0-9]+)*", check_id)
    assert 10 < len(check.title) < 90 and check.title[0].isupper()
    assert all(check.texts[heading].strip(". ") for heading in HEADINGS)
    source = check.texts["Source"]
    assert "(M)" in source or "RFC" in source or "49 CFR" in source or source.startswith("common practice, no source")


@pytest.mark.parametrize("check_id", CHECKS)
def test_sentences_are_short(check_id: str) -> None:
    for heading, text in CHECKS[check_id].texts.items():
        for sentence in re.split(r"[.;:] ", text):
            assert len(sentence.split()) <= 40, (heading, sentence)


def test_a_serious_check_that_touches_the_module_has_a_caution() -> None:
    without = {"two-testers"}  # none today; listed so that the next one is thought about
    for check in CHECKS.values():
        if check.severity is Severity.SERIOUS and check.texts["Caution"].lower().startswith("none"):
            assert check.id in without, check.id


def test_every_check_stands_in_a_file_of_its_name() -> None:
    files = {path.stem for path in Path(runner.__file__).parent.glob("*.py")} - runner.NOT_CHECKS - {"__init__"}
    in_the_table = {row.id for row in refusal_codes.ROWS}
    assert files == {check_id.replace("-", "_") for check_id in set(CHECKS) - in_the_table} | {"refusal_codes"}


def test_every_check_has_a_case() -> None:
    assert set(CASES) == set(CHECKS)


# -- what every check sees


@pytest.mark.parametrize("check_id", sorted(CASES))
def test_the_check_sees_what_it_is_for(check_id: str, findings: Findings) -> None:
    seen = [item for item in findings(CASES[check_id][0]) if item.id == check_id]
    assert seen, check_id
    for item in seen:
        assert item.explanation and item.try_next and item.look_alikes and item.source
        assert all(min(one.lines) > 0 for one in item.evidence)


@pytest.mark.parametrize("check_id", sorted(CASES))
def test_the_check_is_silent_on_its_look_alike(check_id: str, findings: Findings) -> None:
    assert check_id not in {item.id for item in findings(CASES[check_id][1])}


@pytest.mark.parametrize("with_help", [False, True], ids=["bare", "names and sheet"])
@pytest.mark.parametrize("name", GOOD_SESSIONS)
def test_a_good_session_has_no_finding_but_the_notes_listed(name: str, with_help: bool, findings: Findings) -> None:
    fits_sheet = name != "uds11-all-good-short"  # does less than its sheet asks for
    found = findings(shipped(name, names=with_help, sheet=with_help and fits_sheet))
    notes = NOTES_OF_GOOD_SESSIONS.get(name, set()) | (set() if with_help else NOTES_WITHOUT_NAMES)
    assert {item.id for item in found} <= notes
    assert all(item.severity is Severity.NOTE for item in found)


#: By session of the demo: what must be among the findings, with names and job sheet.
DEMO = {
    "coach-trims-not-read-back-stored": {"trims-not-read-back"},
    "coach-trims-not-read-back-lost": {"trims-not-read-back"},
    "coach-erase-low-voltage": {"erase-failed", "voltage-too-low", "voltage-falls", "boot-mode-only"},
    "coach-ends-mid-transfer": {"capture-ends-inside"},
    "coach-tester-silent": {"silence-tester-first"},
    "coach-module-silent": {"silence-module-first"},
    "van-trims-firing-order": {"trims-order-suspicious"},
    "coach-next-day": {"boot-mode-only", "dtc-lost-communication"},
    "coach-trims-exchanged": {"trims-order-suspicious"},
    "van-wrong-calibration": {"calibration-not-expected"},
}


@pytest.mark.parametrize("name", DEMO)
def test_the_demo_has_exactly_these_findings(name: str, findings: Findings) -> None:
    assert {item.id for item in findings(shipped(name, names=True, sheet=True))} == DEMO[name]


def test_two_sessions_with_the_same_frames_have_the_same_findings(findings: Findings) -> None:
    """Whether the module stored the trims cannot be seen: the answer must be the same."""
    stored, lost = (findings(shipped(f"coach-trims-not-read-back-{end}", names=True)) for end in ("stored", "lost"))
    assert [item.explanation for item in stored] == [item.explanation for item in lost]
    assert "4A10-4A16, 4A1F, 4C20" in stored[0].explanation


# -- particular cases


def test_without_a_block_whose_answer_is_there_only_the_record_is_short(findings: Findings) -> None:
    found = findings(bench(lambda: edit.without_block(GOOD, "03", keep_answer=True)))
    assert "block-missing" not in {item.id for item in found}


def test_exchanged_records_are_seen_without_names(findings: Findings) -> None:
    found = {item.id: item for item in findings(shipped("coach-trims-exchanged"))}
    assert "4A12 holds the value of 4A13" in found["trims-order-suspicious"].explanation


def test_the_firing_order_is_named_where_names_give_it(findings: Findings) -> None:
    found = findings(shipped("van-trims-firing-order", names=True, sheet=True))
    order = next(one for one in found if one.id == "trims-order-suspicious")
    assert order.case.partition(": ")[2].startswith("3102-3104 stand in firing order 1-3-4-2")
    assert order.cautions[0].startswith("A trim belongs to one part in one place. A wrong one can damage the engine.")


def test_the_firing_order_is_on_the_first_screen() -> None:
    folder = FIXTURES / "van-trims-firing-order"
    report = analyse(next(folder.glob("capture.*")), FIXTURES / "van.toml", [FIXTURES / "van_names.toml"])
    assert "3102-3104 stand in firing order 1-3-4-2 instead of cylinder order" in report.verdict.headline


@pytest.mark.parametrize(
    ("circumstance", "is_found"),
    [('hardware = "HW-OTHER"', True), ('hardware = "ABC"', False), ('hardware = "414243"', False), ("", False)],
)
def test_the_hardware_of_the_sheet_is_compared(circumstance: str, is_found: bool, findings: Findings) -> None:
    session = said_on_sheet(circumstance, lambda: reads_twice("F191", "414243", "414243"))
    assert ("hardware-differs" in {item.id for item in findings(session)}) is is_found


def test_a_hardware_number_that_nobody_read_is_no_finding(findings: Findings) -> None:
    found = {item.id for item in findings(said_on_sheet('hardware = "HW-OTHER"'))}
    assert "hardware-differs" not in found


@pytest.mark.parametrize(
    ("answers", "is_found"),
    [
        (["7F2222"], True),
        (["7F2221"], True),
        (["7F2278"], True),
        (["7F2231"], False),  # it has none
        (["7F2222", "62F80612345678"], False),  # read later
    ],
)
def test_a_cvn_put_off_is_not_ready(answers: list[str], is_found: bool, findings: Findings) -> None:
    lines = GOOD
    for number, answer in enumerate(answers):
        data = bytes.fromhex(answer)
        talk = ("({t}) can0 7E0#0322F806CCCCCCCC", f"({{t}}) can0 7E8#{len(data):02X}{data.hex().upper():C<14}")
        lines = edit.with_lines(lines, 480 + 5 * number, *talk)
    found = {item.id for item in findings(bench(lambda: lines))}
    assert ("cvn-not-ready" in found) is is_found


@pytest.mark.parametrize(
    ("gateway", "asked", "answer", "is_found"),
    [
        ("PMU", "7E0#0322F188CCCCCCCC", "7E9#037F2225CCCCCCCC", True),
        ("", "7E0#0322F188CCCCCCCC", "7E9#037F2225CCCCCCCC", False),  # no gateway by the names
        ("PMU", "7E1#0322F188CCCCCCCC", "7E9#037F2225CCCCCCCC", False),  # asked itself
        ("PMU", "7E0#0322F188CCCCCCCC", "7E9#037F1925CCCCCCCC", False),  # another service
        ("PMU", "7E0#0322F188CCCCCCCC", "7E9#037F2231CCCCCCCC", False),  # out of range is no closed gateway
    ],
)
def test_a_gateway_that_refuses_for_another_module(
    gateway: str, asked: str, answer: str, is_found: bool, findings: Findings
) -> None:
    last = ("({t}) can0 " + asked, "({t}) can0 " + answer)
    session = Session(lambda: edit.with_lines(GOOD, len(GOOD) - 1, *last), "uds11", names=True, gateway=gateway)
    found = [item for item in findings(session) if item.id == "gateway-blocks"]
    assert bool(found) is is_found
    assert all("PMU refused what PCU was asked: 25" in item.case for item in found)


@pytest.mark.parametrize(
    ("name", "named", "harm"),
    [
        ("uds11-read-back-differs", False, "Depending on the part, a wrong one can"),
        ("coach-trims-exchanged", True, "A wrong one can damage the gearbox."),
        ("kwp-read-back-differs", True, "A wrong one can damage the heater or what stands round it."),
        ("coach-trims-exchanged", False, "Depending on the part, a wrong one can"),
    ],
)
def test_the_caution_fits_the_kind_of_trim(findings: Findings, name: str, named: bool, harm: str) -> None:
    found = findings(shipped(name, names=named))
    assert all(harm in one.cautions[0] for one in found if one.id.startswith("trims-") and one.cautions)
    assert any(one.id.startswith("trims-") for one in found)


def test_the_length_of_a_block_stands_in_the_answer(findings: Findings) -> None:
    """The line quoted beside it is that of 74, not of 34."""
    lines = allowed_length("0081")
    found = next(item for item in findings(bench(lambda: lines)) if item.id == "block-longer-than-allowed")
    first, *_ = (one for one in found.evidence if "allows" in one.text)
    assert all("7E8#0474" in lines[number - 1] for number in first.lines)  # type: ignore[index]


def test_error_frames_of_a_frame_that_nobody_hears_are_no_finding_of_their_own(findings: Findings) -> None:
    lines = plan(*LOADER, faults=("line-cut",))
    stamps = [line.split(" ")[0] for line in lines[-100:]]
    errors = [f"{stamp} can0 20000020#0000000000000000" for stamp in stamps]
    found = {item.id: item for item in findings(bench(lambda: edit.merged(lines, errors)))}
    assert "error-frame-burst" not in found
    assert found["frame-repeated-unacknowledged"].confidence is Confidence.HIGH
    assert "200 times in" in found["frame-repeated-unacknowledged"].case
    assert found["frame-repeated-unacknowledged"].heading.startswith("One frame again and again")


@pytest.mark.parametrize(
    ("every_s", "times", "is_found"),
    [(0.9, 13, True), (0.9, 10, False), (1.1, 13, False), (-0.9, 13, False)],
    ids=["steadily", "not long enough", "too seldom", "a clock that runs back"],
)
def test_error_frames_that_go_on_for_ten_seconds_are_no_single_ones(
    every_s: float, times: int, is_found: bool, findings: Findings
) -> None:
    begin = float(GOOD[0][1 : GOOD[0].index(")")])
    errors = [f"({begin + 60 + every_s * number:.6f}) can0 20000004#0000000000000000" for number in range(times)]
    found = {item.id: item for item in findings(bench(lambda: [*GOOD, *errors]))}
    assert ("error-frame-burst" in found) is is_found
    if is_found:
        assert f"{times} error frames, more than one a second for" in found["error-frame-burst"].case


def test_a_hole_is_named_by_its_addresses(findings: Findings) -> None:
    found = {item.id: item for item in findings(bench(erased_at_once))}
    assert "00010400-00017FFF (31,744 bytes) was erased and got nothing" in found["ranges-hole"].case
    short = {item.id for item in findings(bench(lambda: erased_at_once("0400")))}  # which ends with the first part
    assert "ranges-hole" not in short


def test_a_failure_that_was_overcome_is_only_a_note(findings: Findings) -> None:
    found = {item.id: item.severity for item in findings(shipped("uds11-second-attempt-good", names=True))}
    assert found == {"programming-failure": Severity.NOTE}


def test_copies_from_the_keeper_of_another_vehicle_are_counted(findings: Findings) -> None:
    found = {item.id: item for item in findings(shipped("coach-foreign-keeper", names=True))}
    assert "Copied from it: 8 values" in found["vin-foreign"].explanation
    assert "VBM" in found["vin-foreign"].try_next[0]


def test_a_module_that_owes_an_answer_fell_silent_however_soon_it_was_asked(findings: Findings) -> None:
    """The last request comes right behind a good answer and stays unanswered; the bus goes on."""
    lines = plan("look", "background")
    answered = max(at for at, line in enumerate(lines) if " 7E8#" in line)
    rest = [line for line in lines[answered + 1 :] if " 7DF#" not in line]
    whole = edit.with_lines([*lines[: answered + 1], *rest], answered + 1, "({t}) can0 7E0#0322F18CCCCCCCCC")
    found = {item.id for item in findings(bench(lambda: whole))}
    assert "silence-tester-first" not in found
    assert "silence-module-first" in found


def test_a_pause_of_the_tester_on_a_quiet_bus_is_no_silence_of_the_bus(findings: Findings) -> None:
    lines = plan(*LOADER, "wait", "look", faults=("erase-answer-lost",), background=False)
    found = {item.id for item in findings(bench(lambda: lines))}
    assert "silence-everything" not in found


def test_a_bus_on_which_one_module_goes_on_is_not_silent(findings: Findings) -> None:
    lines = plan(*LOADER, faults=("erase-stalls",))
    assert {item.id for item in findings(bench(lambda: lines))} == {"pending-without-end"}


def test_one_cause_makes_one_finding_when_the_whole_bus_fell_silent(findings: Findings) -> None:
    lines = edit.behind(stalled_erase_cut(), plan("look", "read-keeper"), 20.0)
    found = {item.id for item in findings(bench(lambda: lines))}
    assert found & {"silence-everything", "pending-without-end", "request-unanswered"} == {"silence-everything"}


def test_everything_silent_on_one_channel_while_the_other_goes_on(findings: Findings) -> None:
    stopped = fixture("uds11-ends-mid-transfer")
    other = edit.shifted(plan("background"), 0, channel="can1")
    found = {item.id for item in findings(bench(lambda: edit.merged(stopped, other)))}
    assert "silence-everything" in found
    assert "silence-tester-first" not in found


def test_an_answer_that_is_missing_before_the_module_fell_silent_is_a_finding_of_its_own(findings: Findings) -> None:
    lines = edit.without(fixture("coach-module-silent"), "18DAF12A#036EF184")
    found = {item.id for item in findings(Session(lambda: lines, "coach"))}
    assert {"silence-module-first", "step-missing"} <= found


@pytest.mark.parametrize("seed", range(20))
def test_a_random_good_session_has_no_finding_but_the_unknown_status(seed: int, findings: Findings) -> None:
    """Any addressing, padding, block length, pace, with and without other traffic."""
    chosen = random_plan(Random(seed), acts=(*WHOLE_JOB, "learn", "wait", "read-faults"))
    found = {item.id for item in findings(bench(lambda: session(chosen, seed)[0]))}
    assert found <= NOTES_WITHOUT_NAMES


@pytest.mark.parametrize("fault", sorted(FAULTS))
def test_whatever_goes_wrong_no_check_breaks_and_the_steps_are_few(fault: str, tmp_path: Path) -> None:
    lines, _ = session(Plan(acts=(*WHOLE_JOB, "learn"), faults=(fault,)), seed=3)
    path = tmp_path / "capture.log"
    path.write_text("\n".join(lines) + "\n")
    report = analyse(path, FIXTURES / "uds11.toml", [FIXTURES / "uds11_names.toml"])
    assert not [item for item in report.findings if item.title.endswith("is broken")]
    steps = report.verdict.next_steps
    assert len(steps) <= 4
    assert len(set(steps)) == len(steps)
    assert all(starts_with_a_verb(step) for step in steps), steps
    assert report.verdict.headline.endswith(".")
    if report.verdict.overall is not Word.CONFIRMED:
        assert steps


def test_one_cause_makes_one_finding_when_a_write_is_not_stored(findings: Findings) -> None:
    found = findings(bench(partial(plan, faults=("stores-nothing",)), names=True))
    assert {item.id for item in found} == {"trims-read-back-differs"}


def test_a_write_that_never_came_through_is_judged_by_no_value_of_it(findings: Findings) -> None:
    found = {item.id for item in findings(bench(partial(plan, faults=("write-unanswered",)), names=True))}
    assert found == {"silence-module-first", "trims-not-read-back"}


@pytest.mark.parametrize("seed", range(24))
def test_no_check_breaks_on_a_damaged_recording(seed: int, findings: Findings) -> None:
    """Lines gone, moved, twice, cut, or all of one direction gone."""
    rng = Random(seed)
    name = rng.choice(sorted(path.parent.name for path in FIXTURES.glob("uds11-*/capture.log")))
    lines = fixture(name)
    for _ in range(rng.randrange(1, 12)):
        at = rng.randrange(len(lines))
        lines = rng.choice(
            [
                lines[:at] + lines[at + 1 + rng.randrange(40) :],
                [*lines[:at], *lines[at : at + 3], *lines[at:]],
                [*lines[:at], lines[at][: rng.randrange(10, 40)], *lines[at + 1 :]],
                [*lines[at : at + 20], *lines[:at], *lines[at + 20 :]],
                [line for line in lines if rng.random() > 0.01],
            ]
        ) or lines  # fmt: skip
    found = findings(bench(lambda: lines, names=bool(seed % 2), sheet=bool(seed % 3)))
    assert not [item.explanation for item in found if item.title.endswith("is broken")]


def test_several_captures_of_one_job_have_their_findings_each_in_its_own_lines() -> None:
    """The break on the evening, the boot loader the next morning."""
    paths = [FIXTURES / name / "capture.log" for name in ("coach-ends-mid-transfer", "coach-next-day")]
    report = analyse(paths, FIXTURES / "coach.toml", [FIXTURES / "coach_names.toml"])
    where = {item.id: {one.capture for one in item.evidence} for item in report.findings}
    assert where == {"capture-ends-inside": {1}, "boot-mode-only": {2}, "dtc-lost-communication": {2}}


REAL = sorted([*FIXTURES.glob("real/*.asc"), *FIXTURES.glob("real/*.csv")])


@pytest.mark.parametrize("path", REAL, ids=lambda path: path.stem)
def test_a_real_capture_of_mere_reading_has_no_finding_about_programming_or_trims(path: Path) -> None:
    """Scans and noise of a real vehicle, recorded by others: nothing was programmed or written in them."""
    found = {item.id for item in analyse(path).findings}
    assert not found & {
        *(one for one in CHECKS if one.startswith(("trims", "block", "transfer", "size", "vin", "erase", "boot"))),
        "silence-everything", "silence-tester-first", "reset-no-return", "key-refused", "two-testers",
    }  # fmt: skip


# -- a bug of ours


def test_a_check_that_raises_says_so_and_the_report_still_comes(
    monkeypatch: pytest.MonkeyPatch, findings: Findings
) -> None:
    def look(ctx: Context) -> list[Seen]:
        raise ZeroDivisionError("planted")

    check = CHECKS["erase-failed"]
    monkeypatch.setitem(CHECKS, "erase-failed", type(check)(check.id, check.severity, look, check.title, check.texts))  # type: ignore[arg-type]
    found = findings(shipped("coach-erase-low-voltage", names=True))
    broken = [item for item in found if item.title == "the check erase-failed is broken"]
    assert len(broken) == 1
    assert "ZeroDivisionError: planted" in broken[0].explanation
    assert "voltage-too-low" in {item.id for item in found}


def test_an_erase_refused_with_72_promises_nothing(findings: Findings) -> None:
    """72 says that the memory gave trouble; only another code speaks for memory that nobody touched."""
    found = {item.id: item for item in findings(shipped("uds11-erase-refused", names=True))}["erase-refused"]
    assert (found.confidence, "may have begun" in found.explanation) == (Confidence.MEDIUM, True)
    assert "nothing is lost" not in " ".join([found.explanation, *found.try_next])
    lines = edit.replaced(fixture("uds11-erase-refused"), "7F3172", "7F3122")
    other = {item.id: item for item in findings(bench(lambda: lines, names=True))}["erase-refused"]
    assert (other.confidence, "still there" in other.explanation) == (Confidence.HIGH, True)


def test_a_serious_finding_says_in_its_heading_which_module_and_which_value(findings: Findings) -> None:
    cases = {
        "coach-foreign-keeper": ("vin-foreign", ("VBM", "E0KRC7HT9TD004205", "E0KRC7HT5TD004217")),
        "coach-vin-swapped": ("vin-typed-wrong", ("DUC", "E0KRC7HT5TD004271", "places 16 and 17")),
        "coach-trims-exchanged": ("trims-order-suspicious", ("DUC", "4A12 holds the value of 4A13")),
        "uds11-transfer-refused": ("programming-failure", ("PCU", "36 03", "72")),
    }
    for name, (check_id, said) in cases.items():
        found = next(item for item in findings(shipped(name, names=True)) if item.id == check_id)
        assert all(text in found.heading for text in said), found.heading
        assert found.heading.startswith(CHECKS[check_id].title)
        assert f"{found.heading} {found.body}".count(said[1]) == 1
