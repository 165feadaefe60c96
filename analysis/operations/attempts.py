"""Attempts at a transfer: erase, request, blocks, exit, cut out of a module's story.

A new request, a new erase behind a request, a change of session, a start of the module or the end of a capture
closes what is open: the transfer is then gone (ISO 14229-1:2020, 15 (M)). Where the module nevertheless accepts just
the step that was due, nobody had ended it: it goes on there, with a seam. Where a dialect has no exit (GMW3110) a
transfer is over when as many bytes were accepted as were announced.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.block_form import BlockForm, executes, form_of
from analysis.operations.model import Kind
from analysis.operations.routines import START, is_untouched, read_call
from analysis.operations.transfer_account import Account, keep_account
from analysis.story import Start, Story
from canlog.names.tables import Names
from canlog.services.dialects import KWP, UDS
from canlog.services.traits import TRANSFERRING, Act, AddressIn, routine_asked, traits_of

if TYPE_CHECKING:
    from analysis.record import Record

#: Refusals of a step that is not due by now, by dialect.
NOT_DUE = {UDS: frozenset({0x24}), KWP: frozenset({0x22})}
REQUEST_KINDS = {Act.DOWNLOAD: Kind.DOWNLOAD, Act.UPLOAD: Kind.UPLOAD, Act.FILE: Kind.FILE}


class Seam(NamedTuple):
    """Where something lies between two steps of a transfer, of which the second was just the one due."""

    why: str  # what lies there, in words
    before: Exchange  # the last step in front of it
    behind: Exchange  # the step that was due


@dataclass(slots=True)
class Attempt:
    """One attempt; every list is in order."""

    erases: list[Exchange] = field(default_factory=list)
    request: Exchange | None = None
    blocks: list[Exchange] = field(default_factory=list)
    exits: list[Exchange] = field(default_factory=list)
    closed_by: str = ""  # why nothing more came, in words; empty when the module's story simply ended
    closed_at: Place | None = None
    seams: list[Seam] = field(default_factory=list)
    _account: Account | None = None

    @property
    def exchanges(self) -> list[Exchange]:
        """All of them."""
        return [*self.erases, *([self.request] if self.request else []), *self.blocks, *self.exits]

    @property
    def kind(self) -> Kind:
        """Download, upload or file."""
        return REQUEST_KINDS[self.request.act] if self.request else Kind.DOWNLOAD

    @property
    def account(self) -> Account:
        """The account of the blocks."""
        if self._account is None:
            form = form_of(self.request, self.blocks, self.size)
            self._account = keep_account(self.blocks, form, upload=self.kind is Kind.UPLOAD)
        return self._account

    @property
    def ended(self) -> Exchange | None:
        """The exit that was answered positively, or the last block of a dialect that has none."""
        if self.has_exit:
            return next((item for item in reversed(self.exits) if item.positive), None)
        account = self.account
        is_all = self.size is not None and account.carried >= self.size and account.unanswered is None
        return self.blocks[-1] if is_all and self.blocks and self.blocks[-1].positive else None

    @property
    def exit_refused(self) -> Exchange | None:
        """The exit that was refused for good, where none was accepted.

        One that was sent again because its answer did not come may be refused as not due (24; 22 in KWP2000): the
        module took the first one. Then nothing was refused, if everything that was asked for had been carried.
        Source: ISO 14229-1:2020, 15.5 (M); ISO 14230-3 (M).
        """
        last = self.exits[-1] if self.exits and self.ended is None else None
        if last is None or last.outcome is not Answer.NEGATIVE:
            return None
        is_again = any(item.outcome is Answer.SILENT and item.whole for item in self.exits[:-1])
        return None if is_again and last.nrc in NOT_DUE.get(last.dialect, ()) and self._is_all_carried else last

    @property
    def _is_all_carried(self) -> bool:
        account = self.account
        if not account.blocks or account.problems or account.unanswered is not None or account.refused is not None:
            return False
        return self.transformed or self.size == account.carried

    def is_due(self, step: Exchange) -> bool:
        """A block or an exit was accepted that fits right behind what was carried."""
        if self.request is None or not self.request.positive or self.ended is not None or not step.positive:
            return False
        account = self.account
        if step.act is Act.EXIT:
            return bool(self.blocks) and (self.transformed or self.size in (None, account.carried))
        told = step.asked or step.answered
        mark = account.form.read(told).mark
        if account.due is None and mark is None:
            return self.size is not None and account.carried < self.size
        return mark is not None and mark == account.due

    def go_on(self, step: Exchange) -> None:
        """Open it again for the step that was due."""
        self.seams.append(Seam(self.closed_by, self.exchanges[-1], step))
        self.closed_by, self.closed_at, self._account = "", None, None

    @property
    def has_exit(self) -> bool:
        """Its dialect ends a transfer with a request of its own."""
        return traits_of(self.exchanges[0].dialect).transfer_end is not None

    @property
    def runs_itself(self) -> bool:
        """It was started in RAM: a helper program, not a part (GMW3110)."""
        return any(executes(block) for block in self.blocks)

    @property
    def end(self) -> Place:
        """Behind everything of it."""
        return max(exchange.end for exchange in self.exchanges)

    @property
    def begin(self) -> Place:
        """In front of everything of it."""
        return min(exchange.begin for exchange in self.exchanges)

    @property
    def address(self) -> int | None:
        """Start address asked for, or that of the first block where each has its own."""
        asked = self._asked("memory_address")
        if asked is None and self.blocks and traits_of(self.blocks[0].dialect).address_in is AddressIn.BLOCK:
            return form_of(self.request, self.blocks, self.size).read(self.blocks[0].asked).mark
        return asked

    @property
    def size(self) -> int | None:
        """Size asked for, in bytes, uncompressed."""
        return self._asked("memory_size")

    @property
    def transformed(self) -> bool:
        """Compressed or encrypted: the size asked cannot be compared with the bytes carried."""
        return bool(self._asked("data_format_identifier"))

    @property
    def erase_requests(self) -> set[bytes]:
        """What was asked to be erased."""
        return {item.asked for item in self.erases}

    def _asked(self, name: str) -> int | None:
        value = self.request.ask.get(name) if self.request and self.request.asked else None
        return value if isinstance(value, int) else None

    def erases_address(self, address: int) -> bool:
        """One of its erases names this address."""
        return any(_names(item, address) for item in self.erases)

    def same_thing(self, other: Attempt) -> bool:
        """Both change, or both only read, the same memory."""
        if (self.kind is Kind.UPLOAD) != (other.kind is Kind.UPLOAD):
            return False
        if self.address is None or other.address is None:
            return self._shares_erase(other)
        mine, theirs = self.memory, other.memory
        return mine.start < theirs.stop and theirs.start < mine.stop

    @property
    def memory(self) -> range:
        """The addresses asked for; empty without an address."""
        start = self.address or 0
        return range(start, start + (max(self.size or 1, 1) if self.address is not None else 0))

    def is_covered_by(self, later: Sequence[Attempt]) -> bool:
        """Later attempts leave nothing of this one's memory as it was; a corner written again does not."""
        if self.address is None or any(item.address is None for item in later):
            return bool(later)
        reached = self.memory.start
        for memory in sorted((item.memory for item in later), key=lambda memory: memory.start):
            if memory.start <= reached:
                reached = max(reached, memory.stop)
        return reached >= self.memory.stop

    @property
    def touched_nothing(self) -> bool:
        """Its erases were refused before they began, and it went no further: the memory is as it was."""
        is_begun = self.blocks or (self.request is not None and self.request.outcome is not Answer.NEGATIVE)
        return bool(self.erases) and not is_begun and all(is_untouched(item) for item in self.erases)

    def is_at(self, earlier: Attempt) -> bool:
        """Both are at the same memory: a request that nobody accepted is at none by itself."""
        accepted = self.request is None or self.request.positive
        return self.same_thing(earlier) if accepted else self._shares_erase(earlier)

    def replaces(self, earlier: Attempt) -> bool:
        """This one changes what an earlier one did; what touched nothing leaves one that ended as it was."""
        return self.is_at(earlier) and not (self.touched_nothing and earlier.ended is not None)

    def _shares_erase(self, other: Attempt) -> bool:
        return bool(self.erase_requests & other.erase_requests)


