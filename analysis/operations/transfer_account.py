"""The account of a transfer: which blocks were sent, answered, repeated or are missing.

One row per TransferData exchange, kept in order. Sizes are in bytes. The counter starts at 01, goes up by one and
runs FF -> 00 -> 01; the same counter again with the same data is a legal repeat after a lost answer and counts
once. Source: ISO 14229-1:2020, 15.4 (C: clause seen in published material; counter rules M).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from analysis.exchanges import Answer, Exchange


@dataclass(slots=True)
class Account:
    """Running account of one transfer."""

    upload: bool = False  # the bytes are in the answers
    data: list[bytes] = field(default_factory=list)  # one entry a block, in order
    carried: int = 0  # bytes of blocks answered positively
    blocks: int = 0
    next_counter: int = 1
    problems: list[str] = field(default_factory=list)  # the account is open
    doubts: list[str] = field(default_factory=list)  # legal or harmless, but less sure
    seen_whole: bool = True  # every block's bytes and answer are in the capture
    refused: Exchange | None = None  # the last block was refused for good
    unanswered: Exchange | None = None  # the last block has no answer
    _last: tuple[int, bytes] | None = None

    def add(self, exchange: Exchange) -> None:
        """Take one TransferData exchange into the account."""
        request = exchange.response if self.upload else exchange.request
        counter = self._counter(exchange)
        payload = request.data[2:] if request else b""
        size = max(request.length - 2, 0) if request else 0
        if exchange.outcome is Answer.NEGATIVE:
            self.refused, self.unanswered = exchange, None
            return
        if not exchange.positive:
            self.unanswered = exchange
            return
        if request is None or not request.complete:
            self.seen_whole = False
            self.doubts.append(f"block {counter:02X} is not whole in the capture, but was answered positively")
        if self._is_repeat(counter, payload):
            return
        if self.unanswered is not None and self._follows_unanswered(counter):
            self._accept_unanswered(self.unanswered)
        if counter != self.next_counter:
            self.problems.append(f"block counter {counter:02X} where {self.next_counter:02X} was due")
        self.refused = self.unanswered = None
        self.data.append(payload.ljust(size, b"\0") if request else b"")
        self.carried += size
        self.blocks += 1
        self.next_counter = (counter + 1) & 0xFF
        self._last = (counter, payload)

    def _follows_unanswered(self, counter: int) -> bool:
        """The module went on to the next counter, so it had the block whose answer is not in the capture."""
        return self.unanswered is not None and (
            self._counter(self.unanswered) == self.next_counter and counter == (self.next_counter + 1) & 0xFF
        )

    def _accept_unanswered(self, exchange: Exchange) -> None:
        counter = self._counter(exchange)
        size = max(exchange.request.length - 2, 0) if exchange.request else 0
        self.seen_whole = False
        self.doubts.append(f"the answer to block {counter:02X} is not in the capture, but the next block was accepted")
        self.data.append(exchange.asked[2:].ljust(size, b"\0"))
        self.carried += size
        self.blocks += 1
        self.next_counter = (counter + 1) & 0xFF
        self._last = (counter, exchange.asked[2:])

    def _is_repeat(self, counter: int, payload: bytes) -> bool:
        if self._last is None or counter != self._last[0] or counter == self.next_counter:
            return False
        self.refused = self.unanswered = None
        if payload == self._last[1]:
            self.doubts.append(f"block {counter:02X} was sent twice with the same bytes (counted once)")
        else:
            self.problems.append(f"block {counter:02X} was sent twice with different bytes")
        return True

    @staticmethod
    def _counter(exchange: Exchange) -> int:
        source = exchange.asked if len(exchange.asked) > 1 else exchange.answered
        return source[1] if len(source) > 1 else 0


def keep_account(exchanges: Iterable[Exchange], *, upload: bool = False) -> Account:
    """The account of the TransferData exchanges given."""
    account = Account(upload)
    for exchange in exchanges:
        account.add(exchange)
    return account
