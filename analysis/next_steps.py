"""What to do next: few lines, the most urgent first, none said twice.

Order: what must be put right before anything else (a weak supply), what serious findings advise, what warnings
advise, what is missing to each part of the job, what the job sheet asks for and no capture shows.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from analysis.checks.finding import Finding
from analysis.operations.write import read_again
from analysis.words import Severity

MOST_STEPS = 5
#: So many steps of serious findings together, at least one of each.
SERIOUS_STEPS = 3
READ_ONE = re.compile(r"read ([0-9A-F]{4}) after an ignition cycle and capture it")


def next_steps(
    findings: Sequence[Finding], wishes: Iterable[str], missing: Sequence[str], *, is_confirmed: bool
) -> tuple[str, ...]:
    """At most :data:`MOST_STEPS` sentences.

    Args:
        findings: all of them; notes advise nothing here.
        wishes: what would change the words of the parts that were attempted.
        missing: parts that the sheet asks for and no capture shows, as people call them.
        is_confirmed: the job is; then only serious findings speak.
    """
    serious = [finding for finding in findings if finding.severity is Severity.SERIOUS]
    serious.sort(key=lambda finding: not finding.comes_first)
    share = max(1, SERIOUS_STEPS // max(len(serious), 1))
    steps = [step for finding in serious for step in finding.try_next[:share]]
    if is_confirmed:
        return _unique(steps)[:MOST_STEPS]
    steps += [step for finding in findings if finding.severity is Severity.WARNING for step in finding.try_next[:1]]
    steps += _merged(wishes, already=steps)
    last = [f"Do what the job sheet asks and no capture shows yet: {', '.join(missing)}."] if missing else []
    return (*_unique(steps)[: MOST_STEPS - len(last)], *last)


def _merged(wishes: Iterable[str], already: Sequence[str]) -> list[str]:
    """The wishes as sentences, all single readings in one; none of them where a step asks for readings already."""
    texts = list(wishes)
    singles = [int(found[1], 16) for text in texts if (found := READ_ONE.fullmatch(text))]
    merged = [_sentence(text) for text in texts if not READ_ONE.fullmatch(text)]
    ending = read_again([]).rpartition("  ")[2]
    if singles and not any(ending in step for step in already):
        merged.append(_sentence(read_again(singles)))
    return merged


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for text in texts if text))


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:].rstrip(".") + "."
