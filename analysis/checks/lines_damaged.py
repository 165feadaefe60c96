"""Some lines cannot be read.

What is seen: lines of the recording are no frames.
What it can mean: The file was cut off or changed on its way, by an editor, by mail, by a rotating log.
How to tell it from look-alikes: comments and headings of the format, which are read as such
What to try: take the original file from the logger
Caution: none
Evidence: the first of the lines. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.registry import Context, Seen, check
from analysis.words import Confidence, Evidence, Severity
from canlog.counting import counted


@check("lines-damaged", severity=Severity.NOTE)
def find(ctx: Context) -> Iterator[Seen]:
    for capture in ctx.record.captures:
        summary = capture.survey.summary
        if summary.damaged_lines:
            shown = tuple(Evidence(capture.number, (bad.line,), "unreadable") for bad in summary.damaged_examples)
            text = f"{capture.name}: {summary.damaged_lines} of {counted(summary.lines, 'line')} cannot be read."
            yield Seen(Confidence.HIGH, shown, text)
