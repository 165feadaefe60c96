"""Where the blocks of a download lie in memory.

An addressed block says so itself. A counted one lies behind those in front of it, and where the counter jumps behind
those that are not in the capture too: as many as it skips, each as long as the others. That is taken only where
nothing else fits: every block but the last has one length, the jump is less than half the counter (a longer one is
disorder), and what was asked for has room for these blocks and for no turn of the counter (256 blocks) more. Blocks
whose place cannot be known have none.
Source: counter and its turn, ISO 14229-1:2020, 15.4 (M). One length for all blocks but the last: common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from analysis.operations.attempts import Attempt
from analysis.operations.block_form import COUNTED
from analysis.operations.transfer_account import Piece

#: Blocks in one turn of the counter.
TURN = 256


class Laid(NamedTuple):
    """A block and its place: behind the address asked for, or its own address."""

    start: int
    piece: Piece
    skipped: int = 0  # blocks right in front of it that are not in the capture

    @property
    def behind(self) -> int:
        """The place right behind it."""
        return self.start + self.piece.size


class Places(NamedTuple):
    """The blocks of one download: those with a place, in the order sent, and those without."""

    laid: tuple[Laid, ...]
    unplaced: tuple[Piece, ...] = ()


def place_blocks(attempt: Attempt) -> Places:
    """The place of each block that the capture shows."""
    account = attempt.account
    seen = [piece for piece in account.pieces if piece.message]
    if account.form.is_addressed:
        return _places(account.pieces, [Laid(piece.mark, piece) for piece in seen if piece.mark is not None])
    if account.form is COUNTED:
        seen = [piece for piece in seen if piece.mark is not None]
        skipped = list(_skipped_by_counter(seen))
    else:
        skipped = list(_skipped_in_a_row(account.pieces))
    length = _length(seen) if seen else None
    laid, at = [], 0
    for piece, blocks in list(zip(seen, skipped, strict=True))[: _n_sure(attempt, seen, skipped, length)]:
        at += blocks * (length or 0)
        laid.append(Laid(at, piece, blocks))
        at += piece.size
    return _places(account.pieces, laid)


def _places(pieces: Sequence[Piece], laid: Sequence[Laid]) -> Places:
    known = {id(one.piece) for one in laid}
    return Places(tuple(laid), tuple(piece for piece in pieces if piece.message and id(piece) not in known))


def _skipped_by_counter(seen: Sequence[Piece]) -> Iterator[int]:
    """Blocks that are missing in front of each one."""
    due = 1
    for piece in seen:
        mark = piece.mark or 0
        yield (mark - due) % TURN
        due = mark + 1


def _skipped_in_a_row(pieces: Sequence[Piece]) -> Iterator[int]:
    """The same for blocks without a counter: those of which only the answer is in the capture."""
    skipped = 0
    for piece in pieces:
        if piece.message:
            yield skipped
        skipped = 0 if piece.message else skipped + 1


def _length(seen: Sequence[Piece]) -> int | None:
    """The one length of all blocks but the last; None where there is none."""
    lengths = {piece.size for piece in seen[:-1]}
    return lengths.pop() if len(lengths) == 1 and seen[-1].size <= max(lengths) else None


def _n_sure(attempt: Attempt, seen: Sequence[Piece], skipped: Sequence[int], length: int | None) -> int:
    """How many of the blocks have a place that is known, from the first on."""
    size = None if attempt.transformed else attempt.size
    sent = sum(piece.size for piece in seen) + (length or 0) * sum(skipped)
    room = None if size is None else size - sent
    first_jump = next((at for at, blocks in enumerate(skipped) if blocks), None)
    if first_jump is None:
        return _n_sure_without_jump(attempt, seen, room, length)
    if room is None or length is None or max(skipped) * 2 >= TURN:
        return first_jump
    is_last_seen = attempt.ended is not None and seen[-1].size < length
    most = 0 if is_last_seen else TURN * length - 1
    return len(seen) if 0 <= room <= most else first_jump


def _n_sure_without_jump(attempt: Attempt, seen: Sequence[Piece], room: int | None, length: int | None) -> int:
    """Blocks may be missing where no mark tells it: all without a counter, and whole turns of one."""
    if attempt.ended is None or room is None or room <= 0:
        return len(seen)
    if attempt.account.form is not COUNTED:
        return 0
    is_whole_turns = length is not None and room % (TURN * length) == 0
    return 1 if is_whole_turns else len(seen)
