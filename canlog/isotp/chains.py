"""Whole messages seen in columns: which stretches of a strand are beyond any doubt.

Theory of operation. Only the knots of the strand are looked at, their tails count on by themselves. A knot
is *linked* when it does nothing but continue the frame before it: flow control that says "continue", or the
consecutive frame with the next number; in order of time, without delay. A message is a first frame and as
many linked frames as its length asks for, with flow control exactly where the block size wants it; or it
is a single frame. Nothing is judged here: whatever breaks or bends a rule
of :mod:`canlog.isotp.reassembly`, or only might, is no whole message and is left to that module.

Source: ISO 15765-2:2016, 9 (M), as the readable state machine has it.
"""

from __future__ import annotations

from typing import Final, NamedTuple, TypeVar

import numpy as np

from canlog.frames import Ints
from canlog.isotp.pci import LARGEST_SHORT_LENGTH, STMIN_NS, is_reserved_stmin
from canlog.isotp.shapes import CONSECUTIVE, FIRST, FLOW, SINGLE, announced_length, byte_at
from canlog.isotp.strand import DELAY_NS, Directory, Knots, Mask

_IS_RESERVED_STMIN: Final = np.array([is_reserved_stmin(byte) for byte in range(256)])


class Links(NamedTuple):
    """How each knot goes on from the frame before it. All have shape (k,)."""

    is_linked: Mask
    is_full: Mask  # as long as the frame before of its side


class Singles(NamedTuple):
    """Messages of one frame: all have shape (m,)."""

    knot: Ints
    start: Ints  # of the payload, in the frame
    length: Ints


class Longs(NamedTuple):
    """Whole messages of several frames: all have shape (m,)."""

    first: Ints  # knots, both included
    last: Ints  # its tail belongs to the message
    start: Ints  # of the payload, in the first frame
    length: Ints
    piece: Ints  # payload bytes of a full consecutive frame
    n_frames: Ints
    block_size: Ints
    separation_ns: Ints
    n_flows: Ints
    longest_gap_ns: Ints


class Firsts(NamedTuple):
    """First frames as announcements: all have shape (m,)."""

    knot: Ints
    start: Ints  # of the payload, in the frame
    length: Ints  # of the message
    n_pieces: Ints  # consecutive frames the length needs
    piece: Ints  # payload bytes of a full one


Found = TypeVar("Found", Singles, Firsts, Longs)


def only(found: Found, wanted: Mask) -> Found:
    """The messages of a mask of shape (m,)."""
    return found if wanted.all() else type(found)(*(column[wanted] for column in found))


def find_links(knots: Knots, directory: Directory) -> Links:
    """Which knots only continue the frame before them."""
    shape, side, before = knots.shape, knots.side, knots.before
    here = np.arange(len(knots))
    is_free = ~knots.is_odd & (knots.gap_ns >= 0) & (knots.gap_ns < DELAY_NS)
    is_free[1:] &= knots.family[1:] == knots.family[:-1]
    is_free[:1] = False

    # Consecutive frames: behind the frame before of the same side, but for one flow control.
    number = knots.control & 0x0F
    due = np.where(
        shape == CONSECUTIVE, (number + 1 + knots.last - knots.frame) & 0x0F, np.where(shape == FIRST, 1, -1)
    )
    behind_flow = np.zeros(len(knots), dtype=bool)
    behind_flow[1:] = shape[:-1] == FLOW
    is_near = (before >= 0) & ((before == here - 1) | behind_flow & (before == here - 2))
    is_next = (shape == CONSECUTIVE) & is_near & (number == due[before])
    is_linked = is_next & is_free

    flow = np.flatnonzero((shape == FLOW) & is_free)
    served = shape[flow - 1]
    is_answer = ((served == FIRST) | (served == CONSECUTIVE)) & directory.serves[side[flow], side[flow - 1]]
    is_continue = (number[flow] == 0) & ~_IS_RESERVED_STMIN[_flow_byte(knots, flow, 2)]
    is_linked[flow] = is_answer & is_continue
    return Links(is_linked, knots.length == knots.length[before])


def _flow_byte(knots: Knots, flow: Ints, at: int) -> Ints:
    """Block size (1) or separation time (2) of flow control."""
    return byte_at(knots.strand.payload, knots.offset[flow], knots.address_bytes[flow] + at)


def find_singles(knots: Knots) -> Singles:
    """The single frames without any deviation."""
    knot = np.flatnonzero((knots.shape == SINGLE) & ~knots.is_odd)
    at, size = knots.address_bytes[knot], knots.length[knot]
    is_long = size > 8
    length = knots.control[knot] & 0x0F
    if is_long.any():
        length = np.where(is_long, byte_at(knots.strand.payload, knots.offset[knot], at + 1), length)
    start = at + 1 + is_long
    needs_its_form = ~is_long | (length >= 8 - at)
    return only(Singles(knot, start, length), needs_its_form)


