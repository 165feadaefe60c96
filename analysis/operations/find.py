"""All operations of a job: found by kind, weighed by what the captures suffered, numbered, superseded."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from analysis.limits import Limits
from analysis.operations.clock_order import is_before, lower_what_is_left_open
from analysis.operations.communication import find_communication
from analysis.operations.download import find_downloads
from analysis.operations.fault_memory import find_clears, find_fault_readings
from analysis.operations.identity import find_identities
from analysis.operations.memory import find_memory_writes
from analysis.operations.model import Kind, Operation
from analysis.operations.reset import find_resets
from analysis.operations.routine import find_routines
from analysis.operations.session import find_sessions
from analysis.operations.unlock import find_unlocks
from analysis.operations.write import find_writes
from analysis.record import Record
from analysis.story import module_id
from analysis.trust.doubts import weigh
from analysis.trust.long_answers import weigh_long_answers
from analysis.trust.mute import weigh_mute
from analysis.trust.overlaps import weigh_overlaps

FINDERS = (
    find_downloads, find_writes, find_memory_writes, find_routines, find_unlocks, find_sessions, find_resets,
    find_identities, find_clears, find_fault_readings,
)  # fmt: skip

#: Later attempts at the same subject replace earlier ones for these kinds.
SUPERSEDING = frozenset({Kind.DOWNLOAD, Kind.FILE, Kind.WRITE, Kind.WRITE_MEMORY, Kind.ROUTINE, Kind.CLEAR})


def find_operations(record: Record) -> list[Operation]:
    """Every operation, in order of its begin, numbered from 1."""
    found = [item for story in record.stories for finder in FINDERS for item in finder(story, record)]
    found += find_communication(record)
    found.sort(key=lambda item: (item.begin, item.end))
    found = list(weigh_mute(weigh_overlaps(found, record), record))
    testers = modules_with_two_testers(record)
    weighed = [weigh(item, dict(record.troubles), testers, record.one_way) for item in found]
    weighed = list(weigh_long_answers(weighed, record))
    numbered = [replace(item, number=index) for index, item in enumerate(_in_time(weighed, record), start=1)]
    return _supersede(numbered, record.limits)


def _in_time(operations: Sequence[Operation], record: Record) -> list[Operation]:
    """The same, in their order, none of them surer than the clock lets its module's acts be."""
    modules: dict[tuple[str, int | None], list[Operation]] = {}
    for item in operations:
        module = None if item.link.functional else module_id(item.link.key)
        modules.setdefault((item.link.channel, module), []).append(item)
    lowered = [item for acts in modules.values() for item in lower_what_is_left_open(acts, record)]
    return sorted(lowered, key=lambda item: (item.begin, item.end))


def _supersede(operations: Sequence[Operation], limits: Limits) -> list[Operation]:
    """Point every earlier attempt at the same thing of a module, whoever made it, to the one that replaces it.

    Where lines and clock disagree on which of two came last, neither replaces the other: both stand.
    """
    seen: dict[tuple[str, str, Kind, str], list[Operation]] = {}
    by_number: dict[int, int] = {}
    for item in reversed(operations):
        if item.kind not in SUPERSEDING:
            continue
        laters = seen.setdefault((item.link.channel, _actor(item), item.kind, item.subject), [])
        later = next((one for one in reversed(laters) if is_before(item, one, limits)), None)
        if later is not None:
            by_number[item.number] = later.number
        laters.append(item)
    return [replace(item, superseded_by=by_number.get(item.number)) for item in operations]


def _actor(item: Operation) -> str:
    """Whose attempts replace each other: those at the module; transfers are counted for each link."""
    return item.link.key if item.kind in (Kind.DOWNLOAD, Kind.FILE) else f"{module_id(item.link.key):X}"


def modules_with_two_testers(record: Record) -> list[str]:
    """Links whose module is also addressed by another request id."""
    heard: dict[tuple[str, int], set[str]] = {}
    for story in record.stories:
        if story.exchanges:
            heard.setdefault((story.link.channel, module_id(story.link.key)), set()).add(story.link.key)
    return [key for keys in heard.values() if len(keys) > 1 for key in keys]


def standing(operations: Iterable[Operation]) -> list[Operation]:
    """Operations that no later attempt replaced."""
    return [item for item in operations if item.superseded_by is None]
