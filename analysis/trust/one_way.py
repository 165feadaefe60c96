"""Where only one half of a conversation was recorded: a filter of the logger, or a place that the others do not pass.

Requests alone may also mean a dead module. They are a half where the tester went on as nobody does without an answer
(a long request let go on, a key, a block), or where no module at all is heard on the channel and several were asked,
or one for several different things or for a change. Source: common practice, no source; that a long request needs
its receiver is ISO 15765-2:2016, 9.6 (M).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from analysis.exchanges import Answer, Exchange
from canlog.isotp.addressing import Direction
from canlog.services.traits import Act

#: Fewer messages of one direction say nothing about the other.
ENOUGH = 5
#: What nobody asks of a module that has just not answered.
CHANGES = frozenset({Act.WRITE, Act.WRITE_MEMORY, Act.ROUTINE, Act.DOWNLOAD, Act.BLOCK, Act.EXIT})
#: What to do about it, in words.
BOTH_WAYS = "capture again without a filter, at a place where requests and answers both pass"


def one_way(exchanges: Iterable[Exchange]) -> dict[str, Direction]:
    """The direction that is there, for each link of one capture of which the other one was not recorded."""
    by_channel: dict[str, dict[str, list[Exchange]]] = {}
    for item in exchanges:
        if not item.link.functional:
            by_channel.setdefault(item.link.channel, {}).setdefault(item.link.key, []).append(item)
    return {key: found for links in by_channel.values() for key, found in _of_channel(links).items()}


def _of_channel(links: dict[str, list[Exchange]]) -> dict[str, Direction]:
    is_heard = any(_is_heard(item) for own in links.values() for item in own)
    alone = {key: [item for item in own if not item.functional] for key, own in links.items()}
    nobody_meets = not any(item.request is not None and _is_heard(item) for own in alone.values() for item in own)
    asked = {key: [item for item in own if item.request is not None] for key, own in alone.items()}
    found = {}
    for key, own in alone.items():
        if not own:
            continue
        if not asked[key] and (nobody_meets or len(own) >= ENOUGH):
            found[key] = Direction.RESPONSE
        elif not any(_is_heard(item) for item in links[key]) and _was_answered(asked, key, nobody_heard=not is_heard):
            found[key] = Direction.REQUEST
    return found


def _is_heard(item: Exchange) -> bool:
    return item.response is not None or bool(item.pendings)


def _was_answered(asked: dict[str, list[Exchange]], key: str, *, nobody_heard: bool) -> bool:
    """Answers must have been there, or nothing can tell a dead module from answers that were not recorded."""
    waiting = [item for item in asked[key] if item.outcome is not Answer.SUPPRESSED]
    if _went_on(asked[key]):
        return True
    if not nobody_heard or not waiting:
        return False
    is_several = sum(bool(own) for own in asked.values()) > 1
    dared = any(item.act in CHANGES for item in waiting[1:])
    return is_several or dared or len({item.asked for item in waiting}) >= ENOUGH


def _went_on(asked: Sequence[Exchange]) -> bool:
    """The tester did what follows only an answer."""
    return any(
        item.request is not None
        and item.request.complete
        and (item.request.n_frames > 1 or item.act is Act.BLOCK or _is_key(item))
        for item in asked
    )


def _is_key(item: Exchange) -> bool:
    return item.act is Act.UNLOCK and len(item.asked) > 2 and not item.asked[1] & 1
