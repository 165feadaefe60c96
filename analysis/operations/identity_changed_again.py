"""Identification that changed once more behind the restart: it proves nothing, and speaks against other proofs.

A module with room for two programs may run the new one once and go back to the old one; one whose memory does not
hold may forget what it said, or know the identifier no more (31, requestOutOfRange: ISO 14229-1:2020, annex A.1 (M)).
"""

from __future__ import annotations

from collections.abc import Sequence

from analysis.exchanges import Exchange, Place
from analysis.modes import REFUSED_IDENTIFIER
from analysis.operations.attempts import Attempt
from analysis.operations.model import Kind, evidence
from analysis.readings import Reading, identifiers_asked
from analysis.record import Record
from analysis.story import Story
from analysis.words import Evidence
from canlog.names.value_layout import FILL


def last_told(readings: Sequence[Reading]) -> list[Reading]:
    """The last reading of each identification."""
    return list({item.key: item for item in readings}.values())


def tells_something_new(before: bytes, after: bytes) -> bool:
    """Another value: not the same one with other fill bytes or cut short, and no sign that nothing is there.

    Text of a number has a digit, and more than one kind of sign; what was text stays text.
    """
    old, new = before.strip(FILL), after.strip(FILL)
    if len(set(new)) < 2 or new == old or (len(new) > 1 and old.startswith(new)):
        return False
    if not _is_text(old):
        return True
    return _is_text(new) and (not _has_digit(old) or _has_digit(new))


def _is_text(value: bytes) -> bool:
    return len(value) > 1 and all(0x20 <= byte < 0x7F for byte in value)


def _has_digit(value: bytes) -> bool:
    return any(byte in b"0123456789" for byte in value)


def identity_changed_again(
    attempt: Attempt, attempts: Sequence[Attempt], part: str, story: Story, record: Record
) -> Evidence | None:
    """The last reading of an identification, where the module said another value since it was programmed.

    Args:
        part: name of the attempt's part. An identification that names tie to another one says nothing of it.
    """
    start = story.normal_after(attempt.end)
    if start is None:
        return None
    begins = [item.begin for item in attempts if item.begin > attempt.end and item.kind is not Kind.UPLOAD]
    same = [item.begin for item in attempts if item.begin in begins and item.same_thing(attempt)]
    told: dict[tuple[tuple[int, int], int], list[Reading]] = {}
    for reading in record.readings(story):
        if reading.place <= start or (same and reading.place >= same[0]) or not _tells(reading, part):
            continue
        if not story.is_boot_loader(reading.exchange):
            told.setdefault((reading.key, _behind(begins, reading.place)), []).append(reading)
    for readings in told.values():
        last = readings[-1]
        if any(item.raw != last.raw and item.raw.strip(FILL) for item in readings):
            return evidence(last.exchange, f"{last.title} has changed again since it was read after the restart")
        if (refused := _refused_since(last, begins, story)) is not None:
            text = f"{last.title} is refused (31) since a later restart, and was answered after the one before"
            return evidence(refused, text)
    return None


def _refused_since(last: Reading, begins: Sequence[Place], story: Story) -> Exchange | None:
    """The module knows it no more, in the session in which it answered, behind a start and no other programming."""
    start = story.start_after(last.place)
    if start is None:
        return None
    session = story.before(last.exchange).session
    for item in story.after(start.place):
        if any(last.place < begin < item.begin for begin in begins):
            return None
        is_refused = item.nrc == REFUSED_IDENTIFIER and identifiers_asked(item) == [last.identifier]
        if is_refused and story.before(item).session == session and not story.is_boot_loader(item):
            return item
    return None


def _tells(reading: Reading, part: str) -> bool:
    """It identifies this part, or software that no names tie to a part."""
    if reading.written_by_tester:
        return False
    return reading.part == part if reading.part else reading.has_standard_meaning


def _behind(begins: Sequence[Place], place: Place) -> int:
    """Behind how many other parts it was read: each of them may change what identifies the whole."""
    return sum(begin < place for begin in begins)
