"""Faults of a recording: each takes a clean session and hands back its spoilt lines.

Every line remembers the frame it came from, and which of its bytes are not as they were, so that the judge knows
what a fault touched without asking the product.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from random import Random

from simulator.bench import Bench
from simulator.sessions import play

from .ledger import Exchange, Ledger, Row, Said


@dataclass(frozen=True)
class Line:
    """A line of the spoilt recording."""

    row: Row
    origin: int  # number of the row it came from; -1: of none
    altered: frozenset[int] = frozenset()  # bytes that changed
    text: str = ""  # instead of the row's own

    @property
    def shown(self) -> str:
        return self.text or self.row.text

    def at(self, time_us: int) -> Line:
        return replace(self, row=replace(self.row, time_us=time_us))


Lines = list[Line]
READING, VALUE_FROM, NEGATIVE = 0x62, 3, 0x7F
#: What goes wrong in the sessions that other answers are taken from.
WRONG_DAYS = (("stores-other-value", "vin-not-stored"), ("parts-differ", "dtc-returns"), ("check-bad",))
Fault = Callable[[Ledger, Random], Lines]


def clean(ledger: Ledger) -> Lines:
    """The recording as it was."""
    return [Line(row, number) for number, row in enumerate(ledger.rows)]


def drop(ledger: Ledger, rnd: Random) -> Lines:
    """One to three diagnostic frames are missing."""
    lost = set(rnd.sample(ledger.diagnostic, rnd.choice((1, 1, 1, 2, 3))))
    return _without(ledger, lost)


def repeat(ledger: Ledger, rnd: Random) -> Lines:
    """A frame stands twice, at once or much later."""
    lines = clean(ledger)
    at = rnd.choice(ledger.diagnostic)
    if rnd.random() < 0.3:
        to = rnd.randrange(at, len(lines))
        return [*lines[: to + 1], lines[at].at(lines[to].row.time_us), *lines[to + 1 :]]
    later = lines[at].at(lines[at].row.time_us + rnd.choice((0, 14, 50, 300, 1000)))
    return [*lines[: at + 1], later, *lines[at + 1 :]]


def swap_neighbours(ledger: Ledger, rnd: Random) -> Lines:
    """Two diagnostic frames that follow each other change places, with their stamps or between them."""
    rows = ledger.diagnostic
    at = rnd.randrange(len(rows) - 1)
    lines = clean(ledger)
    one, two = rows[at], rows[at + 1]
    lines[one], lines[two] = lines[two], lines[one]
    return _stamped(lines, rnd)


def move(ledger: Ledger, rnd: Random) -> Lines:
    """One diagnostic frame stands elsewhere."""
    lines = clean(ledger)
    line = lines.pop(rnd.choice(ledger.diagnostic))
    lines.insert(rnd.randrange(len(lines) + 1), line)
    return _stamped(lines, rnd)


def alter(ledger: Ledger, rnd: Random) -> Lines:
    """One bit of a diagnostic frame is another."""
    return _flip(ledger, rnd.choice(ledger.diagnostic), rnd)


def alter_proof(ledger: Ledger, rnd: Random) -> Lines:
    """One bit of an answer that proves something."""
    rows = [row for item in _proving(ledger) for row in item.answer.rows]
    return _flip(ledger, rnd.choice(rows), rnd)


def alter_read_back(ledger: Ledger, rnd: Random) -> Lines:
    """One byte of a value that was read to prove something."""
    answers = [item.answer for item in _proving(ledger) if item.answer.data[0] == READING]
    said = rnd.choice(answers or [item.answer for item in _proving(ledger)])
    at = rnd.randrange(len(said.rows))
    first = said.heads[at] + max(VALUE_FROM - said.starts[at], 0)
    if first >= said.used(at):
        return _flip(ledger, said.rows[at], rnd)
    lines = clean(ledger)
    row, byte = ledger.rows[said.rows[at]], rnd.randrange(first, said.used(at))
    data = bytearray(row.data)
    data[byte] ^= rnd.randrange(1, 256)
    lines[said.rows[at]] = Line(replace(row, data=bytes(data)), said.rows[at], frozenset({byte}))
    return lines


def swap_answer(ledger: Ledger, rnd: Random) -> Lines:
    """An answer that proves something is another one to the same request: of another session, of an earlier time.

    Equal bytes would be no change; where every session has the same answer, a refusal stands there.
    """
    item = rnd.choice(_proving(ledger))
    rows, lines = item.answer.rows, clean(ledger)
    others = [one for one in answers_to(ledger, item) if one != _frames(ledger, item.answer) and len(one) == len(rows)]
    if not others:
        single = item.answer.heads[0] - (1 if len(rows) == 1 else 2)
        head = ledger.rows[rows[0]].data[:single]
        lines[rows[0]] = _said_otherwise(lines[rows[0]], head + bytes([3, NEGATIVE, item.ask.data[0], 0x22]))
        return [line for line in lines if line.origin not in {*rows[1:], *item.answer.flow}]
    for row, data in zip(rows, rnd.choice(others), strict=True):
        lines[row] = _said_otherwise(lines[row], data)
    return lines


def damage(ledger: Ledger, rnd: Random) -> Lines:
    """A diagnostic frame's line cannot be read any more."""
    lines = clean(ledger)
    at = rnd.choice(ledger.diagnostic)
    text = lines[at].shown
    spoilt = rnd.choice((text.replace("#", "?"), text[: rnd.randrange(1, 30)], text[20:], text + "Z", "####"))
    lines[at] = Line(lines[at].row, -1, text=spoilt)
    return lines


