"""The session in one picture: a lane for each module, a mark for each act, the five words told apart by shape too.

SVG by matplotlib, imported here only. Marks are named and link to steps of the page; the text beside it says the same.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import TYPE_CHECKING, Final

from analysis.report import wording
from analysis.report.contract import OperationDict, ReportDict
from analysis.report.lines import printable
from analysis.report.texts import say
from canlog.counting import SECOND_NS, counted

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: Fill of a bar by word: told apart without colour by the pattern.
_FILL: Final = {
    "confirmed": ("#2f8f46", ""),
    "unproven": ("#b77a00", "//"),
    "failed": ("#b3243a", "xx"),
    "interrupted": ("#b3243a", ".."),
    "not-shown": ("#8a94a0", ""),
}
_DRAWN: Final = (
    "download", "upload", "file", "write", "write-memory", "routine", "reset", "clear", "unlock", "session",
)  # fmt: skip
_SHORTEST_SHARE: Final = 0.006
#: Inches: so narrow that a phone shows it whole, with letters that can be read.
_WIDTH: Final = 6.0


def draw_timeline(report: ReportDict, targets: Mapping[int, str]) -> tuple[str, str]:
    """The SVG and its alternative in words; both empty where no clock or no act gives a picture.

    ``targets``: the ids on the page that marks lead to, by the number of the operation; without one, the timeline.
    """
    acts = [item for item in report["operations"] if item["kind"] in _DRAWN and item["begin_ns"] is not None]
    kinds = {item["time_kind"] for item in report["captures"]}
    if not acts or (len(report["captures"]) > 1 and kinds != {"absolute"}):
        return "", ""
    names = wording.labels(report)
    panels = {name: panel for name, panel in _by_capture(acts, report) if _last_ns(panel) > _first_ns(panel)}
    if not panels:
        return "", ""
    acts = [item for panel in panels.values() for item in panel]
    lanes = list(dict.fromkeys(item["link"] for item in acts))
    drawing = _svg(panels, lanes, names)
    for item in acts:
        who = names.get(item["link"], item["link"])
        said = say("picture.mark", who=who, act=wording.act(item), word=wording.WORD[item["word"]])
        link = f'<a href="#{targets.get(item["number"], "timeline")}"><title>{escape(said)}</title>'
        drawing = drawing.replace(f'<a xlink:href="{_mark(item)}" target="_blank">', link)
    return drawing, _in_words(acts, lanes, names)


def _mark(item: OperationDict) -> str:
    return f"#act{item['number']}"


def _in_words(acts: Sequence[OperationDict], lanes: Sequence[str], names: dict[str, str]) -> str:
    parts = []
    for link in lanes:
        mine = [item for item in acts if item["link"] == link]
        words = {wording.WORD[item["word"]]: 0 for item in mine}
        for item in mine:
            words[wording.WORD[item["word"]]] += 1
        told = ", ".join(say("picture.words", number=number, word=word) for word, number in words.items())
        parts.append(say("picture.lane", who=names.get(link, link), acts=counted(len(mine), "act"), words=told))
    return say("picture.key", lanes="; ".join(parts))


def _by_capture(acts: Sequence[OperationDict], report: ReportDict) -> Iterator[tuple[str, list[OperationDict]]]:
    """The acts of each capture, with its name: hours between two of them would leave nothing of either."""
    if len(report["captures"]) == 1:
        yield "", list(acts)
        return
    starts = [item["first_time_ns"] or 0 for item in report["captures"]]
    for number, (capture, start) in enumerate(zip(report["captures"], starts, strict=True)):
        behind = starts[number + 1] if number + 1 < len(starts) else None
        mine = [item for item in acts if behind is None or (item["begin_ns"] or 0) < behind]
        if mine := [item for item in mine if number == 0 or (item["begin_ns"] or 0) >= start]:
            yield f"{capture['number']}. {capture['name']}", mine


def _first_ns(acts: Sequence[OperationDict]) -> int:
    return min(item["begin_ns"] or 0 for item in acts)


def _last_ns(acts: Sequence[OperationDict]) -> int:
    return max(item["end_ns"] or item["begin_ns"] or 0 for item in acts)


def _svg(panels: Mapping[str, Sequence[OperationDict]], lanes: Sequence[str], names: dict[str, str]) -> str:
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(
        {"svg.fonttype": "none", "svg.hashsalt": "canlog", "font.size": 11, "hatch.linewidth": 0.6}
    ):
        figure = Figure(figsize=(_WIDTH, (0.9 + 0.45 * len(lanes)) * len(panels)), layout="constrained")
        for axes, (name, acts) in zip(figure.subplots(len(panels), squeeze=False)[:, 0], panels.items(), strict=True):
            axes.set_title(printable(name), loc="left", fontsize=11, parse_math=False)
            _panel(axes, acts, lanes, names)
        stream = io.StringIO()
        figure.savefig(stream, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    return _for_page(stream.getvalue())


def _panel(axes: Axes, acts: Sequence[OperationDict], lanes: Sequence[str], names: dict[str, str]) -> None:
    begin, end = _first_ns(acts), _last_ns(acts)
    shortest = (end - begin) / SECOND_NS * _SHORTEST_SHARE
    for item in acts:
        _bar(axes, item, lanes.index(item["link"]), begin, shortest)
    axes.set_yticks(range(len(lanes)), [names.get(link, link) for link in lanes])
    axes.set_ylim(len(lanes) - 0.4, -0.6)
    axes.set_xlabel(say("picture.axis"))
    axes.spines[["top", "right", "left"]].set_visible(False)
    axes.grid(axis="x", alpha=0.25)


def _bar(axes: Axes, item: OperationDict, lane: int, begin: int, shortest: float) -> None:
    colour, pattern = _FILL[item["word"]]
    start = ((item["begin_ns"] or 0) - begin) / SECOND_NS
    length = max(((item["end_ns"] or item["begin_ns"] or 0) - (item["begin_ns"] or 0)) / SECOND_NS, shortest)
    height = 0.7 if item["kind"] in ("download", "upload", "file") else 0.4
    bar = axes.barh(
        lane, length, height=height, left=start, color=colour, hatch=pattern, edgecolor="white", linewidth=0.4
    )
    bar[0].set_url(_mark(item))


def _for_page(svg: str) -> str:
    """Only the drawing, its black as the ink of the page, so that it reads on dark paper too."""
    drawing = svg[svg.index("<svg") :]
    drawing = re.sub(r'(width|height)="[0-9.]+pt"', "", drawing, count=2)
    label = f'role="group" aria-label="{escape(say("picture.label"))}"'
    drawing = drawing.replace("<svg", f"<svg {label}", 1)
    return re.sub(r"#000000|\bblack\b", "currentColor", drawing)
