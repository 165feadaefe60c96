"""Which *confirmed* of a report stands on a proof that is really in the spoilt recording, and which does not.

What nobody who only listens can see is let pass, and only that; ``UNSEEN`` is the list, each with the rule below
that lets it pass.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from analysis.operations.find import standing
from analysis.operations.model import Kind, Operation, Part
from analysis.report.model import Report
from analysis.trust.fitness import Fitness
from analysis.words import Confidence, Word

from .faults import Line, Lines
from .ledger import Act, Exchange, Ledger, Proof, Said

#: Changes that leave no trace: what, and why.
UNSEEN = {
    "fill bytes": "they carry nothing: a bit behind the payload of a frame",
    "stamps": "a stamp that is off while the order of the lines stands, by itself or with its stretch",
    "flow control": "its pace is the receiver's choice; that it is missing is seen, the data is whole all the same",
    "data of a block": "the module's check has judged what arrived; the listener holds no second copy",
    "what a check was asked with": "a checksum in the request of a check, which only the module can compare",
    "more behind a status": "the length of an answer takes filling in: names know the first status bytes only",
    "what faults were asked for": "the group of a clear, the status bits of a list without codes",
    "the value before": "the identity read before the act: any other value also differs from the new one",
    "an act that is missing whole": "another part, a later write or a reset of which nothing is left to see",
    "a value altered into a change": "an identity that the download left alone seems new by one bit",
    "an equal frame of another exchange": "the same bytes on the same id: which of the two stands where, nobody knows",
    "a forgery": "act and proof changed alike, frame by frame",
    "neighbours that cross no act": "two reads in another order with stamps to match",
}

SUPPORTING = {Kind.SESSION, Kind.UNLOCK, Kind.RESET, Kind.IDENTITY, Kind.COMMUNICATION, Kind.READ_FAULTS}
#: The part of the job that an act of the bench counts for, by its subject or else by its kind.
PARTS = {
    "download": Part.PROGRAMMING, "write": Part.TRIMS, "clear": Part.FAULT_MEMORY, "F190": Part.VIN, "F184": None,
}  # fmt: skip
#: What tells an act from others of its kind; nothing where a module has one.
NAMED_BY = {"download": "address", "write": "identifier", "clear": ""}
#: Longer than any step of an act lasts.
STILL_US = 30_000_000
RANK = {Confidence.LOW: 1, Confidence.MEDIUM: 2, Confidence.HIGH: 3}


class Spoilt:
    """A spoilt recording beside the ledger of the clean one."""

    def __init__(self, ledger: Ledger, lines: Lines) -> None:
        self.ledger, self.lines = ledger, lines
        self._places: dict[int, list[int]] = {}  # of a row: the lines where it stands unharmed, from 1
        self._harmed: dict[int, list[int]] = {}  # the same, harmed or not
        for number, line in enumerate(lines, start=1):
            if line.origin >= 0 and not self._is_harmed(line):
                self._places.setdefault(line.origin, []).append(number)
            if line.origin >= 0:
                self._harmed.setdefault(line.origin, []).append(number)

    def _is_harmed(self, line: Line) -> bool:
        found = self.ledger.said_of_row.get(line.origin)
        if found is None:
            return bool(line.altered)
        said, at = found
        if said.data[0] == 0x71 and line.altered == {said.heads[at] - 1} and self._is_longer(said, line):
            return False
        return any(byte < said.used(at) and self._is_seen(said, at, byte) for byte in line.altered)

    @staticmethod
    def _is_longer(said: Said, line: Line) -> bool:
        """A single frame that now takes filling for data behind its status."""
        size = line.row.data[said.heads[0] - 1]
        return len(said.rows) == 1 and said.length < size < len(line.row.data)

    @staticmethod
    def _is_seen(said: Said, at: int, byte: int) -> bool:
        """False for bytes of ``UNSEEN``."""
        offset = said.starts[at] + byte - said.heads[at]
        if byte < said.heads[at]:
            return True
        if said.data[0] == 0x36:
            return offset < 2
        if said.data[0] == 0x31:
            return offset < 4
        if said.data[0] == 0x14:
            return offset < 1
        return not (said.data[:2] in (b"\x19\x02", b"\x59\x02") and offset == 2)

    def places(self, said: Said, *, strict: bool = True, behind: int = 0) -> tuple[int, ...] | None:
        """The lines of a message if all its frames are there, in their order, and unharmed if ``strict``."""
        out: list[int] = []
        places = self._places if strict else self._harmed
        for row in said.rows:
            place = next((one for one in places.get(row, ()) if one > (out[-1] if out else behind)), None)
            if place is None:
                return None
            out.append(place)
        return tuple(out)

    def spans(self, exchange: Exchange, *, strict: bool = True) -> list[tuple[int, int]]:
        """First and last line of an exchange if it is there whole, the answer behind the request.

        Several where its request stands there more than once: which of them was answered is anybody's guess.
        """
        found = []
        for begin in (self._places if strict else self._harmed).get(exchange.ask.rows[0], ()):
            ask = self.places(exchange.ask, strict=strict, behind=begin - 1)
            answer = self.places(exchange.answer, strict=strict, behind=ask[-1]) if ask else None
            if ask and answer:
                found.append((begin, answer[-1]))
        return found

    def span(self, exchange: Exchange, *, strict: bool = True) -> tuple[int, int] | None:
        """The first of them."""
        return next(iter(self.spans(exchange, strict=strict)), None)

    def has(self, exchange: Exchange) -> bool:
        """All its frames are there, unharmed, in whatever order: inside an act disorder only lowers confidence."""
        return all(row in self._places for row in exchange.rows)

    def end(self, exchange: Exchange) -> int:
        """The last line of any frame of an exchange, harmed or not, copies apart; 0 without one."""
        return max((min(self._harmed[row]) for row in exchange.rows if row in self._harmed), default=0)


@dataclass(frozen=True)
class Wrong:
    """A word that must not have been said."""

    rule: str
    word: str


def wrong_words(report: Report, ledger: Ledger, lines: Lines) -> Iterator[Wrong]:
    """Every *confirmed* that no proof carries."""
    spoilt = Spoilt(ledger, lines)
    programming = [one for one in standing(report.operations) if one.part is Part.PROGRAMMING]
    programmed = all(one.outcome.word is Word.CONFIRMED for one in programming)
    for operation in report.operations:
        if operation.outcome.word is Word.CONFIRMED and not _stands(operation, spoilt, programmed=programmed):
            yield Wrong("confirmed without its proof", _text(operation))
    for item in report.expectations:
        if item.word is Word.CONFIRMED and not any(_is_whole(list(one.lines), spoilt) for one in item.evidence):
            yield Wrong("item confirmed without its proof", f"{item.item}: {item.evidence}")
    if not report.expectations:
        yield from _left_out(report, spoilt)
    yield from (Wrong("a check is broken", one.title) for one in report.findings if one.title.endswith("is broken"))


def _left_out(report: Report, spoilt: Spoilt) -> Iterator[Wrong]:
    """A part is confirmed although an act of it, of which the recording has the request, is not."""
    confirmed = [one for one in report.operations if one.outcome.word is Word.CONFIRMED]
    rows = {spoilt.lines[one.begin[1] - 1].origin for one in confirmed}
    subjects = {(one.kind, one.details.get("address", one.details.get("identifier"))) for one in confirmed}
    for act in spoilt.ledger.acts:
        part = PARTS.get(act.subject, PARTS.get(act.kind))
        if part is None or report.verdict.parts[part].word is not Word.CONFIRMED:
            continue
        if act.rows & rows or (act.kind, act.subject) in subjects:
            continue
        requests = [item.ask for item in act.exchanges if item.ask.data[0] in (0x34, 0x2E, 0x14)]
        if any(spoilt.places(said) is not None for said in requests):
            yield Wrong("part confirmed with an act left out", f"{part}: {act.kind} {act.subject}")


def raised_words(before: Report, after: Report, ledger: Ledger, lines: Lines) -> Iterator[Wrong]:
    """Every act whose word or confidence a fault made better."""
    best = {(one.kind, one.link.key, one.begin[1] - 1): one for one in before.operations}
    for one in after.operations:
        origin = lines[one.begin[1] - 1].origin
        was = best.get((one.kind, one.link.key, origin))
        if was is None or one.part is None or _score(one) <= _score(was):
            continue
        if any(line.origin > origin for line in lines[: one.begin[1] - 1]):
            continue  # its first frame was moved: it is made of other exchanges than before
        unseen = one.kind is Kind.DOWNLOAD and (_alters_an_identity(ledger, lines) or _lacks_a_download(ledger, lines))
        if not unseen:
            yield Wrong("raised by a fault", _text(one))


def unnoticed(before: Report, after: Report, ledger: Ledger, lines: Lines) -> Iterator[Wrong]:
    """An act that lost frames or stood still, confirmed as before in a recording that is called good.

    An act or an erase of which nothing is left cannot be missed, and a stretch in front of it crosses nothing.
    """
    if any(capture.trust.fitness is not Fitness.GOOD for capture in after.record.captures):
        return
    was = {_place(one): _score(one) for one in before.operations}
    for act in ledger.acts:
        if act.kind not in NAMED_BY or not (_lost_some(act, lines) or _stood_still(act, lines)):
            continue
        for one in after.operations:
            place = _place(one)
            if place == (act.kind, act.link, _subject(act)) and 0 < was.get(place, 9) <= _score(one):
                yield Wrong("a loss that nobody noticed", _text(one))


def _place(operation: Operation) -> tuple[str, str, object]:
    named = NAMED_BY.get(operation.kind, "")
    return (operation.kind, operation.link.key, operation.details.get(named) if named else None)


def _subject(act: Act) -> str | None:
    return act.subject if NAMED_BY[act.kind] else None


def _lost_some(act: Act, lines: Lines) -> bool:
    kept = {line.origin for line in lines}
    left = [[row in kept for row in item.rows] for item in act.exchanges]
    seen = [rows for item, rows in zip(act.exchanges, left, strict=True) if item.ask.data[0] != 0x31 or any(rows)]
    return any(any(rows) for rows in left) and not all(all(rows) for rows in seen)


def _stood_still(act: Act, lines: Lines) -> bool:
    """Between two frames of it in a row more time passes than any module waits."""
    rows = sorted({row for item in act.exchanges if item.ask.data[0] != 0x31 for row in item.rows})
    times = {line.origin: line.row.time_us for line in lines}
    return any(times[b] - times[a] > STILL_US for a, b in pairwise(rows) if a in times and b in times)


def _alters_an_identity(ledger: Ledger, lines: Lines) -> bool:
    """An identity read, before or after, is another by one bit: it may then seem changed where it was not."""
    carried = {key for module in ledger.scene.modules.values() for values in module.carries.values() for key in values}
    hit = [ledger.said_of_row[line.origin][0] for line in lines if line.altered and line.origin in ledger.said_of_row]
    return any(said.data[0] == 0x62 and int.from_bytes(said.data[1:3], "big") in carried for said in hit)


def _lacks_a_download(ledger: Ledger, lines: Lines) -> bool:
    """The erase or the request of a download is not there, or not in front of its blocks.

    The other of several then looks like the only part, or its blocks stand behind the request of another attempt and
    are that one's: what they were before is no measure.
    """
    spoilt = Spoilt(ledger, lines)
    return any(_has_no_head(act, spoilt) for act in ledger.acts if act.kind == "download")


def _has_no_head(act: Act, spoilt: Spoilt) -> bool:
    heads = [spoilt.places(item.ask) for item in act.exchanges if item.ask.data[0] in (0x31, 0x34)]
    blocks = [spoilt.places(item.ask) for item in act.exchanges if item.ask.data[0] == 0x36]
    first = min((lines[0] for lines in blocks if lines), default=0)
    return any(lines is None or (first and lines[-1] > first) for lines in heads)


def _score(operation: Operation) -> int:
    return RANK[operation.outcome.confidence] if operation.outcome.word is Word.CONFIRMED else 0


def _text(operation: Operation) -> str:
    proof = [(list(one.lines), one.text) for one in operation.outcome.proof]
    return f"{operation.kind} {operation.subject} on {operation.link.key}, {operation.outcome.confidence}: {proof}"


def _stands(operation: Operation, spoilt: Spoilt, *, programmed: bool) -> bool:
    """``programmed``: every act of programming is confirmed.

    A block that stands behind the module's own check is an act without a request there, and keeps the whole from
    being confirmed; the download itself may then stand on the check.
    """
    listed = [list(item.lines) for item in operation.outcome.proof]
    if operation.kind in SUPPORTING:
        return any(_is_whole(lines, spoilt, strict=False) for lines in listed)
    if operation.kind is Kind.ROUTINE and operation.part is None and _has_an_equal_answer(spoilt, listed):
        return True
    pairs = [(act, proof) for act in _candidates(operation, spoilt) for proof in act.proofs]
    return any(_proves(act, proof, spoilt, listed, programmed=programmed) for act, proof in pairs)


def _has_an_equal_answer(spoilt: Spoilt, listed: list[list[int]]) -> bool:
    """A step of a download whose answer is, byte for byte, that of another exchange of the same step."""
    for lines in listed:
        first, last = spoilt.lines[lines[0] - 1], spoilt.lines[lines[-1] - 1]
        for item in spoilt.ledger.exchanges:
            answer = spoilt.ledger.rows[item.answer.rows[-1]]
            is_equal = (answer.can_id, answer.data) == (last.row.can_id, last.row.data)
            if item.ask.rows[0] == first.origin and spoilt.places(item.ask) and is_equal:
                return True
    return False


def _candidates(operation: Operation, spoilt: Spoilt) -> list[Act]:
    origin = spoilt.lines[operation.begin[1] - 1].origin
    acts = [act for act in spoilt.ledger.acts if act.kind == operation.kind and act.link == operation.link.key]
    if operation.kind is Kind.ROUTINE:
        return acts
    subject = operation.details.get("identifier", operation.details.get("address"))
    return [act for act in acts if origin in act.rows] + [act for act in acts if subject in (None, act.subject)]


def _proves(act: Act, proof: Proof, spoilt: Spoilt, listed: list[list[int]], *, programmed: bool) -> bool:
    """The proof is whole, behind the act, listed, and the act is as whole as this proof needs it."""
    spans = [_listed(spoilt.spans(part), listed) for part in proof.parts]
    if any(span is None for span in spans):
        return False
    first = min(span[0] for span in spans if span is not None)
    if proof.signs and not _has_sign(act.link, proof, first, spoilt, listed):
        return False
    if not proof.by_module and not all(spoilt.has(item) for item in act.exchanges):
        return False
    if proof.by_module:
        ends = [span[1] for item in act.exchanges if (span := spoilt.span(item)) is not None]
    else:
        ends = [spoilt.end(item) for item in act.exchanges]
    if any(end > first for end in ends) and (programmed or not proof.by_module):
        return False
    return act.kind != "write" or _survives_restart(act, first, spoilt)


def _has_sign(link: str, proof: Proof, check: int, spoilt: Spoilt, listed: list[list[int]]) -> bool:
    """One of the signs is listed and stands behind a restart behind the check."""
    restarts = [span for item in spoilt.ledger.restarts(link) if (span := spoilt.span(item)) is not None]
    begin = min((span[1] for span in restarts if span[0] > check), default=None)
    firsts = {lines[0] for lines in listed}
    signs = [span[0] for item in proof.signs for span in spoilt.spans(item, strict=False)]
    return begin is not None and any(begin < sign and sign in firsts for sign in signs)


def _survives_restart(act: Act, read: int, spoilt: Spoilt) -> bool:
    """Read behind the first restart that follows the write, if one does."""
    done = max(spoilt.end(item) for item in act.exchanges)
    spans = [span for item in spoilt.ledger.restarts(act.link) if (span := spoilt.span(item)) is not None]
    behind = [span[1] for span in spans if span[0] > done]
    return not behind or min(behind) < read


def _listed(spans: list[tuple[int, int]], listed: list[list[int]]) -> tuple[int, int] | None:
    """The span that the report names as its evidence."""
    return next((span for span in spans if any((lines[0], lines[-1]) == span for lines in listed)), None)


def _is_whole(lines: list[int], spoilt: Spoilt, *, strict: bool = True) -> bool:
    """Evidence that is an exchange as it was, or frames of the background."""
    if all(spoilt.lines[line - 1].origin not in spoilt.ledger.said_of_row for line in lines):
        return True
    return any(_listed(spoilt.spans(item, strict=strict), [lines]) for item in spoilt.ledger.exchanges)