def cut_end(ledger: Ledger, rnd: Random) -> Lines:
    """The recording ends early, perhaps inside a line."""
    lines = clean(ledger)[: rnd.randrange(20, len(ledger.rows))]
    return half_line(lines, rnd) if rnd.random() < 0.5 else lines


def half_line(lines: Lines, rnd: Random) -> Lines:
    """The last line stops anywhere."""
    last = lines[-1]
    text = last.shown[: rnd.randrange(1, len(last.shown))]
    kept = text.partition("#")[2]
    whole = len(kept) // 2 if "#" in text and len(kept) % 2 == 0 else -1
    altered = frozenset(range(max(whole, 0), len(last.row.data)))
    return [*lines[:-1], Line(last.row, last.origin if whole >= 0 else -1, altered, text)]


def cut_begin(ledger: Ledger, rnd: Random) -> Lines:
    """The recording begins late."""
    return clean(ledger)[rnd.randrange(1, len(ledger.rows) - 20) :]


def cut_middle(ledger: Ledger, rnd: Random) -> Lines:
    """A piece of the recording is missing."""
    at = rnd.randrange(len(ledger.rows) - 1)
    to = min(len(ledger.rows), at + rnd.choice((2, 5, 20, 100)))
    return clean(ledger)[:at] + clean(ledger)[to:]


def retime_one(ledger: Ledger, rnd: Random) -> Lines:
    """One frame's stamp is another."""
    lines = clean(ledger)
    at = rnd.choice(ledger.diagnostic)
    lines[at] = lines[at].at(max(lines[at].row.time_us + _shift(rnd), 0))
    return lines


def retime_block(ledger: Ledger, rnd: Random) -> Lines:
    """The clock is set in the middle, or a stretch of stamps is off."""
    lines = clean(ledger)
    begin = rnd.randrange(len(lines))
    end = len(lines) if rnd.random() < 0.5 else rnd.randrange(begin, len(lines)) + 1
    by = _shift(rnd)
    return [line.at(max(line.row.time_us + by, 0)) if begin <= at < end else line for at, line in enumerate(lines)]


def remove_message(ledger: Ledger, rnd: Random) -> Lines:
    """A whole message is missing, with no frame of it left."""
    said = rnd.choice(ledger.said)
    return _without(ledger, {*said.rows, *said.flow})


def remove_proof(ledger: Ledger, rnd: Random) -> Lines:
    """An exchange that proves something is missing, or one half of it, or all of them that prove one act."""
    item = rnd.choice(_proving(ledger))
    acts = [act for act in ledger.acts if act.proofs]
    everything = {row for proof in rnd.choice(acts).proofs for part in proof.parts for row in part.with_flow}
    halves = ({*item.ask.rows, *item.ask.flow}, {*item.answer.rows, *item.answer.flow})
    return _without(ledger, rnd.choice((set(item.with_flow), *halves, everything)))


def swap_exchanges(ledger: Ledger, rnd: Random) -> Lines:
    """Two whole exchanges change places."""
    one, two = sorted(rnd.sample(ledger.exchanges, 2), key=lambda item: item.rows[0])
    if set(one.rows) & set(two.rows):
        return clean(ledger)  # one request to everybody, answered by two
    return _exchange_places(ledger, one, two, rnd)


def proof_before_act(ledger: Ledger, rnd: Random) -> Lines:
    """An exchange that proves an act changes places with an exchange of the act."""
    act = rnd.choice([act for act in ledger.acts if act.proofs and act.exchanges])
    proof = rnd.choice(rnd.choice(act.proofs).parts)
    return _exchange_places(ledger, rnd.choice(act.exchanges), proof, rnd)


