"""Why a job may have broken off: causes that more than one sign speaks for, the likelier first.

Each sign weighs 2 (strong), 1 (medium) or half (weak), for a cause or against it, and is shown with its lines. A
cause is named from a sum of :data:`ENOUGH` on; below that nothing is guessed. None of it enters a word of the
verdict. Source: common practice, no source; what the refusal codes say is ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from analysis.breaks.postmortem import Explanation, PostMortem
from analysis.breaks.silence import Silent
from analysis.checks.finding import Finding
from analysis.record import Record
from analysis.words import Evidence, Severity

MOST = 4
STRONG, MEDIUM, WEAK = 2.0, 1.0, 0.5
#: One strong sign, or two medium ones: a single weak sign names no cause.
ENOUGH = 2.0
#: A reading so long before the break says nothing about the moment of it.
STALE_NS = 30_000_000_000
#: Readings this close to each other are a steady supply, in a 12 V system; twice as much in a 24 V one.
STEADY_MV = 300
#: Readings so shortly in front of the break speak about it.
CLOSE_NS = 5_000_000_000
#: Findings that speak for the line itself.
ALONE_ON_THE_LINE = ("error-frame-burst", "frame-repeated-unacknowledged", "tester-alone")


class Sign(NamedTuple):
    """Something seen that makes a cause more likely, or less where the weight is below nothing."""

    weight: float
    evidence: tuple[Evidence, ...]


class _Break(NamedTuple):
    """What the signs are read from."""

    record: Record
    post_mortem: PostMortem
    findings: Sequence[Finding]

    def found(self, *ids: str) -> Iterator[Finding]:
        """Findings that still stand: what was overcome later is only a note."""
        return (item for item in self.findings if item.id in ids and item.severity is not Severity.NOTE)

    def is_break(self, item: Finding) -> bool:
        """The finding is about the first bad thing itself."""
        return self.post_mortem.first_bad is not None and any(
            (one.capture, one.lines) == (self.post_mortem.first_bad.capture, self.post_mortem.first_bad.lines)
            for one in item.evidence
        )

    def near(self, *ids: str) -> Iterator[Finding]:
        """Of what was found those whose lines are close to the break in time."""
        return (item for item in self.found(*ids) if any(map(self._is_near, item.evidence)))

    def _is_near(self, one: Evidence) -> bool:
        exchange = self.record.exchange_at((one.capture, one.lines[0]))
        at_ns = self.at_ns
        if exchange is None or at_ns is None or self.post_mortem.first_bad is None:
            return False
        return one.capture == self.post_mortem.first_bad.capture and abs(exchange.begin_ns - at_ns) <= STALE_NS

    @property
    def at_ns(self) -> int | None:
        """When the first bad thing began; None without it, or without a clock."""
        bad = self.post_mortem.first_bad
        exchange = self.record.exchange_at((bad.capture, bad.lines[0])) if bad is not None else None
        has_clock = bad is not None and self.record.capture(bad.capture).survey.summary.last_time_ns is not None
        return exchange.begin_ns if exchange is not None and has_clock else None

    def silence(self, who: Silent, *ids: str) -> Iterator[tuple[Evidence, ...]]:
        """Findings of who fell silent first, or the break itself where the module answers again in a later capture."""
        if self.post_mortem.silent_first is who:
            yield from (item.evidence for item in self.found(*ids))
            yield from self.silence_over(who, *ids)

    def silence_over(self, who: Silent, *ids: str) -> Iterator[tuple[Evidence, ...]]:
        """The break itself: findings tell of a silence that lasts, and this one ended with a later capture."""
        bad = self.post_mortem.first_bad
        if self.post_mortem.silent_first is not who or bad is None or any(self.found(*ids)):
            return
        if self.answered_since(bad):
            yield (bad,)

    def is_later(self, item: Finding) -> bool:
        """All of it stands in captures behind that of the break."""
        bad = self.post_mortem.first_bad
        return bad is not None and all(one.capture > bad.capture for one in item.evidence)

    def answered_since(self, bad: Evidence) -> bool:
        """The module of the first bad thing is heard in a later capture."""
        exchange = self.record.exchange_at((bad.capture, bad.lines[0]))
        story = self.record.story(exchange.link.key) if exchange is not None else None
        return story is not None and story.answers_behind_capture(bad.capture)


class _Cause(NamedTuple):
    text: str
    signs: Callable[[_Break], Iterable[Sign]]
    settled_by: str


def with_explanations(
    post_mortem: PostMortem | None, record: Record, findings: Sequence[Finding]
) -> PostMortem | None:  # fmt: skip
    """The same facts with the causes that they speak for."""
    return replace(post_mortem, explanations=tuple(explain(record, post_mortem, findings))) if post_mortem else None


def explain(record: Record, post_mortem: PostMortem, findings: Sequence[Finding]) -> list[Explanation]:
    """At most :data:`MOST` causes, the likeliest first; none where there is not enough to say."""
    seen = _Break(record, post_mortem, findings)
    weighed = [(cause, list(cause.signs(seen))) for cause in CAUSES]
    sums = [(sum(sign.weight for sign in signs), cause, signs) for cause, signs in weighed]
    named = sorted((one for one in sums if one[0] >= ENOUGH), key=lambda one: -one[0])
    return [_explanation(cause, signs) for _, cause, signs in named[:MOST]]


def _explanation(cause: _Cause, signs: Sequence[Sign]) -> Explanation:
    def shown(wanted: Callable[[float], bool]) -> tuple[Evidence, ...]:
        chosen = sorted((sign for sign in signs if wanted(sign.weight)), key=lambda sign: -abs(sign.weight))
        return tuple(dict.fromkeys(one for sign in chosen for one in sign.evidence))

    return Explanation(cause.text, shown(lambda weight: weight > 0), shown(lambda weight: weight < 0), cause.settled_by)


# -- the supply


def _supply(seen: _Break) -> Iterator[Sign]:
    for item in seen.found("voltage-too-low", "voltage-too-high"):
        yield Sign(STRONG, item.evidence)
    yield from _low_reading(seen)
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found("erase-failed") if _says_72(item))
    yield from (Sign(STRONG, item.evidence) for item in seen.found("silence-everything", "tester-alone"))
    for who, check_id in ((Silent.EVERYTHING, "silence-everything"), (Silent.ALL_BUT_TESTER, "tester-alone")):
        yield from (Sign(STRONG, shown) for shown in seen.silence_over(who, check_id))
    yield from (Sign(-MEDIUM, shown) for shown in _steady(seen))


def _low_reading(seen: _Break) -> Iterator[Sign]:
    """Readings that sink or are low: strong close to the break, weak long before it."""
    for item in seen.found("voltage-falls"):
        low = min(seen.post_mortem.supply, key=lambda one: one.millivolts)
        at_ns = seen.at_ns
        is_close = at_ns is not None and abs(low.time_ns - at_ns) <= STALE_NS
        yield Sign(STRONG if is_close else WEAK, item.evidence)


def _steady(seen: _Break) -> Iterator[tuple[Evidence, ...]]:
    """Readings of one module up to the break that stay the same and are not low."""
    at_ns = seen.at_ns
    if at_ns is None or list(seen.found("voltage-falls", "voltage-too-low")):
        return
    before = [one for one in seen.post_mortem.supply if one.time_ns <= at_ns]
    same = [one for one in before if one.source == before[-1].source]
    if len(same) < 2 or at_ns - same[-1].time_ns > CLOSE_NS:
        return
    values = [one.millivolts for one in same]
    scale = 2 if max(values) > seen.record.limits.supply_24v_from_mv else 1
    if max(values) - min(values) <= STEADY_MV * scale:
        yield same[0].evidence, same[-1].evidence


# -- the others


def _module_alone(seen: _Break) -> Iterator[Sign]:
    """It fell silent or restarted while everything else went on."""
    ids = ("silence-module-first", "silence-in-erase", "reset-no-return")
    yield from (Sign(STRONG, shown) for shown in seen.silence(Silent.MODULE, *ids))
    yield from (Sign(STRONG, item.evidence) for item in seen.found("pending-without-end") if seen.is_break(item))


def _branch(seen: _Break) -> Iterator[Sign]:
    yield from (Sign(STRONG, item.evidence) for item in seen.found("silence-branch"))
    yield from (Sign(STRONG, shown) for shown in seen.silence_over(Silent.BRANCH, "silence-branch"))


def _line(seen: _Break) -> Iterator[Sign]:
    yield from (Sign(STRONG, item.evidence) for item in seen.found(*ALONE_ON_THE_LINE))
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found("block-counter-refused", "consecutive-sequence-gap"))
    yield from (Sign(MEDIUM, item.evidence) for item in seen.near("stall-inside-message", "connection-broken-off"))
    if seen.post_mortem.silent_first is Silent.MODULE:
        yield from (Sign(WEAK, item.evidence) for item in seen.found("silence-module-first"))


def _tester(seen: _Break) -> Iterator[Sign]:
    yield from (Sign(STRONG, shown) for shown in seen.silence(Silent.TESTER, "silence-tester-first"))
    slow = ("session-gap", "tester-gives-up-early", "stall-inside-message", "connection-broken-off")
    yield from (Sign(MEDIUM, item.evidence) for item in seen.near(*slow))
    ids = ("transfer-exit-missing", "block-missing", "block-repeated-different", "size-short")
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found(*ids))


def _file(seen: _Break) -> Iterator[Sign]:
    for item in seen.found("check-failed"):
        yield Sign(MEDIUM if any("refused" in one.text for one in item.evidence) else STRONG, item.evidence)
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found("download-refused", "transfer-suspended"))
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found("size-over", "calibration-not-expected"))
    yield from (Sign(-MEDIUM, item.evidence) for item in seen.found("block-missing", "block-repeated-different"))


def _memory(seen: _Break) -> Iterator[Sign]:
    """72 says that erasing or writing itself went wrong; a weak supply explains that as well."""
    refused = [
        item
        for item in seen.found("programming-failure", "erase-failed", "erase-refused", "transfer-exit-refused")
        if _says_72(item)
    ]
    yield from (Sign(MEDIUM, item.evidence) for item in refused)
    if refused:
        yield from (Sign(MEDIUM, shown) for shown in _steady(seen))
        yield from (Sign(-MEDIUM, item.evidence) for item in seen.found("voltage-too-low", "voltage-falls"))


def _says_72(item: Finding) -> bool:
    return any("with 72" in one.text or "72 (" in one.text for one in item.evidence)


def _condition(seen: _Break) -> Iterator[Sign]:
    """The step that broke was refused because the vehicle was not in the state that it asks for."""
    yield from (Sign(STRONG, item.evidence) for item in seen.found("conditions-not-correct") if seen.is_break(item))


def _two_testers(seen: _Break) -> Iterator[Sign]:
    yield from (Sign(STRONG, item.evidence) for item in seen.found("two-testers"))


def _recording(seen: _Break) -> Iterator[Sign]:
    if seen.post_mortem.silent_first is Silent.CAPTURE_ENDED:
        yield from (Sign(STRONG, item.evidence) for item in seen.found("capture-ends-inside"))
        yield from (Sign(-STRONG, item.evidence) for item in seen.found("boot-mode-only") if seen.is_later(item))
    yield from (Sign(MEDIUM, item.evidence) for item in seen.found("frames-dropped-by-logger"))


CAUSES = (
    _Cause("the supply was too weak", _supply, "the voltage at the module itself, recorded under load"),
    _Cause(
        "the module alone lost its supply, hung or restarted by itself",
        _module_alone,
        "supply and ground of this module, measured under load",
    ),
    _Cause(
        "what several modules share: gateway, fuse or wiring of a branch",
        _branch,
        "supply and line measured at two of these modules",
    ),
    _Cause(
        "the line or a connector", _line, "a recording with error frames at the module's own plug, and its resistance"
    ),
    _Cause("the tester, its computer or its adapter", _tester, "the log of the computer, or the same step by another"),
    _Cause("a wrong or damaged file", _file, "the file's own checksum, and the part number it is made for"),
    _Cause("the module's memory", _memory, "the same step with the supply supported and measured"),
    _Cause("a condition that was not met", _condition, "the conditions that the service information lists"),
    _Cause("a second tester on the bus", _two_testers, "the same step with the other device removed"),
    _Cause(
        "only the recording ended or has holes", _recording, "the rest of the recording, or what the module answers now"
    ),
)
