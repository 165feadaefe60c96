"""Messages whose consecutive frames skip a number."""

from __future__ import annotations

from canlog.isotp.messages import Message

#: Reasons and rules of the rebuilding that mean a skipped number.
SKIPPED = frozenset({"wrong-sequence-number"})


def has_gap(message: Message) -> bool:
    """A frame of it is missing between others."""
    return message.has_hole or message.reason in SKIPPED or any(one.rule in SKIPPED for one in message.anomalies)
