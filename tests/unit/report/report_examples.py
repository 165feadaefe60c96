"""Hand-made reports of an invented coach, as the contract asks for them: three situations at the vehicle."""

from __future__ import annotations

from collections.abc import Sequence
from copy import deepcopy

from analysis.report import contract as c

DUC = "can0:18DA2AF1>18DAF12A"
VBM = "can0:18DA2BF1>18DAF12B"
START_NS = 1_780_000_000_000_000_000
RECORD = "0201260411870 00C0097019702930395049405930 68FDD2F".replace(" ", "")


def seconds(value: float) -> int:
    return START_NS + round(value * 1000) * 1_000_000


def evidence(text: str, *lines: int) -> c.EvidenceDict:
    return {"capture": 1, "lines": list(lines), "text": text}


def capture(**changes: object) -> c.CaptureDict:
    item: c.CaptureDict = {
        "number": 1, "name": "capture.log", "format": "candump-log", "sha256": "ab" * 32, "frames": 21344,
        "channels": ["can0"], "first_time_ns": seconds(0), "last_time_ns": seconds(75.25), "time_kind": "absolute",
        "damaged_lines": 0, "damaged_examples": [], "logger_drops": 0, "out_of_order": 0, "error_frames": 0,
        "doubled": False, "fitness": "good", "fitness_reasons": ["both directions are there, begin and end are whole"],
        "other_traffic": [],
    }  # fmt: skip
    return {**item, **changes}  # type: ignore[typeddict-item]


def link(key: str, label: str | None, requests: int, responses: int, incomplete: int = 0) -> c.LinkDict:
    ids = key.partition(":")[2].split(">")
    return {
        "link": key, "label": label, "capture": 1, "channel": "can0", "request_id": ids[0], "response_id": ids[1],
        "request_address": None, "response_address": None, "addressing": "normal-fixed", "dialect": "uds",
        "functional": False, "how": "first frames answered by flow control", "requests": requests,
        "responses": responses, "messages": requests + responses, "incomplete": incomplete,
        "timing": times(responses),
    }  # fmt: skip


def times(answers: int) -> c.TimingDict:
    is_timed = answers > 0
    return {
        "stamp_step_ns": 0, "answers": answers, "p2_min_ns": 2_500_000 if is_timed else None,
        "p2_median_ns": 8_000_000 if is_timed else None, "p2_95_ns": 20_000_000 if is_timed else None,
        "p2_max_ns": 41_000_000 if is_timed else None, "p2_max_lines": [700, 702] if is_timed else [], "pendings": 0,
        "p2_star_max_ns": None, "p2_star_max_lines": [], "p2_announced_ns": None, "p2_star_announced_ns": None,
        "announced_lines": [], "late_answers": 0, "longest_gap_ns": None, "longest_gap_lines": [],
        "separation_asked_ns": None, "n_bs_passed_lines": [], "n_cr_passed_lines": [],
    }  # fmt: skip


def module(key: str, label: str | None, now: c.Now, retry: c.MayRetry, advice: str, *cautions: str) -> c.ModuleDict:
    return {
        "link": key, "label": label, "now": now, "may_retry": retry, "advice": advice, "cautions": list(cautions),
        "evidence": [evidence("boot software identification read, application refused", 9300)],
    }  # fmt: skip


def operation(
    number: int, kind: c.Kind, begin: float, word: c.Word, details: dict[str, object] | None = None, key: str = DUC,
    proof: Sequence[str] = (), would_change: str = "", superseded_by: int | None = None,
) -> c.OperationDict:  # fmt: skip
    proofs = proof or (["a later answer shows it"] if word == "confirmed" else [])
    return {
        "number": number, "kind": kind, "link": key, "begin_ns": seconds(begin), "end_ns": seconds(begin + 0.5),
        "word": word, "confidence": "high", "superseded_by": superseded_by, "details": details or {},
        "proof": [{"what": what, "capture": 1, "lines": [4000 + number, 4004 + number]} for what in proofs],
        "would_change": would_change, "not_as_meant": None,
    }  # fmt: skip


