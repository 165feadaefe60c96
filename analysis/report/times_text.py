"""The part of the report that says how soon the modules answered."""

from __future__ import annotations

from analysis.report import wording
from analysis.report.contract import ReportDict, TimingDict
from analysis.report.lines import Lines
from analysis.report.texts import say


def timing(page: Lines, report: ReportDict) -> None:
    """How soon each module answered, against what it announced."""
    timed = [link for link in report["links"] if link["timing"]["answers"]]
    if not timed:
        return
    page.heading(say("how-soon-they-answered.heading"), say("soon.answer"))
    many = len(report["captures"]) > 1
    labels = wording.labels(report)
    names = [labels[link["link"]] + (f" ({link['capture']})" if many else "") for link in timed]
    widths = (min(max(map(len, names)), page.width // 2), 7, 8, 8, 8, 0)
    head = (say("soon.answers"), say("soon.least"), say("soon.half"), "95 %", say("soon.most"))
    page.table(("", *head), widths)
    for name, link in zip(names, timed, strict=True):
        times = link["timing"]
        steps = (times["p2_min_ns"], times["p2_median_ns"], times["p2_95_ns"])
        longest = say("soon.longest", time=wording.milliseconds(times["p2_max_ns"]), line=times["p2_max_lines"][-1])
        page.row(name, str(times["answers"]), *map(wording.milliseconds, steps), longest)
        _promised(page, times)


def _promised(page: Lines, times: TimingDict) -> None:
    """What the module announced, how long it let wait, and how fine the stamps are, where there is something to say."""
    parts = []
    if times["announced_lines"]:
        kept = say("soon.later", count=times["late_answers"]) if times["late_answers"] else say("soon.kept")
        p2, p2_star = (wording.milliseconds(times[name]) for name in ("p2_announced_ns", "p2_star_announced_ns"))
        line = times["announced_lines"][0]
        parts.append(say("soon.announced", p2=p2, p2_star=p2_star, line=line, kept=kept))
    if times["pendings"]:
        longest = wording.milliseconds(times["p2_star_max_ns"])
        parts.append(say("soon.waited", longest=longest, line=times["p2_star_max_lines"][-1]))
    if times["stamp_step_ns"] > 1_000_000:
        parts.append(say("soon.steps", step=wording.milliseconds(times["stamp_step_ns"])))
    if parts:
        page.note("; ".join(parts))
