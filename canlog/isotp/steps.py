"""The transition table of one direction of one link, and the words for what can go wrong.

Theory of operation. A *side* is what one sender puts on one id (and address byte). It is in one
:class:`State`; every frame is one :class:`~canlog.isotp.pci.Pci`. Single, first and consecutive frames
act on the side that sent them; flow control travels against the data, so it acts on the opposite
side. :data:`STEPS` has an entry for every pair, "unexpected arrival" included: it names the method
that acts, the state afterwards and the rule that was broken.

A real receiver drops a message at the first broken rule. A listener does not know whether the fault
was on the bus or in the logger: it keeps collecting, says which rule was broken, and never calls the
message complete while a byte is missing.

Source: "unexpected arrival of N_PDU" and the error handling of ISO 15765-2:2016, 9.8 (M).
"""

from __future__ import annotations

from enum import IntEnum
from typing import Final, NamedTuple

from canlog.isotp.pci import ESCAPE_NOT_NEEDED, Pci


class State(IntEnum):
    """Where the message of one side stands."""

    IDLE = 0  # nothing open
    AWAITING_FLOW = 1  # first frame or end of a block seen, flow control is due
    HELD = 2  # flow control said wait
    COLLECTING = 3  # consecutive frames are due
    REFUSED = 4  # flow control said overflow: the sender must stop
    HEADLESS = 5  # consecutive frames whose first frame was not seen
    HOLED = 6  # the last place is filled, an earlier one is not: only a late frame can help


class Step(NamedTuple):
    """What a frame does to a side.

    ``then`` is the state afterwards, unless the act finds the message whole (IDLE), its block full
    (AWAITING_FLOW) or its last place filled before an earlier one (HOLED).
    """

    act: str  # method of Side
    then: State
    anomaly: str = ""  # the rule that was broken, see RULES


_S, _P = State, Pci
_FLOWS: Final = (Pci.CONTINUE, Pci.WAIT, Pci.OVERFLOW, Pci.RESERVED_STATUS)
_OPEN: Final = (State.AWAITING_FLOW, State.HELD, State.COLLECTING, State.REFUSED, State.HEADLESS, State.HOLED)

#: Total: State x Pci.
STEPS: Final[dict[tuple[State, Pci], Step]] = {
    (_S.IDLE, _P.SINGLE): Step("deliver", _S.IDLE),
    (_S.IDLE, _P.FIRST): Step("begin", _S.AWAITING_FLOW),
    (_S.IDLE, _P.CONSECUTIVE): Step("begin_headless", _S.HEADLESS, "consecutive-without-first"),
    **{(_S.IDLE, flow): Step("note", _S.IDLE, "flow-control-without-first") for flow in _FLOWS},
    # A new message ends the old one, whatever its state.
    **{(state, _P.SINGLE): Step("break_then_deliver", _S.IDLE, "cut-off-by-single") for state in _OPEN},
    **{(state, _P.FIRST): Step("break_then_begin", _S.AWAITING_FLOW, "cut-off-by-first") for state in _OPEN},
    # What belongs to no frame type changes nothing.
    **{(state, _P.INVALID): Step("note", state, "not-a-valid-frame") for state in State},
    (_S.AWAITING_FLOW, _P.CONSECUTIVE): Step("collect_unreleased", _S.COLLECTING),
    (_S.AWAITING_FLOW, _P.CONTINUE): Step("release", _S.COLLECTING),
    (_S.AWAITING_FLOW, _P.WAIT): Step("hold", _S.HELD),
    (_S.AWAITING_FLOW, _P.OVERFLOW): Step("refuse", _S.REFUSED, "overflow"),
    (_S.AWAITING_FLOW, _P.RESERVED_STATUS): Step("distrust", _S.AWAITING_FLOW, "flow-status-reserved"),
    (_S.HELD, _P.CONSECUTIVE): Step("collect", _S.COLLECTING, "consecutive-while-told-to-wait"),
    (_S.HELD, _P.CONTINUE): Step("release", _S.COLLECTING),
    (_S.HELD, _P.WAIT): Step("hold", _S.HELD),
    (_S.HELD, _P.OVERFLOW): Step("refuse", _S.REFUSED, "overflow"),
    (_S.HELD, _P.RESERVED_STATUS): Step("distrust", _S.HELD, "flow-status-reserved"),
    (_S.COLLECTING, _P.CONSECUTIVE): Step("collect", _S.COLLECTING),
    # A sender that is not waiting ignores flow control; a late or unasked one is only kept.
    (_S.COLLECTING, _P.CONTINUE): Step("release_late", _S.COLLECTING, "flow-control-unasked"),
    (_S.COLLECTING, _P.WAIT): Step("note_flow", _S.COLLECTING, "flow-control-unasked"),
    (_S.COLLECTING, _P.OVERFLOW): Step("note_flow", _S.COLLECTING, "flow-control-unasked"),
    (_S.COLLECTING, _P.RESERVED_STATUS): Step("note_flow", _S.COLLECTING, "flow-control-unasked"),
    (_S.REFUSED, _P.CONSECUTIVE): Step("collect", _S.REFUSED, "consecutive-after-overflow"),
    **{(_S.REFUSED, flow): Step("note_flow", _S.REFUSED, "flow-control-unasked") for flow in _FLOWS},
    (_S.HEADLESS, _P.CONSECUTIVE): Step("collect_headless", _S.HEADLESS),
    **{(_S.HEADLESS, flow): Step("note_flow", _S.HEADLESS) for flow in _FLOWS},
    (_S.HOLED, _P.CONSECUTIVE): Step("collect", _S.HOLED),
    **{(_S.HOLED, flow): Step("note_flow", _S.HOLED, "flow-control-unasked") for flow in _FLOWS},
}


