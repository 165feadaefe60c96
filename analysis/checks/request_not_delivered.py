"""The gateway did not pass a request on.

What is seen: the vehicle side answered a diagnostic message, or the tester's wish to be let in, with a negative
acknowledgement.
What it can mean: The module is asleep, without supply or not fitted; or the tester used a wrong address; the request
did not reach the module, so it changed nothing there.
How to tell it from look-alikes: a refusal by the module itself: that is a negative response with the service it refuses
What to try: read the reason that the gateway gives; check supply, ground and fuse of the module that it cannot reach;
compare the address with the service information
Caution: none
Evidence: the request and the negative acknowledgement. Source: ISO 13400-2:2019, 9.5 (M).
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.record import CaptureRecord
from analysis.words import Confidence, Evidence, Severity
from canlog.doip.reassembly import ACTIVATION_REFUSED, NEGATIVE_ACKNOWLEDGE


@check("request-not-delivered", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        shown = tuple(_refusals(capture))
        if shown:
            yield Seen(Confidence.HIGH, shown, f"{capture.name}: {len(shown)} times; {shown[0].text}.")


def _refusals(capture: CaptureRecord) -> Iterator[Evidence]:
    for stray in capture.messages.strays:
        if stray.rule == ACTIVATION_REFUSED:
            yield Evidence(capture.number, (stray.line,), stray.text)
    for message in capture.messages:
        for anomaly in message.anomalies:
            if anomaly.rule == NEGATIVE_ACKNOWLEDGE:
                lines = (*dict.fromkeys(message.lines), anomaly.line)
                yield Evidence(capture.number, lines, f"{message.link.key}: {anomaly.text}")