def _names(erase: Exchange, address: int) -> bool:
    """Its option holds the address, in as many bytes as the dialect's addresses have."""
    asked = routine_asked(erase.asked, erase.dialect)
    width = 4 if erase.dialect == UDS else 3
    return (
        asked is not None and address < 1 << 8 * width and address.to_bytes(width, "big") in erase.asked[asked.head :]
    )


def find_attempts(story: Story, names: Names) -> list[Attempt]:
    """All attempts at a transfer in a module's story, in order."""

    def is_erase(exchange: Exchange) -> bool:
        call = read_call(exchange, story.label, names)
        return call is not None and call.kind == "erase" and call.control == START

    return list(_Cutter(story, is_erase).cut())


def attempts_of(story: Story, record: Record) -> list[Attempt]:
    """The same, worked out once for all who ask."""
    if story.link.key not in record.attempts:
        record.attempts[story.link.key] = find_attempts(story, record.names)
    return record.attempts[story.link.key]


def block_form_of(exchange: Exchange, record: Record) -> BlockForm | None:
    """How a block is laid out, by the transfer that it belongs to; None for what is no block of one."""
    if exchange.act is not Act.BLOCK:
        return None
    if not record.block_forms:
        attempts = (attempt for story in record.stories for attempt in attempts_of(story, record))
        record.block_forms.update((block.number, one.account.form) for one in attempts for block in one.blocks)
    return record.block_forms.get(exchange.number)


