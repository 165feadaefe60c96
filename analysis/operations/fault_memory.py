"""Fault memory: what was read, whether clearing worked, what came back.

clear | confirmed: answered positively, and a later read of the same module whose mask covers what was there shows
none of the earlier codes, or shows that they are new (a code that comes back is a fault, not a failed clear);
medium where the storing of faults was still switched off then; unproven: accepted and not read since; failed:
refused for good.
A positive answer to a clear says accepted, not empty. Source: ISO 14229-1:2020, 11.3 and 12.2 (M); status bits
ISO 14229-1:2020, annex D (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import NamedTuple

from analysis.codes_back import (
    CLEAR_LENGTH,
    FAILED,
    TEST_NOT_COMPLETED_SINCE_CLEAR,
    Cleared,
    codes_back,
    is_new,
    state_at_the_end,
    was_cleared,
)
from analysis.exchanges import Answer, Exchange, Place
from analysis.fault_counts import count_disagrees, read_count
from analysis.fault_lists import (
    CONFIRMED_DTC,
    EMISSION,
    MAIN,
    PENDING,
    PERMANENT,
    FaultList,
    at_the_end,
    fault_lists,
    lists_beside,
    read_list,
    sub_function,
)
from analysis.operations.model import Kind, Operation, Part, evidence, in_order, span
from analysis.operations.orders import order_in_force
from analysis.record import Record
from analysis.requests_said import requests_of
from analysis.story import Story
from analysis.words import Confidence, Outcome, Word, least_sure
from canlog.counting import counted
from canlog.names.dtc import TEST_FAILED
from canlog.names.tables import Names
from canlog.services.dialects import KWP, UDS
from canlog.services.traits import Act, orders_no_faults

OBD_CLEAR = 0x04
BY_STATUS_MASK = b"\x19\x02"
#: What to ask where a list was asked for with too few status bits.
ALL_BITS = "read the fault memory with all status bits (19 02 FF) after the clear and capture it"
PENDING_DTC = 0x04
FAILED_SINCE_CLEAR = 0x20
ALL_GROUPS = b"\xff\x00"  # of KWP2000


def find_clears(story: Story, record: Record) -> list[Operation]:
    """All requests to clear the fault memory that this module answered, or that were sent to it alone."""
    lists = fault_lists(story)
    clears = [
        exchange for exchange in story.exchanges if exchange.act is Act.CLEAR and exchange.link.key == story.link.key
    ]
    return [_clear(exchange, clears, lists, story, record) for exchange in clears]


def find_fault_readings(story: Story, record: Record) -> list[Operation]:
    """Every list of codes read, as an operation."""
    return [_reading(exchange, story, record.names) for exchange in story.own if exchange.act is Act.READ_FAULTS]


def _reading(exchange: Exchange, story: Story, names: Names) -> Operation:
    listed = read_list(exchange, story)
    if exchange.functional and not exchange.positive:
        text = f"asked with all others, and lists nothing: {exchange.refusal or 'no final answer'}"
        outcome = Outcome(Word.NOT_SHOWN, Confidence.HIGH, (), (text,), "ask it alone")
    elif exchange.outcome is Answer.NEGATIVE:
        text = f"reading faults was refused: {exchange.refusal}"
        outcome = Outcome(Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), "read the faults again")
    elif exchange.positive or listed is not None:
        text = f"{counted(len(listed.codes), 'code')} listed" if listed is not None else "answered"
        outcome = Outcome(Word.UNPROVEN, Confidence.HIGH, (), (text,), "read the faults twice")
    else:
        text = "reading faults was not answered"
        outcome = Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "read them again")
    return Operation(
        kind=Kind.READ_FAULTS,
        link=exchange.link,
        label=story.label,
        outcome=outcome,
        subject="read faults",
        details={
            "sub_function": f"{sub_function(exchange):02X}",
            "mask": f"{listed.mask:02X}" if listed is not None else None,
            "listed": listed.listed if listed is not None else None,
            "codes": list(_codes(listed, story.label, names)) if listed is not None else [],
        },
        **span([exchange]),  # type: ignore[arg-type]
    )


def _codes(listed: FaultList, label: str, names: Names) -> Iterator[dict[str, str]]:
    """Code and status, and the name where there is one."""
    for code, status in listed.codes.items():
        name = names.fault(label, listed.text(code))
        yield {"code": listed.text(code), "status": f"{status:02X}"} | ({"name": name} if name else {})


def _clear(
    exchange: Exchange, clears: Sequence[Exchange], lists: Sequence[FaultList], story: Story, record: Record
) -> Operation:
    before = [item for item in lists if item.exchange.begin < exchange.begin]
    horizon = next((item.begin for item in clears if item.begin > exchange.begin and item.positive), None)
    after = [
        item
        for item in lists
        if in_order(exchange, item.exchange, record.clock_steps_of(exchange.link.channel), record.limits.clock_step_ns)
        and (horizon is None or item.exchange.begin < horizon)
    ]
    beside = _beside(exchange, horizon, story, record)
    members = [exchange, *([after[0].exchange] if after else [])]
    back = codes_back(exchange, before, after)
    return Operation(
        kind=Kind.CLEAR,
        link=story.link,
        label=story.label,
        outcome=_with(beside, _clear_outcome(exchange, before, after, beside.unlisted, story)),
        subject="clear",
        part=Part.FAULT_MEMORY,
        details={
            "group": exchange.asked[1:4].hex().upper() or None,
            "before": _texts(before),
            "after": _texts(after) if after else None,
            "returned": [one.text(code) for code, one in back.items()],
            "pending": beside.pending,
        },
        **span(members),  # type: ignore[arg-type]
    )


def _texts(lists: Sequence[FaultList]) -> list[str]:
    """The codes that these lists leave, as people write them."""
    return [one.text(code) for code, one in at_the_end(lists).items()]


class Beside(NamedTuple):
    """What a module says behind a clear beside its lists of stored codes."""

    pending: list[str]
    doubts: tuple[str, ...] = ()  # each makes the clear less sure
    notes: tuple[str, ...] = ()  # these do not
    wish: str = ""
    unlisted: tuple[Exchange, ...] = ()  # readings that list no code of this memory


def _beside(clear: Exchange, horizon: Place | None, story: Story, record: Record) -> Beside:
    """Codes that are pending again, a count that contradicts the list, permanent codes. SAE J1979 (M)."""

    def is_behind(item: Exchange) -> bool:
        steps = record.clock_steps_of(clear.link.channel)
        return in_order(clear, item, steps, record.limits.clock_step_ns) and (horizon is None or item.begin < horizon)

    last = {one.kind: one for one in lists_beside(story) if is_behind(one.exchange)}
    pending = [last[PENDING].text(code) for code in last[PENDING].codes] if PENDING in last else []
    doubts, notes, wish = [], [], ""
    if different := count_disagrees(item for item in story.exchanges if is_behind(item)):
        listed, count = different
        asked = listed.asked
        doubts.append(f"{count.said} ({count.where}), and {asked} lists {len(listed.codes) or 'none'}")
        wish = f"read the codes ({asked}) and their count ({count.asked}) again and capture both"
    if pending:
        said, verb = ", ".join(pending), "is" if len(pending) == 1 else "are"
        where = evidence(last[PENDING].exchange, "lists").where
        doubts.append(f"{said} {verb} pending (07) behind the clear ({where}): a test failed again, or it was kept")
        wish = f"find the cause of {said}, then clear, read the stored and pending codes (03, 07) and capture it"
    if PERMANENT in last and last[PERMANENT].codes:
        said = ", ".join(last[PERMANENT].text(code) for code in last[PERMANENT].codes)
        notes.append(f"{said}: permanent, which stays by design until its own monitor has passed")
    read = (item for item in story.own if item.act is Act.READ_FAULTS and item.positive and is_behind(item))
    unlisted = tuple(item for item in read if read_list(item, story) is None)
    return Beside(pending, tuple(doubts), tuple(notes), wish, unlisted)


def _with(beside: Beside, outcome: Outcome) -> Outcome:
    """The word of a clear that was accepted, with what stands beside it."""
    if outcome.word not in (Word.CONFIRMED, Word.UNPROVEN):
        return outcome
    return Outcome(
        outcome.word,
        least_sure([outcome.confidence, Confidence.MEDIUM]) if beside.doubts else outcome.confidence,
        outcome.proof,
        (*outcome.because, *beside.doubts, *beside.notes),
        outcome.would_change or beside.wish,
    )


def _clear_outcome(
    exchange: Exchange,
    before: Sequence[FaultList],
    after: Sequence[FaultList],
    unlisted: Sequence[Exchange],
    story: Story,
) -> Outcome:
    if exchange.outcome is Answer.NEGATIVE:
        text = f"clearing was refused: {exchange.refusal}"
        return Outcome(
            Word.FAILED, Confidence.HIGH, (evidence(exchange, text),), (text,), "meet the condition, clear again"
        )
    if not exchange.positive:
        text = "clearing was not answered"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(exchange, text),), (text,), "clear again")
    wish = f"read the fault memory ({requests_of(exchange.dialect)['faults']}) after the clear and capture it"
    if exchange.request is None or not exchange.request.complete:
        text = "a clear was accepted, but what was asked to be cleared is not whole in the capture"
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (text,), wish)
    if len(exchange.asked) > CLEAR_LENGTH:
        text = "clearing of a memory of its own was accepted; lists of the main memory do not show it"
        return Outcome(Word.UNPROVEN, Confidence.HIGH, (), (text,), "read that memory (19 17) after the clear")
    by_loader = [one for one in after if one.exchange.dialect == UDS and story.is_boot_loader(one.exchange)]
    after = [item for item in after if item not in by_loader]
    known = [(item, _earlier(item, before)) for item in after if _shows(item, exchange, before)]
    covering = [(item, earlier) for item, earlier in known if earlier is not None and _covers(item, earlier)]
    clean = next((item for item, earlier in covering if _is_cleared(item, earlier)), None)
    if clean is None and (told := _still_there(exchange, before, after)):
        return told
    if clean is None:
        text = "clearing was accepted; the memory was not read since"
        if by_loader:
            text += ", but from the boot loader, which need not know it"
        if after:
            text = f"clearing was accepted; {_too_narrow(after[-1], before)}"
            wish = ALL_BITS if _asked_for_few(after[-1]) else wish
        elif unlisted:
            text = f"clearing was accepted; {_said_unlisted(unlisted)}"
        return Outcome(Word.UNPROVEN, Confidence.HIGH, (), (text,), wish)
    text = "read after the clear: " + ("no codes" if not clean.codes else "none of the earlier codes kept its history")
    shown = clean.evidence(text)
    back, ends = codes_back(exchange, before, after), at_the_end(after)
    active = [
        one.text(code)
        for code, one in ends.items()
        if one.kind == MAIN and one.shows(code, TEST_FAILED) and code not in back
    ]
    if active:
        verb = "is" if len(active) == 1 else "are"
        text += f"; at the last reading {', '.join(active)} {verb} active"
    came = _came_back(back, after)
    order = order_in_force(story, clean.exchange.begin, orders_no_faults)
    if order is None and not any(_lists_new_faults(item) for item, _ in covering):
        text += f"; read with mask {clean.mask:02X} only, which need not list a fault that has just come back"
        return Outcome(Word.CONFIRMED, Confidence.MEDIUM, (shown,), (*came, text), ALL_BITS)
    if order is None:
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (shown,), (*came, text))
    said = f"{order.told.hex(' ').upper()}, line {order.lines[0]}"
    text += f"; the storing of faults was still off ({said}), so a fault would not be listed"
    again = "switch the storing of faults on, then read the fault memory and capture it"
    return Outcome(Word.CONFIRMED, Confidence.MEDIUM, (shown,), (*came, text), again)


def _came_back(back: Mapping[int, FaultList], after: Sequence[FaultList]) -> tuple[str, ...]:
    """What has to be said before the proof of a clear: it worked, and did not help."""
    if not back:
        return ()
    said = ", ".join(one.text(code) for code, one in back.items())
    return (f"cleared, and {said} came back{state_at_the_end(back, after)}",)


def _too_narrow(last: FaultList, before: Sequence[FaultList]) -> str:
    """Why the last list behind a clear does not show what became of the codes."""
    where = evidence(last.exchange, "read").where
    if not last.is_whole:
        return f"{last.asked} tells only some codes ({where})"
    if last.kind != MAIN:
        return f"the list read since is not of all that was cleared ({where})"
    earlier = _earlier(last, before)
    missed = "the earlier codes" if earlier is not None and earlier.codes else "confirmed codes"
    return f"read with mask {last.mask:02X}, which does not cover {missed} ({where})"


def _said_unlisted(readings: Sequence[Exchange]) -> str:
    """The last count of codes that a clear leaves none of; else the last reading that lists no code."""
    counts = [one for item in readings if (one := read_count(item)) is not None and one.counts_faults]
    if counts:
        return f"behind it {counts[-1].said} ({counts[-1].where}), and none was listed"
    asked = readings[-1].told[: 2 if readings[-1].dialect == UDS else 1].hex(" ").upper()
    where = evidence(readings[-1], "read").where
    return f"{asked} ({where}) was read since, which does not list the codes of this memory"


def _asked_for_few(last: FaultList) -> bool:
    """The request itself chose the codes by less than all status bits (ISO 14229-1:2020, 12.3 (M))."""
    return last.exchange.asked[:2] == BY_STATUS_MASK and last.exchange.asked[2:3] != b"\xff"


def _lists_new_faults(listed: FaultList) -> bool:
    """A fault since the clear fails its test or is pending before it is confirmed (ISO 14229-1:2020, annex D (M))."""
    return not _asked_for_few(listed) or bool(listed.mask & (TEST_FAILED | PENDING_DTC))


def _still_there(clear: Exchange, before: Sequence[FaultList], after: Sequence[FaultList]) -> Outcome | None:
    """Codes behind a clear that nothing shows to be new; None where there are none."""
    ends = at_the_end(after)
    known = {code for one in (*before, *after) for code in one.codes}
    kept = {code: one for code, one in ends.items() if _is_unchanged(code, one, before)}
    shown = kept or {code: one for code, one in ends.items() if one.shows(code, FAILED)}
    if not shown:
        return None
    found: dict[Cleared, list[str]] = {}
    for code, one in shown.items():
        found.setdefault(was_cleared(clear, code, known), []).append(one.text(code))
    group = clear.asked[1:].hex().upper()
    was_read = all(any(_showed_without(code, told, one) for one in before) for code, told in shown.items())
    since = ", and {was} not listed before it" if was_read else "; not known whether {they} {was} there before"
    texts = [_said_there(codes, cleared, group, "" if kept else since) for cleared, codes in found.items()]
    said = ", ".join(one.text(code) for code, one in shown.items())
    faults = requests_of(clear.dialect)["faults"]
    wish = f"find the cause of {said}, then clear and read the fault memory ({faults}) and capture it"
    return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), ("; ".join(texts),), wish)


def _showed_without(code: int, told: FaultList, earlier: FaultList) -> bool:
    """A list in front of the clear would have shown the code, and does not."""
    return earlier.kind == told.kind and earlier.would_show(CONFIRMED_DTC) and code not in earlier.codes


def _said_there(codes: Sequence[str], cleared: Cleared, group: str, since: str) -> str:
    """What can be said of codes that are listed behind a clear; ``since``: of those not told before it."""
    said, is_one = ", ".join(codes), len(codes) == 1
    are, they, was = ("is", "it", "was") if is_one else ("are", "they", "were")
    if cleared is Cleared.NO:
        return f"{said} {was} not asked to be cleared (only {group}), and {are} listed after it"
    if since:
        return f"{said} {'stands' if is_one else 'stand'} after the clear{since.format(they=they, was=was)}"
    other = f"not of the group that was cleared ({group}), " if cleared is Cleared.UNKNOWN else ""
    return f"{said} {are} listed unchanged after the clear: {other}kept, or back at once"


def _is_unchanged(code: int, told: FaultList, before: Sequence[FaultList]) -> bool:
    """The code was told in front of the clear, and its status is no new one."""
    earlier = next((one for one in reversed(before) if one.kind == told.kind and code in one.codes), None)
    if told.kind == MAIN and earlier is not None:
        return not is_new(told.codes[code], earlier.codes[code])
    return told.kind != MAIN and any(code in one.codes for one in before)


class Before(NamedTuple):
    """What was told of the memory in front of a clear."""

    codes: dict[int, int]
    is_whole: bool  # what it does not tell was not there


def _earlier(item: FaultList, before: Sequence[FaultList]) -> Before | None:
    """By the lists of its kind; nothing where nothing was listed, None where only lists of other kinds were."""
    same = [one for one in before if one.kind == item.kind]
    if before and not same:
        return None
    codes = {code: one.codes[code] for code, one in at_the_end(same).items()}
    return Before(codes, any(one.would_show(CONFIRMED_DTC) for one in same))


def _shows(item: FaultList, clear: Exchange, before: Sequence[FaultList]) -> bool:
    """The list is of all that was cleared: emission codes alone are not all that 14 clears."""
    if item.kind == EMISSION:
        return clear.service == OBD_CLEAR
    if item.exchange.dialect == KWP and item.kind != MAIN:
        return item.exchange.asked[-2:] in (ALL_GROUPS, clear.asked[1:3])
    return item.is_whole and (item.kind == MAIN or bool(before))


def _covers(item: FaultList, earlier: Before) -> bool:
    """The read's mask would have shown every earlier code."""
    if item.kind != MAIN:
        return True  # they show codes, or none, and no status to choose by
    shows_earlier = all(status & item.mask for status in earlier.codes.values())
    return shows_earlier and bool((earlier.codes and earlier.is_whole) or item.mask & CONFIRMED_DTC)


def _is_cleared(item: FaultList, earlier: Before) -> bool:
    """No earlier code is listed with its old history: gone, or its status starts anew."""
    others = [status for code, status in item.codes.items() if code not in earlier.codes]
    if item.kind != MAIN:
        return not (set(earlier.codes) & set(item.codes) if earlier.codes else item.codes)
    if any(not is_new(status, earlier.codes[code]) for code, status in item.codes.items() if code in earlier.codes):
        return False
    if earlier.codes and earlier.is_whole:
        return True
    begun_anew = all(status & TEST_NOT_COMPLETED_SINCE_CLEAR for status in others)
    return begun_anew or not any(status & CONFIRMED_DTC for status in others)
