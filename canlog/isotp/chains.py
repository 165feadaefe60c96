"""Whole messages seen in columns: which stretches of a strand are beyond any doubt.

Theory of operation. A frame is *linked* when it does nothing but continue the one before it: flow control
that says "continue", or the consecutive frame with the next number; in order of time, without delay. A
message is a first frame and as many linked frames as its length asks for, with flow control exactly where
the block size wants it; or it is a single frame. Nothing is judged here: whatever breaks or bends a rule
of :mod:`canlog.isotp.reassembly`, or only might, is no whole message and is left to that module.

Source: ISO 15765-2:2016, 9 (M), as the readable state machine has it.
"""

from __future__ import annotations

from typing import Final, NamedTuple, TypeVar

import numpy as np

from canlog.frames import Ints
from canlog.isotp.pci import LARGEST_SHORT_LENGTH, STMIN_NS, is_reserved_stmin
from canlog.isotp.reassembly import N_BS_NS, N_CR_NS
from canlog.isotp.shapes import CONSECUTIVE, FIRST, FLOW, SINGLE, announced_length, byte_at
from canlog.isotp.strand import Directory, Mask, Strand

#: A message goes on sooner than this, else a time-out has passed.
DELAY_NS: Final = min(N_BS_NS, N_CR_NS)

_IS_RESERVED_STMIN: Final = np.array([is_reserved_stmin(byte) for byte in range(256)])


class Links(NamedTuple):
    """How each frame of a strand goes on from the one before it. All have shape (n,)."""

    gap_ns: Ints  # since the frame before in the strand
    is_linked: Mask
    is_full: Mask  # as long as the frame before of its side


class Singles(NamedTuple):
    """Messages of one frame: all have shape (m,)."""

    frame: Ints  # in the strand
    start: Ints  # of the payload, in the frame
    length: Ints


class Longs(NamedTuple):
    """Whole messages of several frames: all have shape (m,)."""

    first: Ints  # frames of the strand, both included
    last: Ints
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

    frame: Ints  # in the strand
    start: Ints  # of the payload, in the frame
    length: Ints  # of the message
    n_pieces: Ints  # consecutive frames the length needs
    piece: Ints  # payload bytes of a full one


Found = TypeVar("Found", Singles, Firsts, Longs)


def only(found: Found, wanted: Mask) -> Found:
    """The messages of a mask of shape (m,)."""
    return found if wanted.all() else type(found)(*(column[wanted] for column in found))


def find_links(strand: Strand, directory: Directory) -> Links:
    """Which frames only continue the one before them."""
    shape, side, before = strand.shape, strand.side, strand.before
    here = np.arange(len(strand))
    gap_ns = np.diff(strand.time_ns, prepend=strand.time_ns[:1])
    is_free = ~strand.is_odd & (gap_ns >= 0) & (gap_ns < DELAY_NS)
    is_free[1:] &= strand.family[1:] == strand.family[:-1]
    is_free[:1] = False

    # Consecutive frames: behind the frame before of the same side, but for one flow control.
    number = strand.control & 0x0F
    due = np.where(shape == CONSECUTIVE, (number + 1) & 0x0F, np.where(shape == FIRST, 1, -1))
    behind_flow = np.zeros(len(strand), dtype=bool)
    behind_flow[1:] = shape[:-1] == FLOW
    is_near = (before >= 0) & ((before == here - 1) | behind_flow & (before == here - 2))
    is_next = (shape == CONSECUTIVE) & is_near & (number == due[before])
    is_linked = is_next & is_free

    flow = np.flatnonzero((shape == FLOW) & is_free)
    served = shape[flow - 1]
    is_answer = ((served == FIRST) | (served == CONSECUTIVE)) & directory.serves[side[flow], side[flow - 1]]
    separation = byte_at(strand.payload, strand.offset[flow], strand.address_bytes[flow] + 2)
    is_linked[flow] = is_answer & (strand.control[flow] & 0x0F == 0) & ~_IS_RESERVED_STMIN[separation]
    return Links(gap_ns, is_linked, strand.length == strand.length[before])


def find_singles(strand: Strand) -> Singles:
    """The single frames without any deviation."""
    frame = np.flatnonzero((strand.shape == SINGLE) & ~strand.is_odd)
    at, size = strand.address_bytes[frame], strand.length[frame]
    is_long = size > 8
    length = strand.control[frame] & 0x0F
    if is_long.any():
        length = np.where(is_long, byte_at(strand.payload, strand.offset[frame], at + 1), length)
    start = at + 1 + is_long
    needs_its_form = ~is_long | (length >= 8 - at)
    return only(Singles(frame, start, length), needs_its_form)


