"""Findings that are one negative response each: a row a code, or a group of codes with one meaning.

A row says what such a code can mean and no more. Codes that mean different things for different steps, or that need
a look at what came before, have files of their own. A refusal that another finding tells is left to that one.
Source: ISO 14229-1:2020, annex A.1 (M).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from analysis.checks.looking.changing import CHANGING, is_told_elsewhere
from analysis.checks.looking.refusals import Refusal, refusals, sighting
from analysis.checks.registry import Context, Seen, check
from analysis.story import Story
from analysis.words import Severity
from canlog.services.traits import PROGRAMMING_SESSION, Act

ANY = frozenset(Act)
#: Conditions that the standard gives a name, without engine and supply, and those that a maker defines.
NAMED_CONDITIONS = frozenset({0x82, *range(0x84, 0x8E), *range(0x8F, 0x92), *range(0xF0, 0xFF)})

AGAIN = """do not repeat blindly: wrong keys are counted, and each erase puts the module at risk. The vehicle
maker's service information decides."""
MOVING = """tests and learn routines move parts or start the engine. Chock the vehicle, keep people away, mind high
voltage, follow the vehicle maker's service information."""
ONE_PART = """a trim belongs to one part in one place. Compare with the label on the part before it is written again.
The vehicle maker's service information decides."""
SUPPORT = """keep a support unit fit for programming connected, and do not switch off or unplug during erase or
download. The vehicle maker's service information decides."""


class Row(NamedTuple):
    """One finding: which codes for which acts, and the text under each heading."""

    id: str
    severity: Severity
    codes: Collection[int]
    acts: Collection[Act]
    title: str
    seen: str
    means: str
    look_alikes: str
    to_try: str
    caution: str

    @property
    def text(self) -> str:
        """The row as every check has it."""
        return f"""{self.title}.

What is seen: {self.seen}
What it can mean: {self.means}
How to tell it from look-alikes: {self.look_alikes}
What to try: {self.to_try}
Caution: {self.caution}
Evidence: the refusals. Source: ISO 14229-1:2020, annex A.1 (M).
"""


