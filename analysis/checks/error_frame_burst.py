"""Bursts of error frames.

What is seen: many error frames stand close together, or more than one a second for ten seconds: more than a sound
line brings.
What it can mean: A fault of the line or a connector that moved; a node at another bit rate; a node that fails; a
missing termination.
How to tell it from look-alikes: single error frames when a device is plugged in; a logger that counts lost
arbitration
What to try: check plugs, line and termination (about 60 ohm with the power off) before any new attempt; remove
other adapters
Caution: keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides.
Evidence: the first error frames of each burst. Source: ISO 11898-1, fault confinement (M).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from analysis.checks.registry import Context, Seen, check
from analysis.limits import MS_NS
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import lasting

#: So many within so long are a burst; common practice, no source.
BURST, BURST_NS = 16, 10 * MS_NS
#: So close to each other for so long is more than a plug that moved once; common practice, no source.
STEADY_GAP_NS, STEADY_NS = 1000 * MS_NS, 10_000 * MS_NS


@check("error-frame-burst", severity=Severity.SERIOUS)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        summary = capture.survey.summary
        repeats = [range(run.first_line, run.last_line + 1) for run in capture.messages.repeats]  # a finding of its own
        errors = zip(summary.error_times_ns.tolist(), summary.error_lines.tolist(), strict=True)
        alone = [(time_ns, line) for time_ns, line in errors if not any(line in run for run in repeats)]
        times, lines = [time_ns for time_ns, _ in alone], [line for _, line in alone]
        bursts = [at for at in range(len(times) - BURST + 1) if 0 <= times[at + BURST - 1] - times[at] <= BURST_NS]
        if bursts:
            first = bursts[0]
            shown = (Evidence(capture.number, (lines[first], lines[first + BURST - 1]), "error frames close together"),)
            text = f"{capture.name}: {summary.error_frames} error frames, {BURST} of them within 10 ms at least once."
            yield Seen(Confidence.MEDIUM, shown, text)
        elif steady := _steady(times):
            first, last = steady
            shown = (Evidence(capture.number, (lines[first], lines[last]), "error frames again and again"),)
            lasted = lasting(times[last] - times[first])
            text = f"{capture.name}: {summary.error_frames} error frames, more than one a second for {lasted}."
            yield Seen(Confidence.MEDIUM, shown, text)


def _steady(times: Sequence[int]) -> tuple[int, int] | None:
    """First and last of the first row of error frames that goes on for long enough without a pause."""
    first = 0
    for at in range(1, len(times) + 1):
        if at == len(times) or not 0 <= times[at] - times[at - 1] < STEADY_GAP_NS:
            if times[at - 1] - times[first] >= STEADY_NS:
                return first, at - 1
            first = at
    return None