def find_firsts(strand: Strand, directory: Directory) -> Firsts:
    """The first frames without any deviation."""
    frame = np.flatnonzero((strand.shape == FIRST) & ~strand.is_odd & directory.takes_long[strand.side])
    at, size = strand.address_bytes[frame], strand.length[frame]
    length, is_escape = announced_length(strand.payload, strand.offset[frame], at)
    start = at + np.where(is_escape, 6, 2)
    piece = size - 1 - at
    needs_its_form = ~is_escape | (length > LARGEST_SHORT_LENGTH)
    return only(Firsts(frame, start, length, -(-(length - size + start) // piece), piece), needs_its_form)


def find_longs(strand: Strand, links: Links, firsts: Firsts) -> Longs:
    """The messages of several frames of which nothing is missing or out of place."""
    flow = np.flatnonzero((strand.shape == FLOW) & links.is_linked)
    # At once after the first frame comes flow control.
    first, start, length, n_pieces, piece = only(firsts, np.isin(firsts.frame + 1, flow, assume_unique=True))
    at, size = strand.address_bytes[first], strand.length[first]
    block_size = byte_at(strand.payload, strand.offset[first + 1], strand.address_bytes[first + 1] + 1)
    block = np.where(block_size > 0, block_size, n_pieces)
    n_flows = -(-n_pieces // block)
    last = first + n_pieces + n_flows
    rest = length - (size - start) - (n_pieces - 1) * piece
    flow_begin = np.searchsorted(flow, first)

    is_whole = (last < len(strand)) & (np.searchsorted(flow, last, side="right") - flow_begin == n_flows)
    end = np.where(is_whole, last, first)
    n_breaks = np.cumsum(~links.is_linked)
    n_odd_sizes = np.cumsum(~links.is_full & (strand.shape == CONSECUTIVE))
    is_whole &= n_breaks[end] == n_breaks[first]
    is_whole &= n_odd_sizes[np.maximum(end - 1, 0)] == n_odd_sizes[first]
    is_whole &= (strand.length[end] <= size) & (strand.length[end] - 1 - at >= rest)

    # Each flow control stands at the end of a block and asks for the same block size.
    of = np.repeat(np.arange(len(first)), np.where(is_whole, n_flows, 0))
    mine = flow[flow_begin[of] + _count_up(np.where(is_whole, n_flows, 0))]
    asked = byte_at(strand.payload, strand.offset[mine], strand.address_bytes[mine] + 1)
    is_due = ((mine - first[of] - 1) % (block[of] + 1) == 0) & (asked == block_size[of])
    is_whole[of[~is_due]] = False

    whole = np.flatnonzero(is_whole)
    last_flow = flow[flow_begin[whole] + n_flows[whole] - 1]
    separation = byte_at(strand.payload, strand.offset[last_flow], strand.address_bytes[last_flow] + 2)
    return Longs(
        first=first[whole],
        last=last[whole],
        start=start[whole],
        length=length[whole],
        piece=piece[whole],
        n_frames=n_pieces[whole] + 1,
        block_size=block_size[whole],
        separation_ns=STMIN_NS[separation],
        n_flows=n_flows[whole],
        longest_gap_ns=_longest(links.gap_ns, first[whole] + 1, last[whole] + 1),
    )


def find_open_ends(strand: Strand, links: Links, firsts: Firsts) -> set[int]:
    """The first frames whose message goes on behind their family's last frame, for all that can be seen."""
    ends = np.array(strand.family_ends())
    place = np.searchsorted(firsts.frame, ends) - 1
    begins = np.concatenate((np.zeros(1, dtype=np.int64), ends[:-1]))
    has_first = (place >= 0) & (firsts.frame[place] >= begins) if len(firsts.frame) else np.zeros(len(ends), dtype=bool)
    return {
        int(firsts.frame[which])
        for which, end in zip(place[has_first].tolist(), ends[has_first].tolist(), strict=True)
        if links.is_linked[firsts.frame[which] + 1 : end].all()
        and np.count_nonzero(strand.shape[firsts.frame[which] + 1 : end] == CONSECUTIVE) < firsts.n_pieces[which]
    }


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
