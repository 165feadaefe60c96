"""Questions on what the bytes say: service, identifier, record, text, code, fault."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.fault_lists import READ_DTC, read_list
from analysis.readings import read_values_of, title_of
from analysis.report.wording import RESET, SESSION
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.names.dtc import status_text
from canlog.names.nrc import nrcs
from canlog.services.dialects import UDS
from canlog.services.traits import Act, identifier_asked, item_read, item_written

LETTERS = range(0x20, 0x7F)
LEAST_LETTERS = 4


def which_service(walk: Walk, step: Step) -> Iterator[Question]:
    """What the first byte of the request asks for."""
    first = step.first
    if first.asked:
        yield Question(
            "which-service", READ_OFF, f"The request begins with {first.asked[0]:02X}. Which service is that?",
            first.ask.name, "the first byte of a request is its service; a positive answer begins with 40 more",
            first.lines, first.ask.name,
        )  # fmt: skip


def code_means(walk: Walk, step: Step) -> Iterator[Question]:
    """What a negative response code says. Source: ISO 14229-1:2020, annex A (M)."""
    refused = next((one for one in step.exchanges if one.nrc is not None), None)
    if refused is not None and refused.nrc is not None:
        meaning = nrcs(refused.dialect)[refused.nrc].meaning
        yield Question(
            "code-means", READ_OFF,
            f"The answer is 7F {refused.service:02X} {refused.nrc:02X}. What does the last byte say?",
            f"{refused.nrc:02X}: {meaning}", "7F, the service refused, then the reason as a code",
            refused.lines, f"{refused.nrc:02X}",
        )  # fmt: skip


def which_identifier(walk: Walk, step: Step) -> Iterator[Question]:
    """Which value is meant."""
    first = step.first
    number = _identifier(step)
    if number is None or first.service <= 0x0A:
        return
    label = walk.labels.get(first.link.key, "")
    title = title_of(number, walk.report.record.names.identifier(label, number), first.dialect, first.service)
    if "(" in title:
        yield Question(
            "which-identifier", READ_OFF, f"Which value do the bytes {first.asked[1:3].hex(' ').upper()} name?",
            title, "the bytes behind the service are the identifier", first.lines, title,
        )  # fmt: skip


def _identifier(step: Step) -> int | None:
    first = step.first
    written = item_written(first.asked, first.dialect)
    return written.identifier if written is not None else identifier_asked(first.asked, first.dialect)


def record_bytes(walk: Walk, step: Step) -> Iterator[Question]:
    """How long the record is, without service and identifier."""
    first = step.first
    if not first.whole:
        return
    item = item_written(first.asked, first.dialect) or item_read(first.answered, first.dialect)
    if item is None or (len(first.asked) > 3 and first.act is Act.READ):
        return
    whole = len(item.data) + 1 + item.identifier_bytes
    yield Question(
        "record-bytes", COMPUTE, f"The message has {counted(whole, 'byte')}. How many of them are the record itself?",
        f"{len(item.data)}", f"{whole} less the service and {counted(item.identifier_bytes, 'byte')} of identifier",
        first.lines, str(len(item.data)), f"{whole}: service and identifier are no part of the record",
    )  # fmt: skip


def as_letters(walk: Walk, step: Step) -> Iterator[Question]:
    """Bytes that are letters. Source: ISO/IEC 646, the usual table of letters (M)."""
    label = walk.labels.get(step.first.link.key, "")
    for value in read_values_of(step.first, label, walk.report.record.names):
        if len(value.raw) >= LEAST_LETTERS and all(one in LETTERS for one in value.raw):
            text = value.raw.decode("ascii")
            yield Question(
                "letters", COMPUTE, f"The record begins {value.raw[:4].hex(' ').upper()}. Read all of it as letters.",
                text, "41 is A, 42 is B …, 30 is 0, 31 is 1 …", step.lines, text,
            )  # fmt: skip
            return


def decode_fault(walk: Walk, step: Step) -> Iterator[Question]:
    """A fault code as people write it. Source: ISO 15031-6 (M)."""
    for exchange in step.exchanges:
        listed = read_list(exchange)
        if listed is not None and listed.codes:
            code, status = next(iter(listed.codes.items()))
            is_uds = listed.exchange.service == READ_DTC
            octets = f"{code:06X}" if is_uds else f"{code >> 8:04X}"
            said = f", status {status:02X}: {status_text(status)}" if is_uds else ""
            yield Question(
                "decode-fault", COMPUTE, f"The first code is {octets}. How is it written in a workshop?",
                f"{listed.text(code)}{said}", "the two highest bits choose P, C, B or U; the rest are the digits",
                exchange.lines, listed.text(code),
            )  # fmt: skip
            return


def announced_times(walk: Walk, step: Step) -> Iterator[Question]:
    """P2 and P2* in the answer to a change of session. Source: ISO 14229-1:2013, 9.2 (M)."""
    answer = step.first.answer
    p2, longer = answer.get("p2_server_max_ms"), answer.get("p2_star_server_max_ms")
    if isinstance(p2, int) and isinstance(longer, int) and step.first.positive:
        yield Question(
            "announced-times", COMPUTE, "The answer ends with two times of two bytes. How long may the module take?",
            f"{p2} ms for an answer, {longer} ms after each 78", "the first counts ms, the second tens of ms",
            step.lines, f"{p2} {longer}",
            f"{longer // 10} ms after a 78: the second time counts in steps of 10 ms",
        )  # fmt: skip


def session_open(walk: Walk, step: Step) -> Iterator[Question]:
    """Which session the module is in when the step begins."""
    first = step.first
    story = walk.stories.get(first.link.key)
    session = story.before(first).session if story is not None and not step.to_all else None
    if session is None or first.dialect != UDS or first.act is Act.SESSION:
        return
    said = SESSION.get(f"{session:02X}", f"session {session:02X}")
    yield Question(
        "session-open", JUDGE, "Which session is this module in when the step begins?", said,
        "the last change of session or restart before this line decides", first.lines, f"{session:02X}",
    )  # fmt: skip


def kind_of_reset(walk: Walk, step: Step) -> Iterator[Question]:
    """Which restart is asked for. Source: ISO 14229-1:2020, 10.3 (M)."""
    first = step.first
    if first.act is Act.RESET and first.dialect == UDS and len(first.asked) > 1:
        kind = first.asked[1] & 0x7F
        if kind in RESET:
            yield Question(
                "kind-of-reset", READ_OFF, f"The byte behind 11 is {first.asked[1]:02X}. What is asked for?",
                RESET[kind], "it names the kind of restart; bit 7 only says whether an answer is wanted",
                first.lines, RESET[kind],
            )  # fmt: skip
