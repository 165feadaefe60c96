"""Questions on the VIN: does it fit, do all modules agree."""

from __future__ import annotations

from collections.abc import Iterator

from analysis.vins import OBD_VIN, tells_vin
from analysis.walk.ask_values import readings_of
from analysis.walk.question import COMPUTE, JUDGE, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.names.vin import ALPHABET, CHECK_POSITION, LENGTH, check_digit, check_vin


def vin_check_digit(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether position 9 fits the rest. Source: 49 CFR 565.15 (M)."""
    text = _vin(walk, step)
    check = check_vin(text)
    if not check.well_formed:
        return
    due = check_digit(text)
    yield Question(
        "vin-check-digit", COMPUTE, f"The VIN is {text}. Does the sign in position {CHECK_POSITION + 1} fit the rest?",
        f"yes: {due} is due" if check.check_digit_right else f"no: {due} is due, {text[CHECK_POSITION]} stands there",
        "value of each sign × weight of its place, added up, remainder of the division by 11, X for 10"
        f"{'' if check.check_digit_due else '; this region does not ask for it, so a wrong one is no mistake there'}",
        step.lines, due, "so it is the right vehicle: a right digit says only that no single sign was mistyped",
    )  # fmt: skip


def vins_agree(walk: Walk, step: Step) -> Iterator[Question]:
    """Whether all modules that said a VIN so far said the same; asked at the last module in a row."""
    if not _vin(walk, step):
        return
    behind = walk.steps[step.number : step.number + 1]
    if behind and _vin(walk, behind[0]) and behind[0].act is step.act:
        return
    said: dict[str, tuple[str, int]] = {}
    for other in walk.steps[: step.number]:
        text = _vin(walk, other)
        if text:
            said[other.who] = text, other.number
    counts = [text for text, _ in said.values()]
    if len(said) < 2:
        return
    same = len(set(counts)) == 1
    most = max(counts, key=counts.count)
    odd = ", ".join(f"{who} says {text} (step {at})" for who, (text, at) in said.items() if text != most)
    yield Question(
        "vins-agree", JUDGE, f"{counted(len(said), 'module')} have named the VIN by now. Do they agree?",
        f"yes: all name {most}" if same else f"no: {odd}; the others name {most}",
        f"compare all {LENGTH} signs, in steps {', '.join(map(str, sorted(at for _, at in said.values())))}",
        step.lines,
        "yes" if same else "no", "" if same else "yes, by the first signs: all 17 count",
    )  # fmt: skip


def _vin(walk: Walk, step: Step) -> str:
    """The VIN that a step reads, or nothing."""
    for one in readings_of(walk, step.first):
        text = one.raw[-LENGTH:].decode("ascii", "replace")
        if (tells_vin(one) or one.identifier == OBD_VIN) and len(text) == LENGTH and ALPHABET.issuperset(text):
            return text
    return ""