def download(address: str, asked: int, carried: int, *, driver: bool = False, whole: bool = True) -> dict[str, object]:
    return dict(
        c.DownloadDetails(
            address=address, size_asked=asked, size_carried=carried, blocks=-(-carried // 1024), ended=whole,
            checked=whole, compressed=False, rate_bytes_per_s=2400.5, driver=driver, driver_presumed=False,
        )
    )  # fmt: skip


def write(identifier: str, name: str, data: str, read_back: str | None, source: str | None = None) -> dict[str, object]:
    return dict(
        c.WriteDetails(
            identifier=identifier, name=name, before=None, written=data, read_back=read_back,
            after_power_cycle=read_back is not None, source_link=source,
        )
    )  # fmt: skip


def part(word: c.Word, because: str = "", would_change: str = "", confidence: c.Confidence = "high") -> c.PartDict:
    return {
        "word": word,
        "confidence": confidence,
        "because": [because] if because else [],
        "would_change": [would_change] if would_change else [],
        "lacking": "",
    }


def parts(**given: c.PartDict) -> c.PartsDict:
    names = ("programming", "trims", "vin", "fault_memory", "learn")
    return {name: given.get(name, part("not-shown")) for name in names}  # type: ignore[misc, return-value]


def base() -> c.ReportDict:
    return {
        "schema": "canlog-report/1",
        "made_by": {"version": "0.1.0", "limits_changed": [], "job_sha256": None, "names_sha256": ["cd" * 32]},
        "captures": [capture()],
        "links": [link(DUC, "DUC", 310, 309), link(VBM, "VBM", 9, 9)],
        "modules": [
            module(DUC, "DUC", "application", "yes", "Nothing has to be done again."),
            module(VBM, "VBM", "application", "yes", ""),
        ],
        "exchanges": [
            {
                "number": 1, "capture": 1, "link": DUC, "time_ns": seconds(0.2),
                "service": "read data by identifier", "request": "22F188", "response": "62F188445543303732364131",
                "pending": 0, "outcome": "positive", "nrc": None, "lines": [12, 15],
            }
        ],
        "packets": [],
        "operations": [],
        "expectations": [],
        "trims": [],
        "verdict": {
            "headline": "Only read: nothing was programmed, written or cleared.",
            "overall": "not-shown", "confidence": "high", "parts": parts(), "next_steps": [],
            "cannot_show": ["the voltage at the module where nobody asked for it", "what happened after the last line"],
        },
        "findings": [],
        "identifiers": [
            {
                "link": DUC, "identifier": "F188", "name": "software number",
                "readings": [
                    {"capture": 1, "time_ns": seconds(0.2), "raw": "445543303732364131", "value": "DUC0726A1",
                     "line": 15},
                    {"capture": 1, "time_ns": seconds(46), "raw": "445543303732364133", "value": "DUC0726A3",
                     "line": 18200},
                ],
            }
        ],
        "meanwhile": [],
        "post_mortem": None,
    }  # fmt: skip


def all_good() -> c.ReportDict:
    """Programmed, trims copied from the keeper, all proved; with a job sheet."""
    report = base()
    trims = [f"4A1{number}" for number in range(7)]
    report["operations"] = [
        operation(1, "identity", 0.0, "unproven", key=VBM),
        operation(2, "session", 11.0, "confirmed", {"session": "02"}),
        operation(3, "download", 12.2, "confirmed", download("40008000", 1536, 1536, driver=True)),
        operation(4, "download", 13.0, "confirmed", download("00020000", 24576, 24576),
                  proof=["check routine 0312 answered 00, good by the names"]),
        operation(5, "reset", 32.0, "confirmed"),
        *(
            operation(6 + index, "write", 35.0 + index / 10, "confirmed",
                      write(item, f"solenoid {index + 1} characterisation", RECORD, RECORD, VBM),
                      proof=["read back equal after a power cycle"])
            for index, item in enumerate(trims)
        ),
        operation(13, "clear", 66.0, "confirmed", proof=["read again: none of the earlier codes"]),
    ]  # fmt: skip
    report["trims"] = [
        {
            "link": DUC, "identifier": item, "name": f"solenoid {index + 1} characterisation", "index": index + 1,
            "old": "0201" + "FF" * 22, "source_link": VBM, "written": RECORD, "read_back": RECORD, "unit": "kPa",
            "word": "confirmed", "operation": None, "refused": None, "notes": [],
        }
        for index, item in enumerate(trims)
    ]  # fmt: skip
    report["verdict"]["headline"] = "All confirmed at DUC: programming, trims and configuration, VIN and fault memory."
    report["verdict"]["overall"] = "confirmed"
    report["verdict"]["parts"] = parts(
        programming=part(
            "confirmed", "1 part, 24,576 bytes, check answered good, new software answers after the reset"
        ),
        trims=part("confirmed", "7 of 7 read back equal after a power cycle"),
        vin=part("confirmed", "read back equal after a power cycle"),
        fault_memory=part("confirmed", "read again after the clear: no codes"),
    )
    report["expectations"] = [
        {
            "item": "software", "link": DUC, "asked": "DUC0726A3", "found": "DUC0726A3", "word": "confirmed",
            "confidence": "high", "note": "", "would_change": "", "operation": 4,
            "evidence": [evidence("identity read after the reset", 18200)],
        },
        {
            "item": "calibration", "link": DUC, "asked": "RC7-CITY-0418", "found": "RC7-CITY-0412", "word": "failed",
            "confidence": "high", "note": "", "would_change": "do it", "operation": None,
            "evidence": [evidence("identity read after the reset", 18210)],
        },
    ]  # fmt: skip
    return report


def failed_erase() -> c.ReportDict:
    """Supply too low, erase refused, boot mode only."""
    report = base()
    report["captures"] = [capture(fitness="limited", fitness_reasons=["it ends inside a session"], error_frames=3)]
    report["modules"][0] = module(
        DUC, "DUC", "boot", "with-care",
        "Start again from the programming session with a support unit connected.",
        "Keep battery support on. Do not switch off, unplug or retry blindly while the module is in boot mode; "
        "follow the vehicle maker's service information.",
    )  # fmt: skip
    report["operations"] = [
        operation(1, "session", 11.0, "confirmed", {"session": "02"}),
        operation(2, "download", 13.0, "failed", download("00020000", 24576, 0, whole=False), superseded_by=3,
                  would_change="an erase that ends positively, and the whole download after it"),
        operation(3, "download", 25.0, "failed", download("00020000", 24576, 0, whole=False)),
    ]  # fmt: skip
    report["verdict"] = {
        "headline": "DUC: programming failed: the erase broke off; the application does not run; "
                    "the boot loader answers.",
        "overall": "failed", "confidence": "high",
        "parts": parts(programming=part("failed", "the erase was refused: 7F 31 72, general programming failure",
                                        "a new attempt that ends with a good check")),
        "next_steps": ["Connect a support unit for 24 V and watch the voltage.",
                       "Leave the module powered, and start again from the programming session."],
        "cannot_show": ["the voltage at the module where nobody asked for it"],
    }  # fmt: skip
    report["findings"] = [
        {
            "id": "erase-failed", "severity": "serious", "confidence": "high", "title": "The module refused the erase",
            "explanation": "The erase routine ended with a negative response after it had begun: the old software may "
            "be gone.",
            "try_next": ["Repair the supply first."], "cautions": ["Moving parts may start without warning."],
            "look_alikes": ["A refusal without a pending response in front: nothing was erased."],
            "evidence": [evidence("7F 31 72 answers the erase", 9120, 9180)],
            "source": "ISO 14229-1:2020, annex A (M)",
        },
        {
            "id": "voltage-falls", "severity": "warning", "confidence": "medium", "title": "The supply sinks",
            "explanation": "Readings fell from 24.6 V to 20.9 V.", "try_next": [], "cautions": [], "look_alikes": [],
            "evidence": [evidence(f"reading {number}", number) for number in range(100, 107)],
            "source": "common practice, no source",
        },
    ]  # fmt: skip
    report["post_mortem"] = {
        "stage": "in-erase", "last_good": evidence("check of the helper program: good", 9050),
        "first_bad": evidence("7F 31 72", 9180), "silent_first": "unknown", "share_carried": 0.0,
        "supply": [{"capture": 1, "link": DUC, "time_ns": seconds(29), "volts": 20.9, "line": 9400}],
        "facts": [evidence("part 1 of 2", 9050)],
        "explanations": [{"cause": "the supply broke down", "for": [evidence("20.9 V", 9400)], "against": [],
                          "settled_by": "a second capture with voltage readings"}],
    }  # fmt: skip
    return report


def only_read() -> c.ReportDict:
    """A scan of the old module before it leaves."""
    report = base()
    report["operations"] = [operation(1, "identity", 0.2, "unproven"), operation(2, "read-faults", 3.0, "unproven")]
    report["identifiers"] += [
        {
            "link": DUC, "identifier": "4A10", "name": "solenoid 1 characterisation",
            "readings": [{"capture": 1, "time_ns": seconds(1), "raw": RECORD, "value": None, "line": 77}],
        }
    ]  # fmt: skip
    return report


def without_clock() -> c.ReportDict:
    """A listing of frames without time, nothing named."""
    report = deepcopy(failed_erase())
    report["captures"] = [capture(time_kind="none", first_time_ns=None, last_time_ns=None, damaged_lines=2)]
    for item in report["operations"]:
        item["begin_ns"] = item["end_ns"] = None
    for named in (*report["links"], *report["modules"]):
        named["label"] = None  # type: ignore[index]
    return report


EXAMPLES = {
    "all_good": all_good,
    "failed_erase": failed_erase,
    "only_read": only_read,
    "without_clock": without_clock,
    "base": base,
}