class _Cutter:
    def __init__(self, story: Story, is_erase: Callable[[Exchange], bool]) -> None:
        self._story = story
        self._is_erase = is_erase
        self._open: Attempt | None = None
        self._done: list[Attempt] = []

    def cut(self) -> Iterator[Attempt]:
        starts = iter(self._story.starts)
        start = next(starts, None)
        capture = 0
        for exchange in self._story.exchanges:
            while start is not None and start.place <= exchange.begin:
                self._close_by_start(start)
                start = next(starts, None)
            if exchange.capture != capture and capture:
                self._close("the capture ends here", exchange.begin)
            capture = exchange.capture
            self._take(exchange)
        while start is not None:
            self._close_by_start(start)
            start = next(starts, None)
        self._close("", None)
        return iter(self._done)

    def _close_by_start(self, start: Start) -> None:
        if self._open is not None and start.place > self._open.begin:
            self._close("the module started anew", start.place)

    def _take(self, exchange: Exchange) -> None:
        if exchange.act in TRANSFERRING and exchange.link.functional:
            return  # sent to all modules, and none answered: nobody's transfer
        if exchange.act in REQUEST_KINDS:
            if self._open is not None and self._open.request is not None:
                self._close("another transfer was requested", exchange.begin)
            self._current().request = exchange
        elif exchange.act is Act.BLOCK:
            self._go_on(exchange)
            self._current().blocks.append(exchange)
        elif exchange.act is Act.EXIT:
            self._take_exit(exchange)
        elif exchange.act is Act.ROUTINE and self._is_erase(exchange):
            self._take_erase(exchange)
        elif exchange.session is not None and exchange.outcome in (Answer.POSITIVE, Answer.SUPPRESSED):
            self._close("the session was changed", exchange.begin)

    def _take_exit(self, exchange: Exchange) -> None:
        if self._open is None and self._done and self._done[-1].ended and not exchange.positive:
            self._done[-1].exits.append(exchange)  # the exit again, after it had been answered
            return
        self._go_on(exchange)
        attempt = self._current()
        attempt.exits.append(exchange)
        if exchange.positive:
            self._close("", None)

    def _go_on(self, step: Exchange) -> None:
        if self._open is None and self._done and self._done[-1].is_due(step):
            self._open = self._done.pop()
            self._open.go_on(step)

    def _take_erase(self, exchange: Exchange) -> None:
        current = self._open
        begun = current is not None and (current.request or current.blocks or current.exits)
        if begun or (current is not None and not current.erases[-1].positive):
            self._close("another erase was asked for", exchange.begin)
        self._current().erases.append(exchange)

    def _current(self) -> Attempt:
        if self._open is None:
            self._open = Attempt()
        return self._open

    def _close(self, why: str, place: Place | None) -> None:
        if self._open is not None:
            self._open.closed_by, self._open.closed_at = why, place
            self._done.append(self._open)
            self._open = None