ROWS = (
    Row(
        "session-wrong-for-service", Severity.WARNING, {0x7E, 0x7F}, CHANGING - {Act.SESSION},
        "This step is not available in the session that was open",
        "a step was refused for good with code 7E or 7F: the module knows it, but not in its session of that moment.",
        """The session may never have been asked for, or been refused. The module may have fallen back after a pause or
        a restart. Its boot loader may know fewer services than its application.""",
        """a service that the module has in no session (code 11 or 12); access that is missing (code 33)""",
        "ask for the session again, then unlock, then repeat the step; look for a pause or a restart in front of it",
        AGAIN,
    ),
    Row(
        "session-refused", Severity.WARNING, {0x12, 0x31, 0x33, 0x7E, 0x7F}, {Act.SESSION},
        "The change of session was refused",
        "the module refused to change its session for good.",
        """It may want another session first, or the steps that prepare programming (fault storing off, messages off, a
        check of conditions). 12 or 31: it may not have this session. 33: it may have to be unlocked first.""",
        """a condition that is not met (code 22, or a code that names it); a gateway in front that lets nothing
        through: then several modules are concerned""",
        "take the order of steps from the service information; read which program answers; ask for the session again",
        "ignition and supply as the service information asks for this step.",
    ),
    Row(
        "authentication-missing", Severity.WARNING, {0x34, *range(0x50, 0x5E)}, ANY,
        "Access by certificate is missing or was refused",
        "a step was refused for good with code 34, or an authentication with a code from 50 to 5D.",
        """34: no authentication may have been done, or it may have run out. 50: the certificate's time or the module's
        clock may be wrong. 51 to 57: it may be made for another module, purpose or issuer. 58 to 5D: proof or rights
        may be at fault.""",
        "a module that wants seed and key instead (code 33)",
        "get the approval in the way that the maker prescribes; check date and time of the tester and the module",
        AGAIN,
    ),
    Row(
        "engine-running", Severity.WARNING, {0x81, 0x83}, ANY,
        "The engine or drive has to be off",
        "a step was refused for good with code 81 or 83: for the module the engine runs.",
        """The engine may be running, or a hybrid be ready to drive. The speed signal may be wrong or old because its
        sender is silent.""",
        "a condition without a name (code 22); an engine that has to run and does not (code 82 or 84)",
        "switch the engine off and leave the ignition on, a hybrid not ready to drive; then ask once more",
        MOVING,
    ),
    Row(
        "condition-named", Severity.WARNING, NAMED_CONDITIONS, ANY,
        "A condition that the module names is not met",
        "a step was refused for good with a code that names the condition, or with one that the maker defines.",
        """What the code says may be true (temperature, speed, pedal, gear, brake, run time), or the module's signal of
        it may be wrong. F0 to FE have a meaning only in the service information.""",
        "a condition without a name (code 22); the supply (codes 92 and 93)",
        "meet the condition and compare it with what the module reads of it; look up codes from F0 on; ask once more",
        MOVING,
    ),
    Row(
        "stored-fault-blocks", Severity.WARNING, {0x26}, ANY,
        "A fault in the module forbids the step",
        "a step was refused for good with code 26.",
        "A fault may be stored from before, left by a try that failed, or be present in the module itself.",
        "a condition of the vehicle that is not met (code 22)",
        "read the fault memory and put the cause right; then repeat the step",
        AGAIN,
    ),
    Row(
        "service-unknown", Severity.WARNING, {0x11, 0x12}, CHANGING - {Act.SESSION},
        "The module does not know this step",
        "a step was refused for good with code 11 or 12: no such service or sub-function.",
        """It may be another module or variant than was meant. Its boot loader may be answering. The tester may speak
        another dialect than the module. 12: the access level or the kind of the step may be wrong.""",
        "a step that another session has (code 7E or 7F)",
        "read the module's identification and compare it with what was meant; ask for the same in another session",
        AGAIN,
    ),
    Row(
        "length-refused", Severity.WARNING, {0x13}, CHANGING,
        "A length or form was not accepted",
        "a step was refused for good with code 13.",
        """The data may be made for another variant, whose record is longer or shorter. Fill bytes may have been sent as
        data. A frame of it may have been lost on the way.""",
        "a value that is not allowed (code 31); a module that has no room for the message (flow control overflow)",
        "read the same identifier and compare its length; check part and software number",
        ONE_PART,
    ),
    Row(
        "sequence-refused", Severity.WARNING, {0x24}, CHANGING,
        "A step came out of order",
        "a step was refused for good with code 24.",
        """A step before it may be missing (a key without a seed, data without an accepted download). The session may
        have been lost in between. A step whose answer was lost may have been sent again.""",
        "a session that was lost inside a download: blocks were accepted before; a result asked for too early",
        "find what the module accepted last; start again from the session, not from the refused step",
        AGAIN,
    ),
    Row(
        "busy-repeat", Severity.NOTE, {0x21, 0x94}, ANY,
        "The module was busy",
        "a request ended with code 21 or 94: the module asks for it again later.",
        """The module may be at work for itself, or have started a moment ago. A second tester may be asking. 94: what
        the step needs may not be free for the moment.""",
        "a wait answer (code 78): there the module goes on by itself",
        "wait and repeat the request; look for a second tester if it goes on",
        "none",
    ),
    Row(
        "general-reject", Severity.WARNING, {0x10}, ANY,
        "Refused without a reason",
        "a step was refused for good with code 10.",
        """The module keeps its reason to itself: a condition, a range or the order of steps may be wrong. Older modules
        use this code for many things.""",
        "a condition that is not met (code 22); a value out of range (code 31)",
        "take the order of steps from the service information; compare with a session that went well",
        AGAIN,
    ),
    Row(
        "subnet-silent", Severity.WARNING, {0x25}, ANY,
        "A gateway got no answer from the node behind it",
        "a request was refused for good with code 25.",
        """The node behind it may have no supply, be asleep or not be fitted. Its line to the gateway may be broken. It
        may just have been starting.""",
        "a gateway that lets nothing through: it refuses for many modules at once, or is silent",
        "check supply, ground, fuse and line of the node; ask other nodes on the same line",
        SUPPORT,
    ),
)  # fmt: skip


def _only_asked(ctx: Context, story: Story, found: Sequence[Refusal]) -> bool:
    """Other sessions than the programming session were tried on a module in which nothing was to be changed."""
    if any(item.exchange.session in (None, PROGRAMMING_SESSION) for item in found):
        return False
    return not any(item.part is not None and item.link.key == story.link.key for item in ctx.operations)


def _declare(row: Row) -> None:
    def find(ctx: Context) -> Iterator[Seen]:
        for story in ctx.stories:
            refused = refusals(ctx, story, row.codes)
            meant = (item for item in refused if item.exchange.act in row.acts)
            found = [item for item in meant if not is_told_elsewhere(ctx, story, item)]
            if found:
                seen = sighting(story, found)
                yield replace(seen, severity=Severity.NOTE) if _only_asked(ctx, story, found) else seen

    find.__doc__ = row.text
    check(row.id, severity=row.severity)(find)


for _row in ROWS:
    _declare(_row)
