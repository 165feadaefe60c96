"""Final refusals of a module, and whether it accepted the same thing later."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass

from analysis.checks.looking.causes import causes_of
from analysis.checks.registry import Context, Seen
from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.nrc import NRCS, nrcs

#: Bytes of a request that say what is done: service with sub-function, identifier, routine.
TELLING_BYTES = {0x10: 2, 0x11: 2, 0x14: 1, 0x22: 3, 0x27: 2, 0x28: 2, 0x2E: 3, 0x31: 4, 0x36: 2, 0x85: 2}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A final negative response; ``overcome``: the module accepted the same later."""

    exchange: Exchange
    overcome: bool


def refusals(ctx: Context, story: Story, codes: Collection[int], services: Collection[int] = ()) -> Iterator[Refusal]:
    """A module's final refusals with one of these codes, of these services (of all when none are given)."""
    own = ctx.own(story)
    refused = [
        item
        for item in own
        if item.nrc in codes and (not services or item.service in services) and _means_the_same(item)
    ]
    if refused:
        accepted = last_of_acts(item for item in own if item.positive)
        for exchange in refused:
            yield Refusal(exchange, accepted.get(act_of(exchange), exchange.begin) > exchange.begin)


def _means_the_same(exchange: Exchange) -> bool:
    """The code is the one of UDS: in an older dialect the same number may say another thing."""
    code = exchange.nrc or 0
    return nrcs(exchange.dialect)[code].name == NRCS[code].name


def act_of(exchange: Exchange) -> bytes:
    """What is asked for, whatever data goes with it: equal for the same thing asked again."""
    return exchange.asked[: TELLING_BYTES.get(exchange.service, 1)]


def last_of_acts(exchanges: Iterable[Exchange]) -> dict[bytes, Place]:
    """Where each act was last asked for among these, in order."""
    return {act_of(exchange): exchange.begin for exchange in exchanges}


def see_refusals(ctx: Context, codes: Collection[int], services: Collection[int] = ()) -> Iterator[Seen]:
    """One sighting for each module that refused; only a note where it accepted the same later."""
    for story in ctx.stories:
        found = list(refusals(ctx, story, codes, services))
        if found:
            yield sighting(story, found)


def sighting(story: Story, found: Sequence[Refusal], more: str = "") -> Seen:
    """Refusals of one module as one sighting: those that were not overcome, or else all of them as a note."""
    standing = [item for item in found if not item.overcome]
    shown = standing or found
    texts = dict.fromkeys(said(item.exchange) for item in shown)
    end = more if standing else " The same was accepted later."
    return Seen(
        Confidence.HIGH,
        tuple(evidence(item.exchange, said(item.exchange)) for item in shown),
        f"{story.label}: {'; '.join(list(texts)[:4])}.{end}",
        severity=None if standing else Severity.NOTE,
        causes=causes_of(item.exchange for item in shown),
        is_over=not standing,
    )


def said(exchange: Exchange) -> str:
    """``31 01 FF 00 was refused with 22 (a condition for this action is not met)``; no key bytes."""
    code = exchange.nrc or 0
    return f"{asked(exchange)} was refused with {code:02X} ({exchange.refusal_meaning})"


def asked(exchange: Exchange) -> str:
    """The telling bytes of a request."""
    return act_of(exchange).hex(" ").upper() or f"{exchange.service:02X}"


def is_refused(exchange: Exchange) -> bool:
    """The exchange ended with a negative response."""
    return exchange.outcome is Answer.NEGATIVE