def move_block(ledger: Ledger, rnd: Random) -> Lines:
    """A stretch of frames stands elsewhere; it begins anywhere, or with an exchange, or with a proof."""
    starts = rnd.choice(
        (
            range(len(ledger.rows)),
            [item.rows[0] for item in ledger.exchanges],
            [item.rows[0] for item in _proving(ledger)],
        )
    )
    begin = rnd.choice(starts)
    lines = clean(ledger)
    end = begin + rnd.choice((2, 4, 10, 30, 100, 300))
    piece, rest = lines[begin:end], lines[:begin] + lines[end:]
    to = rnd.randrange(len(rest) + 1)
    return _stamped([*rest[:to], *piece, *rest[to:]], rnd)


def remove_exchange(ledger: Ledger, rnd: Random) -> Lines:
    """An exchange of an act is missing whole."""
    item = rnd.choice([item for act in ledger.acts for item in act.exchanges])
    return _without(ledger, set(item.with_flow))


def remove_answer(ledger: Ledger, rnd: Random) -> Lines:
    """The answer to an exchange of an act is missing."""
    item = rnd.choice([item for act in ledger.acts for item in act.exchanges])
    return _without(ledger, {*item.answer.rows, *item.answer.flow})


def set_clock_forward(ledger: Ledger, rnd: Random) -> Lines:
    """Between two frames of an act the clock goes on by forty seconds."""
    rows = sorted({row for act in ledger.acts for item in act.exchanges for row in item.rows})
    begin = rnd.choice(rows)
    return [line.at(line.row.time_us + 40_000_000) if at >= begin else line for at, line in enumerate(clean(ledger))]


FAULTS: dict[str, Fault] = {
    fault.__name__: fault
    for fault in (
        drop, repeat, swap_neighbours, move, alter, alter_proof, damage, cut_end, cut_begin, cut_middle, retime_one,
        retime_block, remove_message, remove_proof, remove_exchange,
        remove_answer, set_clock_forward, swap_exchanges, proof_before_act, alter_read_back, swap_answer, move_block,
    )
}  # fmt: skip


@cache
def other_sessions(ledger: Ledger) -> tuple[Ledger, ...]:
    """The same bench on another day, with something wrong in each."""
    scene = ledger.scene
    if not isinstance(scene, Bench):
        return ()
    plans = [replace(scene.plan, faults=faults) for faults in WRONG_DAYS]
    return tuple(Ledger(play(plan, seed), named=ledger.named) for seed, plan in enumerate(plans, start=40))


def answers_to(ledger: Ledger, item: Exchange) -> list[list[bytes]]:
    """The frames of every answer to the same bytes asked on the same link, in these sessions and in this one."""
    return [
        _frames(where, one.answer)
        for where in (ledger, *other_sessions(ledger))
        for one in where.exchanges
        if one.link == item.link and one.ask.data == item.ask.data
    ]


def _frames(ledger: Ledger, said: Said) -> list[bytes]:
    return [ledger.rows[row].data for row in said.rows]


def _said_otherwise(line: Line, data: bytes) -> Line:
    was = line.row.data
    changed = {at for at in range(len(was)) if data[at : at + 1] != was[at : at + 1]}
    return replace(line, row=replace(line.row, data=data), altered=frozenset(changed))


def _without(ledger: Ledger, lost: set[int]) -> Lines:
    return [line for line in clean(ledger) if line.origin not in lost]


def _proving(ledger: Ledger) -> list[Exchange]:
    return list(dict.fromkeys(part for act in ledger.acts for proof in act.proofs for part in proof.parts))


def _flip(ledger: Ledger, at: int, rnd: Random) -> Lines:
    lines = clean(ledger)
    row = lines[at].row
    byte = rnd.randrange(len(row.data))
    data = bytearray(row.data)
    data[byte] ^= 1 << rnd.randrange(8)
    lines[at] = Line(replace(row, data=bytes(data)), at, frozenset({byte}))
    return lines


def _shift(rnd: Random) -> int:
    return rnd.choice((-1, 1)) * rnd.choice((1, 100, 20_000, 400_000, 3_000_000, 60_000_000, 10**10))


def _exchange_places(ledger: Ledger, one: Exchange, two: Exchange, rnd: Random) -> Lines:
    """The frames of each stand, in their order, where the other one began."""
    lines = clean(ledger)
    moved = {row for item in (one, two) for row in item.with_flow}
    places = {one.rows[0]: two.with_flow, two.rows[0]: one.with_flow}
    out: Lines = []
    for number, line in enumerate(lines):
        out += [lines[row] for row in places.get(number, ())]
        if number not in moved:
            out.append(line)
    return _stamped(out, rnd)


def _stamped(lines: Lines, rnd: Random) -> Lines:
    """Stamps travelled with their frames, or the clock tells nothing."""
    if rnd.random() < 0.5:
        return lines
    times = sorted(line.row.time_us for line in lines)
    return [line.at(time_us) for line, time_us in zip(lines, times, strict=True)]


def names_of(faults: Sequence[str] | None) -> list[str]:
    """The faults asked for, or all."""
    return list(faults) if faults else list(FAULTS)
