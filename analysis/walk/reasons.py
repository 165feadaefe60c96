"""Why each kind of act is done, what its answer settles, and which findings watch over it.

The sentences are ours. ``source``: where the fact that carries the sentence comes from; most of the order of a job
is common practice, no source. (M): clause from memory.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, NamedTuple

from canlog.services.traits import Act

PRACTICE: Final = "common practice, no source"


class Reason(NamedTuple):
    """``risks`` are ids of findings, explained by ``canlog findings ID``."""

    why: str
    settles: str  # what a positive answer means, and what it does not
    source: str
    risks: tuple[str, ...] = ()


#: Total over the acts.
REASONS: Final[Mapping[Act, Reason]] = {
    Act.SESSION: Reason(
        "A module does protected work only in a session made for it; asking for one opens that door.",
        "The session is open, and the times for waiting are announced. Nothing has been changed yet.",
        "ISO 14229-1:2020, 10.2 (M)", ("session-refused", "session-gap", "session-dropped-in-download"),
    ),
    Act.RESET: Reason(
        "A restart makes the module load what was written, and shows whether it comes back by itself.",
        "The module is willing to restart. That it did shows only by what it says afterwards.",
        "ISO 14229-1:2020, 10.3 (M)", ("reset-no-return", "reset-missing"),
    ),
    Act.UNLOCK: Reason(
        "The module gives a number and wants the matching one, so that not just anybody can change it.",
        "The seed only asks for the key; access counts from the positive answer to the key on.",
        "ISO 14229-1:2020, 10.4 (M)", ("key-refused", "attempts-exceeded", "unlock-delay-running", "unlock-lost"),
    ),
    Act.AUTHENTICATE: Reason(
        "Certificates show who the tester is before the module lets it change anything.",
        "The identity was accepted as far as the answer says; it proves no later step.",
        "ISO 14229-1:2020, 10.6 (M)", ("authentication-missing",),
    ),
    Act.READ: Reason(
        "Reading before the work keeps what would be lost with the old module; reading after it is proof.",
        "The module holds these bytes at this moment. A reading after a restart is worth more than one before.",
        PRACTICE, ("identifier-refused", "trims-not-read-back", "trims-read-back-differs"),
    ),
    Act.WRITE: Reason(
        "The new module has to be told what belongs to this vehicle: its VIN, its configuration, its trims.",
        "The value was accepted. Whether it is stored shows only when it is read again.",
        "ISO 14229-1:2020, 11.7 (M): the answer holds no data",
        ("trims-not-read-back", "trims-order-suspicious", "trims-default", "vin-typed-wrong"),
    ),
    Act.READ_MEMORY: Reason(
        "Some values have no identifier and are fetched by their address.",
        "These bytes stand at that address now.", PRACTICE, ("length-refused",),
    ),
    Act.WRITE_MEMORY: Reason(
        "Some values have no identifier and are stored by their address.",
        "The bytes were accepted; only reading that address again shows that they stayed.",
        PRACTICE, ("programming-failure",),
    ),
    Act.ROUTINE: Reason(
        "Work inside the module is started this way: erasing, checking what was written, learning.",
        "The routine was taken up. How it ended is said by a status byte, and that byte is the maker's own.",
        "ISO 14229-1:2020, 14.2 (M): the status record is the maker's",
        ("erase-failed", "erase-refused", "check-failed", "check-status-unknown", "conditions-not-correct"),
    ),
    Act.CONTROL: Reason(
        "An output is moved by order, to see that part and wiring work.",
        "The module takes the order; whether the part moved has to be seen at the vehicle.",
        PRACTICE, ("conditions-not-correct",),
    ),
    Act.DOWNLOAD: Reason(
        "The tester says where memory goes and how much of it; the module says how large a block may be.",
        "The module is ready to take blocks. From the erase on the old software is gone.",
        "ISO 14229-1:2020, 15.2 (M)", ("download-refused", "sequence-refused", "unlock-missing"),
    ),
    Act.UPLOAD: Reason(
        "Memory is fetched from the module, to keep it or to look at it.",
        "The module will send; the account closes only with the last block.",
        "ISO 14229-1:2020, 15.3 (M)", ("download-refused",),
    ),
    Act.FILE: Reason(
        "Modules with a file system take whole files by name.",
        "The file may be sent; its blocks and its end still have to come.",
        "ISO 14229-1:2020, 15.6 (M)", ("download-refused",),
    ),
    Act.BLOCK: Reason(
        "The memory is too long for one message and is carried in numbered blocks, each answered by itself.",
        "This block arrived. A lost or doubled block is noticed by its number.",
        "ISO 14229-1:2020, 15.4 (M)",
        ("block-missing", "block-repeated", "block-counter-refused", "transfer-suspended", "stall-inside-message"),
    ),
    Act.EXIT: Reason(
        "The tester says that all blocks are sent, so that the module can close its account.",
        "The module agrees that the transfer is over. It says nothing about the content being right.",
        "ISO 14229-1:2020, 15.5 (M)", ("transfer-exit-refused", "size-short", "download-ended-unchecked"),
    ),
    Act.READ_FAULTS: Reason(
        "Stored faults are read before they are cleared, and again at the end of the job.",
        "These codes are stored now. A clear is proved by an empty list that is read later.",
        "ISO 14229-1:2020, 12.3 (M)", ("dtc-returns", "dtc-lost-communication", "fault-active"),
    ),
    Act.CLEAR: Reason(
        "Other modules missed this one while it was written, and stored that; old faults must not mislead.",
        "The module took the order. Only a later reading shows an empty memory.",
        "ISO 14229-1:2020, 12.2 (M)", ("dtc-not-cleared", "dtc-returns", "engine-running"),
    ),
    Act.QUIET: Reason(
        "Other modules stop their everyday messages, so that the bus is free for the transfer.",
        "This module keeps quiet until it is told otherwise; who gives no answer may have obeyed all the same.",
        "ISO 14229-1:2020, 10.5 (M)", ("communication-not-restored",),
    ),
    Act.FAULT_SETTING: Reason(
        "Modules are told to store no faults while one of them is away.",
        "Storing is switched as ordered, until the session ends or it is switched back.",
        "ISO 14229-1:2020, 10.8 (M)", ("fault-setting-not-restored",),
    ),
    Act.TESTER_PRESENT: Reason(
        "The tester knocks now and then, so that the session does not end by itself.",
        "The module heard the knock.", "ISO 14229-1:2020, 10.7 (M)", ("session-gap",),
    ),
    Act.PROGRAMMED_STATE: Reason(
        "The module is asked whether it holds all its software.",
        "Its own word on its own memory: the strongest there is in this family.",
        "GMW3110 1.6 (M)", ("boot-mode-only",),
    ),
    Act.OTHER: Reason(
        "A step of the maker, or one that the tables do not explain.",
        "The module answered. What that is worth only the maker's papers tell.",
        PRACTICE, ("service-unknown", "request-unanswered"),
    ),
}  # fmt: skip


def reason_for(act: Act) -> Reason:
    """Why an act is done."""
    return REASONS[act]
