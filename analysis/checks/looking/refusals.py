"""Final refusals of a module, and whether it accepted the same thing later.

Codes are those of UDS. In an older dialect a number counts where it says the same there, unless a check gives that
dialect's codes of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from analysis.checks.looking.causes import causes_of
from analysis.checks.registry import Context, Seen
from analysis.exchanges import Exchange, Place
from analysis.operations.model import evidence
from analysis.story import Story
from analysis.words import Confidence, Severity
from canlog.names.nrc import NRCS, nrcs
from canlog.services.traits import Act, BlockCounter, traits_of

#: Acts of which the byte behind the service says what is asked for, in every dialect that has it.
WITH_SUB_FUNCTION = frozenset({Act.SESSION, Act.RESET, Act.UNLOCK, Act.QUIET})
#: Output control, by an identifier of two bytes in UDS and of one in the older dialects.
CONTROL_BYTES = {0x2F: 3, 0x30: 2, 0xAE: 2}

OlderCodes = Mapping[str, Collection[int]]
NONE_OLDER: OlderCodes = {}


@dataclass(frozen=True, slots=True)
class Refusal:
    """A final negative response; ``overcome``: the module accepted the same later."""

    exchange: Exchange
    overcome: bool


def refusals(
    ctx: Context, story: Story, codes: Collection[int], acts: Collection[Act] = (), older: OlderCodes = NONE_OLDER
) -> Iterator[Refusal]:
    """A module's final refusals with one of these codes, of these acts (of all when none are given).

    ``older``: the codes of an older dialect, in place of ``codes``.
    """
    own = ctx.own(story)
    refused = [item for item in own if (not acts or item.act in acts) and _has_code(item, codes, older)]
    if refused:
        accepted = last_of_acts(item for item in own if item.positive)
        for exchange in refused:
            yield Refusal(exchange, accepted.get(act_of(exchange), exchange.begin) > exchange.begin)


def _has_code(exchange: Exchange, codes: Collection[int], older: OlderCodes) -> bool:
    """One of its dialect's own codes, or one of UDS that says the same there."""
    code = exchange.nrc
    if code is None:
        return False
    if exchange.dialect in older:
        return code in older[exchange.dialect]
    return code in codes and nrcs(exchange.dialect)[code].name == NRCS[code].name


def act_of(exchange: Exchange) -> bytes:
    """What is asked for, whatever data goes with it: equal for the same thing asked again."""
    return exchange.asked[: _telling_bytes(exchange)]


def _telling_bytes(exchange: Exchange) -> int:
    """Service with sub-function, identifier, routine or block counter, as its dialect has them."""
    traits, service = traits_of(exchange.dialect), exchange.service
    identifiers = {**traits.reads, **traits.writes}
    if service in identifiers:
        return 1 + identifiers[service]
    if exchange.act is Act.ROUTINE:
        return len(traits.routine_start) + traits.routine_bytes
    if exchange.act is Act.FAULT_SETTING:  # KWP2000 says on or off in the last byte
        return len(exchange.asked)
    if exchange.act is Act.BLOCK:
        return 2 if traits.block_counter is BlockCounter.ALWAYS else 1
    return CONTROL_BYTES.get(service, 2 if exchange.act in WITH_SUB_FUNCTION else 1)


def last_of_acts(exchanges: Iterable[Exchange]) -> dict[bytes, Place]:
    """Where each act was last asked for among these, in order."""
    return {act_of(exchange): exchange.begin for exchange in exchanges}


def see_refusals(
    ctx: Context, codes: Collection[int], acts: Collection[Act] = (), older: OlderCodes = NONE_OLDER
) -> Iterator[Seen]:
    """One sighting for each module that refused; only a note where it accepted the same later."""
    for story in ctx.stories:
        found = list(refusals(ctx, story, codes, acts, older))
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
