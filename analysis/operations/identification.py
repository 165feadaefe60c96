"""What identifies a downloaded part, and why what was asked of it since proves nothing.

Which identifiers tell a part: those that names tie to it; where names tie none, those that a standard or the maker's
range calls identification and that were asked for in this job.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator

from analysis.exchanges import Place
from analysis.operations.identity_changed_again import last_told, tells_something_new
from analysis.operations.refused_readings import last_in_vain, said_in_vain
from analysis.readings import Reading, identifiers_asked, said_identifiers
from analysis.record import Record
from analysis.story import Story
from canlog.names.value_layout import FILL


def telling_identifiers(part: str | None, story: Story, record: Record) -> list[int]:
    """The identifiers that tell a part (None: the names do not know it), in order."""
    own = [one for one in record.names.identifiers if one.part and (not one.modules or story.label in one.modules)]
    if part is not None and (tied := sorted(did for one in own if one.part == part for did in {one.first, one.last})):
        return tied
    read = [item for item in record.readings(story) if item.tells_software and not item.written_by_tester]
    return sorted({item.identifier for item in read if not item.part})


def read_behind(
    identifiers: Collection[int], end: Place, story: Story, record: Record, horizon: Place | None = None
) -> list[Reading]:
    """The last reading of each behind the restart that follows an act, up to ``horizon``; the boot loader's aside."""
    restart = story.normal_after(end)
    if restart is None:
        return []
    later = _read_since(identifiers, restart, story, record, horizon)
    return last_told([item for item in later if not story.is_boot_loader(item.exchange)])


def _read_since(
    identifiers: Collection[int], place: Place, story: Story, record: Record, horizon: Place | None
) -> Iterator[Reading]:
    for item in record.readings(story):
        if item.identifier in identifiers and item.place > place and (horizon is None or item.place < horizon):
            yield item


def why_not_identified(
    part: str | None, act: tuple[Place, Place], horizon: Place | None, story: Story, record: Record
) -> str:
    """What was asked behind an act and does not prove it, in words; empty where the identifiers are not known.

    Args:
        part: name of the part, None where names do not know it.
        act: where the act began and ended.
        horizon: where a later act replaced it.
    """
    identifiers = telling_identifiers(part, story, record)
    if not identifiers:
        return ""
    begin, end = act
    if behind := read_behind(identifiers, end, story, record, horizon):
        return "; ".join(_said(item, begin, story, record) for item in behind)
    restart = story.normal_after(end)
    asked = (item for item in story.after(restart or end) if horizon is None or item.begin < horizon)
    in_vain = last_in_vain(identifiers, asked)
    if in_vain is not None:
        return f"{said_identifiers(set(identifiers_asked(in_vain)) & set(identifiers))}: {said_in_vain(in_vain)}"
    if early := {item.identifier for item in _read_since(identifiers, end, story, record, horizon)}:
        return f"{_were(early)} read only {'before the restart' if restart else 'without a restart'}"
    return f"{_were(identifiers)} not read since"


def _were(identifiers: Collection[int]) -> str:
    return f"{said_identifiers(identifiers)} {'was' if len(identifiers) == 1 else 'were'}"


def _said(reading: Reading, begin: Place, story: Story, record: Record) -> str:
    """Why a reading behind the restart proves nothing."""
    before = [
        item
        for item in record.readings(story)
        if item.key == reading.key and item.place < begin and not story.is_boot_loader(item.exchange)
    ]
    if not reading.raw.strip(FILL):
        return f"{reading.number} reads blank"
    if not before:
        return f"{reading.number} was not read before, so nothing shows a change"
    if before[-1].raw == reading.raw:
        return f"{reading.number} reads as before"
    if tells_something_new(before[-1].raw, reading.raw) and not reading.part:
        return f"{reading.number} has changed, but nothing says of which part"
    return f"{reading.number} reads differently, which proves no new number"