def find_firsts(knots: Knots, directory: Directory) -> Firsts:
    """The first frames without any deviation."""
    knot = np.flatnonzero((knots.shape == FIRST) & ~knots.is_odd & directory.takes_long[knots.side])
    at, size = knots.address_bytes[knot], knots.length[knot]
    length, is_escape = announced_length(knots.strand.payload, knots.offset[knot], at)
    start = at + np.where(is_escape, 6, 2)
    piece = size - 1 - at
    needs_its_form = ~is_escape | (length > LARGEST_SHORT_LENGTH)
    return only(Firsts(knot, start, length, -(-(length - size + start) // piece), piece), needs_its_form)


def find_longs(knots: Knots, links: Links, firsts: Firsts) -> Longs:
    """The messages of several frames of which nothing is missing or out of place."""
    is_flow = (knots.shape == FLOW) & links.is_linked
    flow = np.flatnonzero(is_flow)
    # At once after the first frame comes flow control.
    first, start, length, n_pieces, piece = only(firsts, np.append(is_flow, False)[firsts.knot + 1])
    size = knots.length[first]
    block_size = _flow_byte(knots, first + 1, 1)
    block = np.where(block_size > 0, block_size, n_pieces)
    n_flows = -(-n_pieces // block)
    frame = knots.frame[first]
    last_frame = frame + n_pieces + n_flows
    last = np.searchsorted(knots.frame, last_frame, side="right") - 1
    rest = length - (size - start) - (n_pieces - 1) * piece

    flow_begin = np.searchsorted(flow, first)
    is_whole = knots.last[last] == last_frame
    is_whole &= np.searchsorted(flow, last, side="right") - flow_begin == n_flows
    is_whole &= _none_between(~links.is_linked, first, last)
    # All frames but the last are full.
    has_tail = knots.last[last] > knots.frame[last]
    is_whole &= _none_between(~links.is_full & (knots.shape == CONSECUTIVE), first, last - ~has_tail)
    is_whole &= (knots.length[last] <= size) & (knots.length[last] - size + piece >= rest)

    # Each flow control stands at the end of a block and asks for the same block size.
    n_asked = np.where(is_whole, n_flows, 0)
    of = np.repeat(np.arange(len(first)), n_asked)
    mine = flow[flow_begin[of] + _count_up(n_asked)]
    is_due = (knots.frame[mine] - frame[of] - 1) % (block[of] + 1) == 0
    is_whole[of[~is_due | (_flow_byte(knots, mine, 1) != block_size[of])]] = False

    whole = np.flatnonzero(is_whole)
    last_flow = flow[flow_begin[whole] + n_flows[whole] - 1]
    return Longs(
        first=first[whole],
        last=last[whole],
        start=start[whole],
        length=length[whole],
        piece=piece[whole],
        n_frames=n_pieces[whole] + 1,
        block_size=block_size[whole],
        separation_ns=STMIN_NS[_flow_byte(knots, last_flow, 2)],
        n_flows=n_flows[whole],
        longest_gap_ns=_longest(knots.strand.gap_ns, frame[whole] + 1, last_frame[whole] + 1),
    )


def _none_between(wrong: Mask, first: Ints, last: Ints) -> Mask:
    """Whether no knot is wrong from behind ``first`` to ``last``."""
    count = np.cumsum(wrong)
    none: Mask = count[last] == count[first]
    return none


def find_open_ends(knots: Knots, links: Links, firsts: Firsts) -> set[int]:
    """The first frames, as knots, whose message goes on behind their family's last frame, for all that can be seen."""
    open_ends = set()
    begin = 0
    for end in knots.family_ends():
        which = int(np.searchsorted(firsts.knot, end)) - 1
        if which >= 0 and (knot := int(firsts.knot[which])) >= begin and links.is_linked[knot + 1 : end].all():
            n_behind = int(knots.last[end - 1] - knots.frame[knot])
            n_pieces = n_behind - np.count_nonzero(knots.shape[knot + 1 : end] == FLOW)
            if n_pieces < firsts.n_pieces[which]:
                open_ends.add(knot)
        begin = end
    return open_ends


def _count_up(sizes: Ints) -> Ints:
    """0, 1, … up to each of the sizes in turn."""
    ends = np.cumsum(sizes)
    return np.arange(ends[-1] if len(ends) else 0) - np.repeat(ends - sizes, sizes)


def _longest(values: Ints, begin: Ints, end: Ints) -> Ints:
    """The greatest value of each range; the ranges are not empty and do not overlap."""
    if not len(begin):
        return np.zeros(0, dtype=np.int64)
    borders = np.stack((begin, end), axis=1).ravel()
    longest: Ints = np.maximum.reduceat(np.append(values, 0), borders)[::2]
    return longest
