"""A module had no room for a message.

What is seen: its flow control said overflow behind the first frame, and nothing of the message came after it.
What it can mean: The block is longer than the module's buffer; the tester did not keep to the maximum block length
that the module announced; the module was busy with another message.
How to tell it from look-alikes: a module that is silent: it sends no flow control at all
What to try: compare the length with the maximum block length in the answer to the request to transfer
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first frame and the flow control. Source: ISO 15765-2:2016, 9.6.5 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.operations.download import OVERFLOW
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted


@check("flow-control-overflow", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    labels = {story.link.key: story.label for story in ctx.stories}
    for capture in ctx.record.captures:
        for message in capture.messages:
            if message.reason == OVERFLOW:
                head = message.data[:2].hex(" ").upper()
                text = f"{head}, {counted(message.length, 'byte')}: flow control overflow"
                shown = Evidence(capture.number, tuple(dict.fromkeys(message.lines)), text)
                yield Seen(Confidence.HIGH, (shown,), f"{labels.get(message.link.key, message.link.key)}: {text}.")
