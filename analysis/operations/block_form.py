"""How the blocks of one transfer are laid out: what stands in front of the data, and what tells them apart.

UDS counts blocks; KWP2000 does so in some modules (``kwp.blocks_are_counted``); GMW3110 addresses each block.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

from analysis.exchanges import Exchange
from canlog.services.gmw3110 import EXECUTE, address_bytes_of
from canlog.services.kwp import blocks_are_counted
from canlog.services.traits import AddressIn, BlockCounter, traits_of

COUNTER_BYTES = 2


class Placed(NamedTuple):
    """The mark of a block (counter or address; None where it has none) and its data."""

    mark: int | None
    data: bytes


@dataclass(frozen=True, slots=True)
class BlockForm:
    """``head`` bytes in front of the data, of which those from ``mark_from`` on are the mark."""

    head: int = COUNTER_BYTES
    mark_from: int = 1
    is_addressed: bool = False

    def read(self, message: bytes) -> Placed:
        """The parts of a block, also of one that is cut off inside its head."""
        if self.head == COUNTER_BYTES and not self.is_addressed:
            return Placed(message[1] if len(message) > 1 else None, message[COUNTER_BYTES:])
        mark = message[self.mark_from : self.head]
        return Placed(int.from_bytes(mark, "big") if mark and len(message) >= self.head else None, message[self.head :])

    def size(self, length: int) -> int:
        """Bytes of data in a block of this length."""
        return max(length - self.head, 0)

    def next_mark(self, placed: Placed, size: int) -> int | None:
        """The mark that the block behind this one has to bear; None where nothing is due."""
        if placed.mark is None:
            return None
        return placed.mark + size if self.is_addressed else (placed.mark + 1) & 0xFF

    def said(self, mark: int | None) -> str:
        """``block 1F``, or ``the block to 00021000``."""
        if mark is None:
            return "a block"
        return f"the block to {mark:08X}" if self.is_addressed else f"block {mark:02X}"


COUNTED = BlockForm()
BARE = BlockForm(head=1, mark_from=1)


def form_of(request: Exchange | None, blocks: Sequence[Exchange], size: int | None) -> BlockForm:
    """The form of a transfer's blocks, by its dialect and by the blocks themselves.

    Args:
        request: the exchange that asked for the transfer.
        blocks: those seen.
        size: bytes asked for, where known.
    """
    dialect = (request or blocks[0]).dialect if request or blocks else "uds"
    traits = traits_of(dialect)
    if traits.address_in is AddressIn.BLOCK:
        width = (address_bytes_of(request.asked) if request is not None else None) or 4
        return BlockForm(head=2 + width, mark_from=2, is_addressed=True)
    if traits.block_counter is not BlockCounter.BY_MODULE:
        return COUNTED
    asked = [item.asked for item in blocks if item.asked]
    for form in (COUNTED, BARE):
        if size is not None and sum(form.size(len(one)) for one in set(asked)) == size:
            return form
    counted = blocks_are_counted(asked, [item.answered for item in blocks if item.positive])
    if counted is None and asked:  # a single block, of a size unknown or another: the counter that a first block has
        counted = size is None and asked[0][1:2] == b"\x01"
    return COUNTED if counted else BARE


def executes(block: Exchange) -> bool:
    """GMW3110: the block asks the module to run what was carried."""
    return traits_of(block.dialect).can_execute_block and block.asked[1:2] == bytes([EXECUTE])
