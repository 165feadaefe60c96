"""The check routines that concern one download: what each of them judged, and which answer counts.

A check concerns the part that its option names; without a name, what was carried right in front of it. One that
checks that all parts fit together concerns all of them.
Source: ISO 14229-1:2020, 14 and annex F (M).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from analysis.exchanges import Place
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind
from analysis.operations.routines import RoutineCall, Status, read_call, runs_of
from analysis.record import Record
from analysis.story import Story
from canlog.names.tables import PartName
from canlog.services.memory import memory_in


def last_of_each(calls: Sequence[RoutineCall]) -> list[RoutineCall]:
    """The last call of every routine and option: a good check of one block says nothing of another."""
    return list({(call.identifier, call.option): call for call in calls}.values())


def part_of(attempt: Attempt, story: Story, record: Record) -> PartName | None:
    """The named part that an attempt's address belongs to."""
    if attempt.address is None:
        return None
    return record.names.part_at(story.label, attempt.address)


def checks_of(attempt: Attempt, attempts: Sequence[Attempt], story: Story, record: Record) -> list[RoutineCall]:
    """The telling call of each check that concerns an attempt, in order: its own, and those of all parts together."""
    mine = part_of(attempt, story, record)
    attempts = [item for item in attempts if item.kind is not Kind.UPLOAD]
    horizon = superseded_at(attempt, attempts)
    calls = [
        call
        for exchange in story.after(attempt.end)
        if (horizon is None or exchange.begin < horizon)
        and (call := read_call(exchange, story.label, record.names)) is not None
        and call.kind not in ("erase", "learn")
    ]
    restart = story.start_after(attempt.end)
    found = []
    for run in runs_of(calls, story):
        if not run.telling.kind and restart is not None and run.calls[0].exchange.begin > restart.place:
            continue  # nothing says that it is a check, and the programming is over
        between = [item for item in attempts if attempt.end < item.begin < run.calls[0].exchange.begin]
        call = run.telling
        if call.kind == "dependencies":
            if not _parts_change_behind(call, attempts, story):
                found.append(call)
        elif _names_block(call, mine, story, record, between):
            found.append(_of_this_part(call, attempt, mine, story, record))
    return found


def _parts_change_behind(call: RoutineCall, attempts: Sequence[Attempt], story: Story) -> bool:
    """Another part is changed before the module starts anew: whether the parts fit is no longer known."""
    start = story.start_after(call.exchange.end)
    return any(
        item.begin > call.exchange.begin and (start is None or item.begin < start.place) for item in attempts
    )  # fmt: skip


def _names_block(
    call: RoutineCall, mine: PartName | None, story: Story, record: Record, between: Sequence[Attempt]
) -> bool:
    """The check is about this part: its option names the block, or it is the next thing after it."""
    named = [part for part in record.names.parts(story.label) if part.block and call.option.startswith(part.block)]
    if named:
        asked = max(named, key=lambda part: len(part.block or b""))
        return mine is not None and asked.name == mine.name
    return not between


def _of_this_part(
    call: RoutineCall, attempt: Attempt, mine: PartName | None, story: Story, record: Record
) -> RoutineCall:
    """The call; not as a good one where its option names what is not all of this part."""
    blocks = [part.block for part in record.names.parts(story.label) if part.block]
    memory = memory_in(call.option)
    if memory is not None:
        size = attempt.size or attempt.account.carried
        begin = attempt.address
        is_mine = begin is not None and memory.start <= begin and begin + size <= memory.stop
    else:
        is_mine = not call.option or not blocks or any(map(call.option.startswith, blocks))
    if is_mine or call.status is not Status.GOOD:
        return call
    text = f"{call.text}, not shown to be of this part (option {call.option.hex(' ').upper()})"
    return replace(call, status=Status.UNKNOWN, text=text, status_bytes=b"")


def superseded_at(attempt: Attempt, attempts: Sequence[Attempt]) -> Place | None:
    """Where a later attempt at the same thing begins; the answer to an exit may come behind that."""
    return next((item.begin for item in attempts if item.begin > attempt.begin and item.same_thing(attempt)), None)
