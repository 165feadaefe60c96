"""The account of a transfer: which blocks were sent, answered, repeated or are missing.

One row per block, kept in order. Sizes are in bytes. A counter starts at 01, goes up by one and runs
FF -> 00 -> 01; an addressed block continues where the one before it ended. The same mark again with the same data is
a legal repeat after a lost answer and counts once. Source: ISO 14229-1:2020, 15.4 (C: clause seen in published
material; counter rules M); GMW3110 1.6 for addressed blocks.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import NamedTuple

from analysis.exchanges import Answer, Exchange
from analysis.operations.block_form import COUNTED, BlockForm, Placed, executes


class Piece(NamedTuple):
    """The data of one accepted block, the mark that it bears, and what no frame brought."""

    mark: int | None  # counter or address; None where it has none, or none is in the capture
    size: int
    form: BlockForm
    message: bytes  # that brought it; no copy of its data is kept, a download may be as large as memory
    missing: tuple[tuple[int, int], ...]  # half-open ranges of the data
    exchange: Exchange

    @property
    def data(self) -> bytes:
        """``size`` bytes; zeros where no frame brought them."""
        return self.form.read(self.message).data.ljust(self.size, b"\0")


@dataclass(slots=True)
class Account:
    """Running account of one transfer."""

    upload: bool = False  # the bytes are in the answers
    form: BlockForm = COUNTED
    pieces: list[Piece] = field(default_factory=list)  # one a block, in order
    carried: int = 0  # bytes of blocks answered positively
    blocks: int = 0
    due: int | None = None  # the mark of the next block; None: any
    problems: list[str] = field(default_factory=list)  # the account is open
    doubts: list[str] = field(default_factory=list)  # legal or harmless, but less sure
    seen_whole: bool = True  # every block's bytes and answer are in the capture
    refused: Exchange | None = None  # the last block was refused for good
    unanswered: Exchange | None = None  # the last block has no answer
    unseen: list[Exchange] = field(default_factory=list)  # blocks accepted without an answer in the capture
    _last: Placed | None = None
    _left_at: int | None = None  # the address that was due where the last block went elsewhere

    def __post_init__(self) -> None:
        if self.form is COUNTED:
            self.due = 1

    def add(self, exchange: Exchange) -> None:
        """Take one block's exchange into the account."""
        if self._is_wrong_echo(exchange) or self._is_late_answer(exchange):
            return
        request = exchange.response if self.upload else exchange.request
        placed = self._placed(exchange)
        size = self.form.size(request.length) if request else 0
        if exchange.outcome is Answer.NEGATIVE:
            self.refused, self.unanswered = exchange, None
            return
        if not exchange.positive:
            self.unanswered = exchange
            return
        if request is None or not request.complete:
            self.seen_whole = False
            text = f"{self.form.said(placed.mark)} is not whole in the capture, but was answered positively"
            self.doubts.append(text)
        if self._is_repeat(placed) or (executes(exchange) and not placed.data):
            return  # an order to run what was carried carries nothing itself
        if self.unanswered is not None and self._follows_unanswered(placed.mark):
            self._accept_unanswered(self.unanswered)
        self._compare(placed.mark)
        self.refused = self.unanswered = None
        self._take(placed, size, exchange, request.data if request else b"")

    @property
    def data(self) -> list[bytes]:
        """The data of each block, in order; zeros where no frame brought it."""
        return [piece.data for piece in self.pieces]

    def _is_wrong_echo(self, exchange: Exchange) -> bool:
        """An answer that nothing asked for behind a block without one: it names another block."""
        if exchange.request is not None or self.unanswered is None or self.upload or self.form is not COUNTED:
            return False
        mark, echo = self._placed(self.unanswered).mark, self.form.read(exchange.answered).mark
        if not exchange.positive or mark is None or echo in (None, mark):
            return False
        self.problems.append(f"block {mark:02X} was answered with counter {echo:02X} (line {exchange.begin[1]})")
        return True

    def _is_late_answer(self, exchange: Exchange) -> bool:
        """The answer to the last block, without its request: that stands in front of the end of a capture."""
        asked = self.unanswered
        if exchange.request is not None or asked is None or self.upload or not exchange.positive:
            return False
        placed = self._placed(asked)
        if placed.mark is None or self.form.read(exchange.answered).mark != placed.mark or self._is_repeat(placed):
            return False
        if asked.request is None or not asked.request.complete:
            self.seen_whole = False
            self.doubts.append(
                f"{self.form.said(placed.mark)} is not whole in the capture, but was answered positively"
            )
        self._compare(placed.mark)
        self._take(placed, self._asked_size(), asked, asked.asked)
        self.refused = self.unanswered = None
        return True

    @property
    def lost(self) -> int:
        """Bytes of accepted blocks that no frame in the capture brought."""
        return sum(end - start for piece in self.pieces for start, end in piece.missing)

    @property
    def is_unheard(self) -> bool:
        """Blocks were taken, and no byte of them is in the capture: only the other direction is."""
        return bool(self.pieces) and not any(piece.message for piece in self.pieces)

    def _take(self, placed: Placed, size: int, exchange: Exchange, message: bytes) -> None:
        self.pieces.append(Piece(placed.mark, size, self.form, message, self._missing(exchange, size), exchange))
        self.carried += size
        self.blocks += 1
        self.due = self.form.next_mark(placed, size)
        self._last = placed

    def _missing(self, exchange: Exchange, size: int) -> tuple[tuple[int, int], ...]:
        """Ranges of a block's data that are not in the capture."""
        message = exchange.response if self.upload else exchange.request
        if message is None:
            return ((0, size),) if size else ()
        head = self.form.head
        ranges = ((max(part.start - head, 0), min(part.end - head, size)) for part in message.missing)
        return tuple((start, end) for start, end in ranges if start < end)

    def _compare(self, mark: int | None) -> None:
        """A counter out of turn leaves the account open; an address out of turn may be another piece of memory.

        It is not where the block behind it goes on as if the one out of turn had stood in its place.
        """
        left_at, self._left_at = self._left_at, None
        if left_at is not None and self._last is not None and mark == left_at + len(self._last.data):
            self.problems.append(f"{self.form.said(self._last.mark)} stands where {left_at:08X} was due")
            return
        if self.due is None or mark == self.due:
            return
        if mark is not None and self._last is None and not self.form.is_addressed:
            self.problems.append(f"the first block in the capture is {mark:02X}: those in front of it are not in it")
        elif mark is None:
            self.problems.append(f"a block whose counter is not in the capture, where {self.due:02X} was due")
        elif self.form.is_addressed:
            self._left_at = self.due
            self.doubts.append(
                f"{self.form.said(mark)} does not continue the one before it, which ended at {self.due:08X}"
            )
        else:
            self.problems.append(f"block counter {mark:02X} where {self.due:02X} was due")

    def _follows_unanswered(self, mark: int | None) -> bool:
        """The module went on to the next mark, so it had the block whose answer is not in the capture."""
        if self.unanswered is None or mark is None:
            return False
        before = self._placed(self.unanswered)
        is_due = self.due is None or before.mark == self.due
        return before.mark is not None and is_due and mark == self.form.next_mark(before, self._asked_size())

    def _asked_size(self) -> int:
        request = self.unanswered.request if self.unanswered else None
        return self.form.size(request.length) if request else 0

    def _accept_unanswered(self, exchange: Exchange) -> None:
        placed = self._placed(exchange)
        self.seen_whole = False
        self.unseen.append(exchange)
        text = f"the answer to {self.form.said(placed.mark)} is not in the capture, but the next block was accepted"
        self.doubts.append(text)
        self._take(
            Placed(placed.mark, self.form.read(exchange.asked).data), self._asked_size(), exchange, exchange.asked
        )

    def _is_repeat(self, placed: Placed) -> bool:
        last = self._last
        if last is None or placed.mark is None or placed.mark != last.mark or placed.mark == self.due:
            return False
        self.refused = self.unanswered = None
        said = self.form.said(placed.mark)
        if placed.data == last.data:
            self.doubts.append(f"{said} was sent twice with the same bytes (counted once)")
        else:
            self.problems.append(f"{said} was sent twice with different bytes")
        return True

    def _placed(self, exchange: Exchange) -> Placed:
        """The block's mark, from the answer where the request is too short to hold it, and its data."""
        message = exchange.response if self.upload else exchange.request
        placed = self.form.read(message.data if message else b"")
        asked = self.form.read(exchange.asked) if len(exchange.asked) > 1 else None
        if self.form.is_addressed:
            return placed
        told = asked if asked is not None else self.form.read(exchange.answered)
        return Placed(told.mark, placed.data)


def keep_account(exchanges: Iterable[Exchange], form: BlockForm = COUNTED, *, upload: bool = False) -> Account:
    """The account of the blocks given."""
    account = Account(upload, form)
    for exchange in exchanges:
        account.add(exchange)
    return account
