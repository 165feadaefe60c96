"""The connection was broken off before the answer.

What is seen: one end reset the TCP connection, and the last request on it has no answer.
What it can mean: The gateway or the tester crashed, lost its supply, or gave up waiting.
How to tell it from look-alikes: a tester that closes its connection with a reset when everything is answered
What to try: connect again and ask the module what runs in it before anything is repeated; check supply and network
cable of both ends
Caution: do not switch off, unplug or reset the module while its memory is not whole
Evidence: the last request and the reset. Source: RFC 9293, 3.5.2; ISO 13400-2:2019 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.exchanges import Answer
from analysis.operations.model import evidence
from analysis.words import Confidence, Evidence, Severity
from canlog.doip.reassembly import CONNECTION_RESET

OPEN = (Answer.SILENT, Answer.INCOMPLETE)


@check("connection-broken-off", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        for stray in capture.messages.strays:
            if stray.rule != CONNECTION_RESET:
                continue
            before = [one for one in capture.exchanges if one.begin[1] < stray.line and not one.functional]
            if before and before[-1].outcome in OPEN:
                shown = (evidence(before[-1], "not answered"), Evidence(capture.number, (stray.line,), stray.text))
                yield Seen(Confidence.HIGH, shown, f"{before[-1].link.key}: {stray.text}.")
