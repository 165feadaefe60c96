"""Security access: seed and key, or certificates.

confirmed: seed, key, and a protected service accepted later in the same session; unproven: unlocked only; failed:
refused; interrupted: a seed was given and no key sent. A seed of zeros means already open.
Seeds and keys are secrets: never part of a text. Source: ISO 14229-1:2020, 10.4 and 10.6 (M).
"""

from __future__ import annotations

from analysis.exchanges import Answer, Exchange
from analysis.operations.model import Kind, Operation, evidence, span
from analysis.record import Record
from analysis.story import Story
from analysis.words import Confidence, Outcome, Word
from canlog.services.traits import Act

#: Services that need access, as a rule; which ones do is the maker's.
PROTECTED = frozenset({Act.WRITE, Act.CONTROL, Act.ROUTINE, Act.DOWNLOAD, Act.UPLOAD, Act.FILE, Act.WRITE_MEMORY})
#: Return values of 29 that mean success (ISO 14229-1:2020, annex (M); udsoncan 1.26.1 agrees).
AUTHENTICATED = frozenset({0x12, 0x13})


def find_unlocks(story: Story, record: Record) -> list[Operation]:
    """One operation for each seed with the key that followed, or each authentication step."""
    found: list[list[Exchange]] = []
    for exchange in story.exchanges:
        if exchange.act not in (Act.UNLOCK, Act.AUTHENTICATE) or len(exchange.asked) < 2:
            continue
        is_key = exchange.act is Act.UNLOCK and not exchange.asked[1] & 1
        if is_key and found and len(found[-1]) == 1 and _fits(found[-1][0], exchange):
            found[-1].append(exchange)
        else:
            found.append([exchange])
    return [_operation(group, story) for group in found]


def _fits(seed: Exchange, key: Exchange) -> bool:
    return seed.act is Act.UNLOCK and (seed.asked[1] & 0x7F) + 1 == key.asked[1] & 0x7F


def _operation(group: list[Exchange], story: Story) -> Operation:
    level = group[0].asked[1] & 0x7F
    return Operation(
        kind=Kind.UNLOCK,
        link=story.link,
        label=story.label,
        outcome=_outcome(group, story),
        subject=f"unlock {level | 1:02X}",
        details={"level": f"{level:02X}", "already_open": _zero_seed(group[0])},
        **span(group),  # type: ignore[arg-type]
    )


def _zero_seed(exchange: Exchange) -> bool:
    seed = exchange.answered[2:]
    return exchange.act is Act.UNLOCK and exchange.positive and bool(seed) and not any(seed)


def _outcome(group: list[Exchange], story: Story) -> Outcome:
    last = group[-1]
    if last.outcome is Answer.NEGATIVE:
        text = f"access was refused: {last.refusal}"
        wish = "wait the time the service information asks, then unlock with the right access"
        return Outcome(Word.FAILED, Confidence.HIGH, (evidence(last, text),), (text,), wish)
    if not last.positive:
        text = "access was asked for and not answered"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(last, text),), (text,), "unlock again")
    if not _opened(group):
        text = "a seed was given and no key was sent"
        return Outcome(Word.INTERRUPTED, Confidence.HIGH, (evidence(last, text),), (text,), "send the key")
    if last is group[0] and last.act is Act.UNLOCK and not last.asked[1] & 1:
        text = "access was granted, and its seed is not in the capture"
        return Outcome(Word.UNPROVEN, Confidence.MEDIUM, (), (text,), "the whole unlock in a capture")
    used = _use(last, story)
    if used is not None:
        text = f"protected service {used.service:02X} was accepted afterwards"
        return Outcome(Word.CONFIRMED, Confidence.HIGH, (evidence(used, text),), (text,))
    return Outcome(
        Word.UNPROVEN, Confidence.HIGH, (), ("access was granted and not used",), "a protected service after it"
    )


def _opened(group: list[Exchange]) -> bool:
    last = group[-1]
    if last.act is Act.AUTHENTICATE:
        return len(last.answered) > 2 and last.answered[2] in AUTHENTICATED
    return _zero_seed(group[0]) or not last.asked[1] & 1


def _use(last: Exchange, story: Story) -> Exchange | None:
    start = story.start_after(last.end)
    for item in story.after(last.end):
        if item.capture != last.capture or item.act is Act.SESSION or (start is not None and item.begin > start.place):
            return None
        if item.positive and item.act in PROTECTED:
            return item
    return None
