"""A channel that only carries the requests of another one once more: a gateway passes them on, or two places of one
bus were recorded, one of them where the answers do not pass.

It is a copy and no job of its own only where nothing else fits: no module is heard on it, not even by flow control;
each of its messages has a twin on the other channel, of the same id and bytes, in the same order and at the same
time; modules answer there; and among its messages is one that nobody sends without an answer before it (a long
message, a block, a key). A module of its own that is dead would have stopped the tester there. In all other cases the
channel stays half a recording. Source: common practice, no source; that a long request needs its receiver is
ISO 15765-2:2016, 9.6 (M).
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence

from canlog.frames import TimeKind
from canlog.isotp.addressing import Direction
from canlog.isotp.messages import Message
from canlog.services.traits import Act, act_of

#: Nobody sends these before the answer to what went before has come.
FOLLOWS_AN_ANSWER = frozenset({Act.BLOCK, Act.EXIT})


def copied_channels(
    messages: Iterable[Message], dialects: Mapping[str, str], within_ns: int, time_kind: TimeKind
) -> dict[str, str]:
    """The channels that are copies, each with the channel it is a copy of.

    Args:
        messages: all of one capture.
        dialects: what each link speaks, by its key.
        within_ns: a copy comes this soon before or after what it is a copy of.
        time_kind: without a clock nothing is taken for a copy.
    """
    if time_kind is TimeKind.NONE:
        return {}
    by_channel: defaultdict[str, list[Message]] = defaultdict(list)
    for message in messages:
        by_channel[message.link.channel].append(message)
    talking = {channel: own for channel, own in by_channel.items() if any(_is_answer(one) for one in own)}
    found = {}
    for channel, own in by_channel.items():
        if channel in talking or not _is_one_sided(own) or not any(_needs_an_answer(one, dialects) for one in own):
            continue
        whole = (name for name, other in talking.items() if _is_within(own, other, within_ns))
        if (other := next(whole, None)) is not None:
            found[channel] = other
    return found


def _is_answer(message: Message) -> bool:
    return message.direction is Direction.RESPONSE


def _is_one_sided(own: Sequence[Message]) -> bool:
    return all(one.complete and not one.flow_control_lines and not _is_answer(one) for one in own)


def _needs_an_answer(message: Message, dialects: Mapping[str, str]) -> bool:
    if message.link.functional:
        return False
    act = act_of(message.data[0], dialects.get(message.link.key, "uds")) if message.data else Act.OTHER
    is_key = act is Act.UNLOCK and len(message.data) > 2 and not message.data[1] & 1
    return message.n_frames > 1 or act in FOLLOWS_AN_ANSWER or is_key


def _is_within(own: Sequence[Message], other: Sequence[Message], within_ns: int) -> bool:
    """Each message of a channel has a twin of its own on the other one, whose module answers, in the same order."""
    answering = {_sides(one) for one in other if _is_answer(one)}
    asked = iter(sorted((one for one in other if not _is_answer(one)), key=lambda one: one.first_line))
    for copy in sorted(own, key=lambda one: one.first_line):
        if not copy.link.functional and _sides(copy) not in answering:
            return False
        if not any(_is_twin(copy, one, within_ns) for one in asked):  # the iterator goes on behind the twin
            return False
    return True


def _is_twin(copy: Message, one: Message, within_ns: int) -> bool:
    is_same = _sides(copy) == _sides(one) and copy.data == one.data
    return is_same and abs(copy.begin_ns - one.begin_ns) <= within_ns and abs(copy.end_ns - one.end_ns) <= within_ns


def _sides(message: Message) -> str:
    """The link without its channel."""
    return message.link.key.partition(":")[2]
