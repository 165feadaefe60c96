"""The report as data: what ``canlog report --json`` writes and ``Report.to_dict()`` returns, field by field.

This file is the only home of the contract. The JSON Schema (``report.schema.json``) and the page
``analysis/report/json_contract.md`` are written from it by ``python -m analysis.report.schema``.

Times are integers in nanoseconds as the capture's own clock gives them; ``null`` where a capture carries no
time. Bytes are hex text in capitals without spaces. Captures, exchanges and operations are numbered from 1.
Line numbers are 1-based source lines (record numbers in binary formats).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, TypedDict

#: Changes when a field changes its meaning or goes away; new fields do not change it.
SCHEMA: Literal["canlog-report/1"] = "canlog-report/1"

Word = Literal["confirmed", "unproven", "failed", "interrupted", "not-shown"]
Confidence = Literal["high", "medium", "low"]
Severity = Literal["note", "warning", "serious"]
TimeKind = Literal["absolute", "relative", "none"]
Fitness = Literal["good", "limited", "poor"]
Addressing = Literal["normal", "normal-fixed", "extended", "mixed", "doip"]
Dialect = Literal["uds", "kwp2000", "gmw3110", "obd", "unknown"]
Now = Literal["application", "boot", "silent", "unknown"]
MayRetry = Literal["not-needed", "yes", "with-care", "no", "unknown"]
ExchangeOutcome = Literal["positive", "negative", "silent", "suppressed", "incomplete"]
Kind = Literal[
    "download", "upload", "file", "write", "write-memory", "routine", "unlock", "session", "reset", "identity",
    "communication", "clear", "read-faults",
]  # fmt: skip
Stage = Literal[
    "before-session", "before-erase", "in-erase", "in-transfer", "before-check", "in-check", "before-reset",
    "after-reset", "unknown",
]  # fmt: skip
SilentFirst = Literal[
    "module", "tester", "branch", "all-but-tester", "everything", "nobody", "capture-ended", "unknown"
]

Moved = Literal["moving", "standing", "running", "stopped"]

Hex = Annotated[str, "pattern:^([0-9A-F]{2})*$"]
HexByte = Annotated[str, "pattern:^[0-9A-F]{2}$"]
HexAddress = Annotated[str, "pattern:^([0-9A-F]{2}|[0-9A-F]{4})$"]
CanId = Annotated[str, "pattern:^([0-9A-F]{3}|[0-9A-F]{4}|[0-9A-F]{8})$"]
Sha256 = Annotated[str, "pattern:^[0-9a-f]{64}$"]
Number = Annotated[int, "minimum:1"]
Count = Annotated[int, "minimum:0"]


class EvidenceDict(TypedDict):
    """Source lines and what they show. Never without lines."""

    capture: Annotated[Number, "number of the capture the lines belong to"]
    lines: Annotated[list[Number], "at least one source line, 1-based", "minItems:1"]
    text: Annotated[str, "what these lines show, one sentence"]


class ProofDict(TypedDict):
    """What proved an operation on the bus, besides the positive response of the act itself."""

    what: Annotated[str, "what proved it, one sentence"]
    capture: Annotated[Number, "number of the capture the lines belong to"]
    lines: Annotated[list[Number], "at least one source line, 1-based", "minItems:1"]


class MadeByDict(TypedDict):
    """What made this report, so that it can be made again."""

    version: Annotated[str, "version of canlog"]
    limits_changed: Annotated[list[str], "`name=value` of every limit that is not the default"]
    job_sha256: Annotated[Sha256 | None, "SHA-256 of the job sheet; null without one"]
    names_sha256: Annotated[list[Sha256], "SHA-256 of each names file, in the order given"]


class DamagedExampleDict(TypedDict):
    """A line that is no frame."""

    line: Annotated[Number, "source line"]
    text: Annotated[str, "the line as it stands, shortened"]


class OtherTrafficDict(TypedDict):
    """A protocol on one channel that is no diagnosis."""

    protocol: Annotated[str, "its name"]
    channel: Annotated[str, "channel of the capture"]
    score: Annotated[Count, "weight of all signs; a protocol is named from 6 on"]
    confidence: Annotated[Confidence, "high from a score of 9 on, else medium"]
    signs: Annotated[list[EvidenceDict], "what speaks for it"]
    facts: Annotated[list[EvidenceDict], "what it tells of the vehicle: VIN and active faults of J1939"]


class CaptureDict(TypedDict):
    """One capture and whether it can be trusted."""

    number: Annotated[Number, "number of the capture in this report"]
    name: Annotated[str, "file name without folder; `-` for standard input"]
    format: Annotated[str, "name of the format as `canlog formats` lists it"]
    sha256: Annotated[Sha256, "SHA-256 of the file as given"]
    frames: Annotated[Count, "frames read"]
    channels: Annotated[list[str], "names of the channels, in order of appearance"]
    first_time_ns: Annotated[int | None, "time of the first frame; null when time_kind is none"]
    last_time_ns: Annotated[int | None, "time of the last frame; null when time_kind is none"]
    time_kind: Annotated[TimeKind, "absolute: since 1970; relative: since an unknown moment; none: order only"]
    damaged_lines: Annotated[Count, "lines that are no frame"]
    damaged_examples: Annotated[list[DamagedExampleDict], "the first few of them"]
    logger_drops: Annotated[Count, "frames that the logger itself says it lost; at least one per such note"]
    out_of_order: Annotated[Count, "frames earlier than the one before them on the same channel"]
    error_frames: Annotated[Count, "error frames of the controller"]
    doubled: Annotated[bool, "nearly every frame stood twice and was counted once"]
    fitness: Annotated[Fitness, "can this capture be trusted"]
    fitness_reasons: Annotated[list[str], "why, one sentence each"]
    other_traffic: Annotated[list[OtherTrafficDict], "protocols besides diagnostics, named and not read further"]


class TimingDict(TypedDict):
    """The times of one link; all null and 0 without a clock.

    A listener's times are good to the step of the stamps, a frame time and the jitter of whoever took them.
    """

    stamp_step_ns: Annotated[int, "the stamps are whole steps of this; 0: finer than 1 ms, or too few to tell"]
    answers: Annotated[Count, "answers that were timed; one with a step of the clock inside is not"]
    p2_min_ns: Annotated[int | None, "end of a request to the begin of its first answer: the shortest"]
    p2_median_ns: Annotated[int | None, "half of the answers took no longer"]
    p2_95_ns: Annotated[int | None, "95 % of the answers took no longer"]
    p2_max_ns: Annotated[int | None, "the longest"]
    p2_max_lines: Annotated[list[Number], "end of that request, begin of its answer; empty without one"]
    pendings: Annotated[Count, "answers behind a pending response that were timed"]
    p2_star_max_ns: Annotated[int | None, "the longest from a pending response to what came next"]
    p2_star_max_lines: Annotated[list[Number], "its two lines; empty without one"]
    p2_announced_ns: Annotated[int | None, "P2 as the module last announced it; null: never"]
    p2_star_announced_ns: Annotated[int | None, "the same for P2*"]
    announced_lines: Annotated[list[Number], "where it did; empty: never"]
    late_answers: Annotated[Count, "answers and pending responses later than the module announced"]
    longest_gap_ns: Annotated[int | None, "the longest time between two frames of one message"]
    longest_gap_lines: Annotated[list[Number], "first and last line of that message; empty without one"]
    separation_asked_ns: Annotated[int | None, "the longest gap between frames that a receiver asked for (STmin)"]
    n_bs_passed_lines: Annotated[list[Number], "where flow control was due for 1 s or more (N_Bs)"]
    n_cr_passed_lines: Annotated[list[Number], "where the next frame of a message was due for 1 s or more (N_Cr)"]


class LinkDict(TypedDict):
    """A tester and a module on one channel."""

    link: Annotated[str, "key, `channel:request>response`"]
    label: Annotated[str | None, "name of the module from the sheet or names; null when nothing names it"]
    capture: Annotated[Number, "number of the capture it was found in"]
    channel: Annotated[str, "channel of the capture"]
    request_id: Annotated[CanId, "id of the requests, 3 or 8 hex digits; over Ethernet the tester's address, 4"]
    response_id: Annotated[CanId | None, "id of the responses, or the module's address; null for functional requests"]
    request_address: Annotated[
        HexAddress | None, "address byte in front of each request frame, or a functional address of 4; else null"
    ]
    response_address: Annotated[HexAddress | None, "address byte in front of each response frame; null without one"]
    addressing: Annotated[Addressing, "how the frames carry addresses"]
    dialect: Annotated[Dialect, "family of services spoken"]
    functional: Annotated[bool, "requests to a group of modules"]
    how: Annotated[str, "the evidence that this is a link"]
    requests: Annotated[Count, "messages from the tester"]
    responses: Annotated[Count, "messages from the module"]
    messages: Annotated[Count, "messages in both directions"]
    incomplete: Annotated[Count, "messages that were begun and not completed"]
    timing: Annotated[TimingDict, "how soon its ends answered each other, and what they announced"]


class ModuleDict(TypedDict):
    """A module as the end of the capture leaves it."""

    link: Annotated[str, "key of its link"]
    label: Annotated[str | None, "name of the module; null when nothing names it"]
    now: Annotated[Now, "what runs in it, as far as the last lines show"]
    may_retry: Annotated[MayRetry, "may the job be tried again"]
    advice: Annotated[str, "what to do with it, one or two sentences"]
    cautions: Annotated[list[str], "what can hurt a person or the module"]
    evidence: Annotated[list[EvidenceDict], "what the state rests on"]


class ExchangeDict(TypedDict):
    """A request, its pending responses and its final response.

    Keys of 27 and 29 are masked unless asked for; 36 shows the length and SHA-256 of its data.
    """

    number: Annotated[Number, "number of the exchange in this report"]
    capture: Annotated[Number, "number of the capture"]
    link: Annotated[str, "key of the link"]
    time_ns: Annotated[int | None, "begin of the request; null without a clock"]
    service: Annotated[str, "service in words"]
    request: Annotated[str, "hex text; empty when only the answer was recorded"]
    response: Annotated[str, "hex text of the final response; empty when there is none"]
    pending: Annotated[Count, "responses that said: not yet"]
    outcome: Annotated[ExchangeOutcome, "how it ended"]
    nrc: Annotated[HexByte | None, "negative response code; null unless negative"]
    lines: Annotated[list[Number], "first and last source line", "minItems:2", "maxItems:2"]


class PacketDict(TypedDict):
    """A data packet of GMW3110: a frame outside the transport that answers a request for packets (AA). Not judged."""

    exchange: Annotated[Number, "number of the request among the exchanges"]
    capture: Annotated[Number, "number of the capture"]
    line: Annotated[Number, "source line"]
    time_ns: Annotated[int | None, "when; null without a clock"]
    packet: Annotated[HexByte, "its number"]
    data: Annotated[Hex, "its bytes behind the number"]


class DownloadDetails(TypedDict):
    """``details`` of a download."""

    address: Annotated[str | None, "hex text of the address asked for"]
    size_asked: Annotated[Count | None, "bytes announced"]
    size_carried: Annotated[Count, "bytes of data in answered blocks, as far as the capture holds them"]
    blocks: Annotated[Count, "blocks answered"]
    ended: Annotated[bool, "the end of the transfer was answered positively"]
    checked: Annotated[bool, "a check of this part was answered with a status known to be good"]
    compressed: Annotated[bool, "the data format byte is not 00: bytes carried and size may differ"]
    rate_bytes_per_s: Annotated[float | None, "mean rate of the transfer; null without a clock"]
    driver: Annotated[bool, "a helper program for the RAM, not a part of the software"]
    driver_presumed: Annotated[bool, "taken for one by its size and place in the order; no names say so"]


class WriteDetails(TypedDict):
    """``details`` of a write."""

    identifier: Annotated[str, "hex text of the identifier"]
    name: Annotated[str | None, "its name; null when nothing names it"]
    before: Annotated[Hex | None, "last reading before the write"]
    written: Annotated[Hex | None, "bytes written"]
    read_back: Annotated[Hex | None, "last reading after the write"]
    after_power_cycle: Annotated[bool, "that reading lies behind a proven power cycle"]
    source_link: Annotated[str | None, "link of another module from which the same bytes were read before"]


#: Kinds of operations whose ``details`` have fixed fields; the others carry what the act has.
DETAILS: Mapping[str, type] = {"download": DownloadDetails, "write": WriteDetails}


class NotAsMeantDict(TypedDict):
    """Why an act that was done is not what was meant."""

    word: Annotated[Word, "the word of the sheet's item; the act's own where only a finding speaks"]
    why: Annotated[str, "in words"]


class OperationDict(TypedDict):
    """One act on a module, as the bus shows it. It knows nothing of the job sheet."""

    number: Annotated[Number, "number of the operation in this report"]
    kind: Annotated[Kind, "what kind of act"]
    link: Annotated[str, "key of the link"]
    begin_ns: Annotated[int | None, "first request; null without a clock"]
    end_ns: Annotated[int | None, "last line that belongs to it, proof included; null without a clock"]
    word: Annotated[Word, "what happened"]
    confidence: Annotated[Confidence, "how sure"]
    superseded_by: Annotated[Number | None, "number of a later attempt at the same thing"]
    details: Annotated[Mapping[str, object], "by kind; fixed fields for download and write"]
    proof: Annotated[list[ProofDict], "what proved it; never empty when confirmed"]
    would_change: Annotated[str, "the missing proof that would change the word; empty when nothing is missing"]
    not_as_meant: Annotated[
        NotAsMeantDict | None, "what sheet or findings say against a confirmed act; null if nothing"
    ]


class ExpectationDict(TypedDict):
    """One item of the job sheet, asked and found."""

    item: Annotated[str, "what the sheet asks for, in words"]
    link: Annotated[str | None, "key of the module's link; null for the vehicle"]
    asked: Annotated[str, "value or act asked for"]
    found: Annotated[str | None, "what the capture shows; null when nothing does"]
    word: Annotated[Word, "the item's own word"]
    confidence: Annotated[Confidence, "how sure"]
    note: Annotated[str, "what the word needs to be read right; empty when it says all"]
    would_change: Annotated[str, "what would change the word; empty where it is confirmed"]
    operation: Annotated[Number | None, "number of the operation that decided it"]
    evidence: Annotated[list[EvidenceDict], "what it rests on"]


class TrimDict(TypedDict):
    """A trim or configuration value."""

    link: Annotated[str, "key of the module's link"]
    identifier: Annotated[str, "hex text of the identifier"]
    name: Annotated[str | None, "its name; null when nothing names it"]
    index: Annotated[int | None, "cylinder, solenoid, … from the names; null without one"]
    old: Annotated[Hex | None, "last reading before the write"]
    source_link: Annotated[str | None, "link of another module from which the same bytes were read before"]
    written: Annotated[Hex | None, "bytes written; null when only read"]
    read_back: Annotated[Hex | None, "last reading after the write"]
    unit: Annotated[str | None, "unit from the names"]
    word: Annotated[Word, "what happened to it; what speaks against it stands in the operation"]
    operation: Annotated[Number | None, "number of the operation that wrote it; null when only read"]
    refused: Annotated[HexByte | None, "code with which the write was refused; null when it was not"]
    notes: Annotated[list[str], "what a person should know about it"]


class PartDict(TypedDict):
    """One part of the job."""

    word: Annotated[Word, "what happened"]
    confidence: Annotated[Confidence, "how sure"]
    because: Annotated[list[str], "what the word rests on, one sentence each"]
    would_change: Annotated[list[str], "what would change this word: the missing proofs"]
    lacking: Annotated[str, "of a not-shown part of which only something is in the captures: what is not; else empty"]


class PartsDict(TypedDict):
    """The parts of the job; a part that was not attempted is `not-shown`."""

    programming: Annotated[PartDict, "software and calibration"]
    trims: Annotated[PartDict, "trims and configuration"]
    vin: Annotated[PartDict, "vehicle identification number"]
    fault_memory: Annotated[PartDict, "clearing of fault memory"]
    learn: Annotated[PartDict, "learn routines"]


class VerdictDict(TypedDict):
    """The answer."""

    headline: Annotated[str, "what happened to which module, in one plain sentence"]
    overall: Annotated[
        Word,
        "worst of the sheet's items, without a sheet worst of what was attempted; not-shown when nothing was; never "
        "confirmed when a module that something was done to does not answer at the end",
    ]
    confidence: Annotated[Confidence, "how sure"]
    parts: Annotated[PartsDict, "one word for each part of the job"]
    next_steps: Annotated[
        list[str], "what to do next, in order: at most three, and one for what the sheet asks and no capture shows"
    ]
    cannot_show: Annotated[list[str], "what this capture cannot show"]


class FindingDict(TypedDict):
    """Something a check saw."""

    id: Annotated[str, "stable id of the check", "pattern:^[a-z0-9]+(-[a-z0-9]+)*$"]
    severity: Annotated[Severity, "how bad if true"]
    confidence: Annotated[Confidence, "how sure"]
    title: Annotated[str, "in plain words"]
    explanation: Annotated[str, "what was seen and what it can mean"]
    try_next: Annotated[list[str], "what to try, in order"]
    cautions: Annotated[list[str], "what can hurt a person or the module"]
    look_alikes: Annotated[list[str], "what looks the same, and how to tell it apart"]
    evidence: Annotated[list[EvidenceDict], "the lines", "minItems:1"]
    source: Annotated[str, "published source, or `common practice, no source`"]


class ReadingDict(TypedDict):
    """One reading of an identifier."""

    capture: Annotated[Number, "number of the capture"]
    time_ns: Annotated[int | None, "time of the answer; null without a clock"]
    raw: Annotated[Hex, "bytes as read"]
    value: Annotated[str | None, "decoded text; null when nothing decodes it"]
    line: Annotated[Number, "source line of the answer"]


class IdentifierDict(TypedDict):
    """An identifier that was read, with every reading."""

    link: Annotated[str, "key of the module's link"]
    identifier: Annotated[str, "hex text of the identifier"]
    name: Annotated[str | None, "its name; null when nothing names it"]
    readings: Annotated[list[ReadingDict], "in order of time"]


class SupplyDict(TypedDict):
    """One reading of the supply voltage."""

    capture: Annotated[Number, "number of the capture"]
    link: Annotated[str, "key of the module that said it; `channel:id` of a cyclic message"]
    time_ns: Annotated[int | None, "time of the answer; null without a clock"]
    volts: Annotated[float, "volts"]
    line: Annotated[Number, "source line"]


class MeanwhileDict(TypedDict):
    """What vehicle or engine did during an act on a memory, as one signal of a cyclic message says."""

    operation: Annotated[Number, "number of the operation"]
    moved: Annotated[Moved, "moving and standing: the vehicle; running and stopped: the engine"]
    signal: Annotated[str, "name of the signal in the names"]
    link: Annotated[str, "`channel:id` of the cyclic message"]
    lowest: Annotated[float | None, "lowest value meanwhile; null for a state without numbers"]
    highest: Annotated[float | None, "highest value meanwhile"]
    unit: Annotated[str, "km/h or 1/min; empty for a state"]
    capture: Annotated[Number, "number of the capture"]
    lines: Annotated[list[Number], "first and last frame of the signal meanwhile", "minItems:1", "maxItems:2"]


ExplanationDict = TypedDict(
    "ExplanationDict",
    {
        "cause": Annotated[str, "the cause, in plain words"],
        "for": Annotated[list[EvidenceDict], "what speaks for it"],
        "against": Annotated[list[EvidenceDict], "what speaks against it"],
        "settled_by": Annotated[str, "the one thing that would settle it"],
    },
)
ExplanationDict.__doc__ = "A cause that fits what was seen, with what speaks for and against it."


class PostMortemDict(TypedDict):
    """What can be said about a break."""

    stage: Annotated[Stage, "how far the job had come"]
    last_good: Annotated[EvidenceDict | None, "last step that was answered positively"]
    first_bad: Annotated[EvidenceDict | None, "first thing that went wrong"]
    silent_first: Annotated[SilentFirst, "who fell silent first"]
    share_carried: Annotated[float | None, "share of the bytes answered, 0 to 1; null without a transfer"]
    supply: Annotated[list[SupplyDict], "readings of the supply voltage"]
    facts: Annotated[
        list[EvidenceDict],
        "which block and part, the module's last frame, what both did then",
    ]
    explanations: Annotated[list[ExplanationDict], "best first, at most four"]


class ReportDict(TypedDict):
    """The whole report."""

    schema: Annotated[Literal["canlog-report/1"], "name and edition of this contract"]
    made_by: Annotated[MadeByDict, "what made the report"]
    captures: Annotated[list[CaptureDict], "the captures read"]
    links: Annotated[list[LinkDict], "who talked to whom"]
    modules: Annotated[list[ModuleDict], "the state each module was left in"]
    exchanges: Annotated[list[ExchangeDict], "requests with their answers"]
    packets: Annotated[list[PacketDict], "data packets of GMW3110, by request; at most 10,000 of an id"]
    operations: Annotated[list[OperationDict], "acts on the modules, in order"]
    expectations: Annotated[list[ExpectationDict], "items of the job sheet; empty without one"]
    trims: Annotated[list[TrimDict], "trims and configuration, one row each"]
    verdict: Annotated[VerdictDict, "the answer"]
    findings: Annotated[list[FindingDict], "what the checks saw"]
    identifiers: Annotated[list[IdentifierDict], "what was read"]
    meanwhile: Annotated[list[MeanwhileDict], "vehicle and engine during acts on a memory; empty where nothing tells"]
    post_mortem: Annotated[PostMortemDict | None, "about a break; null when nothing broke or it was not asked for"]
