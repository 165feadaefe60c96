"""Two sessions compared, as a page: where they part, and what else differs."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from analysis.compare.sessions import Comparison, Difference, Kind, Step
from analysis.report.lines import Lines, short_hex
from analysis.report.wording import at_lines
from canlog.counting import counted, said_places
from canlog.services.traits import Act, item_written

MOST_IN_A_ROW = 3
#: Why a difference is none of those that matter.
LESSER = {
    frozenset({Kind.VALUE}): "values read",
    frozenset({Kind.LATE}): "times",
    frozenset({Kind.MISSING, Kind.ADDED}): "readings that only one session made",
}


def render_comparison(result: Comparison, good: str, bad: str, width: int, *, color: bool) -> str:
    """The page; ``good`` and ``bad`` are the names of the captures."""
    page = Lines(width, color=color)
    tell_comparison(page, result, good, bad)
    return str(page)


def tell_comparison(page: Lines, result: Comparison, good: str, bad: str) -> None:
    """The same on a page that somebody else shows."""
    if not result.n_good or not result.n_bad:
        empty = [name for name, steps in ((good, result.n_good), (bad, result.n_bad)) if not steps]
        page.heading("Nothing to compare", "no diagnostic step in " + " and ".join(empty), "doubtful")
        page.text("`canlog report` says what these recordings hold.")
        return
    _parting(page, result)
    rest = [one for one in result.differences if one is not result.parting and one.matters]
    if rest:
        page.heading("What else differs", counted(len(rest), "step"))
        for run in _runs(rest):
            _run(page, run)
    values = [one for one in result.differences if not one.matters]
    if values:
        kinds = ", ".join(said for kind, said in LESSER.items() if any(one.kind in kind for one in values))
        page.heading("Different, but not by itself a fault", kinds)
        for run in _runs(values):
            _run(page, run)
    page.heading("What was compared")
    page.text(f"good: {good}, {counted(result.n_good, 'step')}")
    page.text(f"bad: {bad}, {counted(result.n_bad, 'step')}")
    page.text(f"alike: {result.n_alike}; seeds, keys, times and tester present are left aside")


def _parting(page: Lines, result: Comparison) -> None:
    if result.parting is None:
        alone = any(one.kind in (Kind.MISSING, Kind.ADDED) for one in result.differences)
        same = "every act" if alone else "every step"
        page.heading("The sessions do not part", f"{same} of both is there, answered alike", "good")
        return
    page.heading("The sessions part here", result.parting.kind.value, "bad")
    if result.last_alike is not None:
        mine, other = result.last_alike
        page.text(f"last step alike: {mine.who}, {short_hex(mine.told)} (good {_lines(mine)}, bad {_lines(other)})")
    _sides(page, result.parting)


def _sides(page: Lines, one: Difference) -> None:
    page.text(_side(one.good) if one.good else "nothing like it", mark="good  ", colour="good")
    page.text(_side(one.bad) if one.bad else "nothing like it", mark="bad   ", colour="bad")
    good, bad = _written(one.good), _written(one.bad)
    if good is not None and bad is not None and good != bad:
        page.text(good.hex(" ").upper() or "no byte", mark="good wrote  ", colour="good")
        page.text(bad.hex(" ").upper() or "no byte", mark="bad wrote   ", colour="bad")
        page.text(f"differs in byte {said_places(good, bad)}", indent=14, colour="bad")


def _written(step: Step | None) -> bytes | None:
    """The value that a step writes, as far as its request is in the recording."""
    if step is None or step.exchange.act is not Act.WRITE:
        return None
    item = item_written(step.exchange.asked, step.exchange.dialect)
    return item.data if item is not None else None


def _side(step: Step) -> str:
    return f"{step.who}, {short_hex(step.told)} ({_lines(step)})"


def _lines(step: Step) -> str:
    return at_lines(sorted(set(step.exchange.lines)), step.exchange.capture, step.exchange.capture)


def _runs(differences: Sequence[Difference]) -> list[list[Difference]]:
    """Differences of one kind in a row together: after a break most of a session is missing."""
    return [list(run) for _, run in groupby(differences, key=lambda one: (one.kind, (one.good or one.bad).who))]  # type: ignore[union-attr]


def _run(page: Lines, run: Sequence[Difference]) -> None:
    alone = run[0].kind in (Kind.MISSING, Kind.ADDED)
    if not alone:
        for one in run:
            page.text(f"{one.kind.value}", indent=2)
            _sides(page, one)
        return
    shown = list(run) if len(run) <= MOST_IN_A_ROW else [run[0], run[-1]]
    page.text(f"{run[0].kind.value}{'' if len(run) <= MOST_IN_A_ROW else f', {len(run)} steps, first and last'}:")
    for one in shown:
        step = one.good or one.bad
        if step is not None:
            page.text(_side(step), indent=4, hang=2)