class Rule(NamedTuple):
    """What an anomaly means."""

    text: str
    is_note: bool = False  # says nothing against the bytes of the message


#: Every anomaly id. Notes leave the bytes beyond doubt; the others mean that a real receiver may have
#: dropped the message, or that the order of the capture is not the order of the bus.
RULES: Final[dict[str, Rule]] = {
    "consecutive-without-first": Rule("consecutive frames whose first frame is not in the capture"),
    "flow-control-without-first": Rule("flow control that no first frame asked for", is_note=True),
    "flow-control-not-seen": Rule("consecutive frames follow without the flow control that is due", is_note=True),
    "consecutive-before-flow-control": Rule("a consecutive frame stands before the flow control that released it"),
    "flow-control-unasked": Rule("flow control while the sender was not waiting for one"),
    "flow-control-late": Rule("flow control 1 s or more after it was due (N_Bs)"),
    "consecutive-while-told-to-wait": Rule("a consecutive frame although flow control said wait"),
    "consecutive-after-overflow": Rule("a consecutive frame although flow control said overflow"),
    "separation-time-reserved": Rule("flow control with a reserved separation time, taken as 127 ms", is_note=True),
    "block-size-changed": Rule("flow control with another block size than the first", is_note=True),
    "follows-a-cut-off-message": Rule("came while another message of the same sender was open"),
    "repeated-consecutive-frame": Rule("the same consecutive frame again; a real receiver aborts"),
    "contradicting-consecutive-frame": Rule("a second consecutive frame with other data for the same place"),
    "consecutive-frame-out-of-order": Rule("a consecutive frame stands behind a later one"),
    "consecutive-frame-too-long": Rule("a consecutive frame longer than the first frame, ignored"),
    "logger-copy": Rule("the same frame again within one frame time: a copy made by the logger", is_note=True),
    "time-runs-backwards": Rule("a frame has an earlier time stamp than the one before it"),
    "stall": Rule("1 s or more between two frames (N_Cr); a real receiver aborts"),
    ESCAPE_NOT_NEEDED: Rule("a long form of the length for a value that fits the short one", is_note=True),
    "first-frame-on-functional": Rule("a first frame to a group of modules; receivers ignore it"),
    "not-a-valid-frame": Rule("a frame that is none of ISO 15765-2"),
}

#: Why a message is not complete. Each is also an anomaly, on the line that ended the message.
REASONS: Final[dict[str, str]] = {
    "capture-ended": "the capture ends less than 1 s after its last frame",
    "cut-off-by-single": "a single frame of the same sender came in between",
    "cut-off-by-first": "a first frame of the same sender came in between",
    "timeout-n-cr": "1 s or more without the next consecutive frame",
    "timeout-n-bs": "a block was full and 1 s or more passed without flow control",
    "no-flow-control-and-no-data": "nothing answered the first frame for 1 s or more",
    "wait-then-silence": "flow control said wait and nothing followed for 1 s or more",
    "overflow": "flow control said overflow: the receiver refused the message",
    "flow-status-reserved": "flow control with a reserved status: the sender must abort",
    "wrong-sequence-number": "the end is there, but consecutive frames before it are missing",
    "consecutive-frame-too-short": "a consecutive frame brought fewer bytes than its place holds",
    "starts-inside": "the capture begins inside the message; data begins somewhere in the middle",
    "first-frame-missing": "the first frame is missing; data begins somewhere in the middle",
}

#: Reasons of messages whose ``data`` begins somewhere in the middle: its first byte is no service.
HEADLESS_REASONS: Final = frozenset({"starts-inside", "first-frame-missing"})
