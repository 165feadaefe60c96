"""Which program of a module speaks: its application or only its boot loader.

Signs, none of which is taken from silence. Source: boot loaders answer their own identification (F180) and refuse
that of the application; F186 names the active session (ISO 14229-1:2020, annex C (M)); the rest is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analysis.exchanges import Answer, Exchange, Place
from analysis.operations.model import evidence
from analysis.story import REFUSED_SUB_FUNCTION, Mode, State, Story
from analysis.words import Evidence
from canlog.names.nrc import NRCS
from canlog.services.dialects import KWP, UDS
from canlog.services.gmw3110 import FULLY_PROGRAMMED, NO_SOFTWARE, PROGRAMMED_STATES, is_memory_fault
from canlog.services.traits import PROGRAMMING_SESSION, Act, programmed_state

ACTIVE_SESSION = 0xF186
BOOT_IDENTITY = 0xF180
#: Read from the application; a boot loader knows them rarely.
APPLICATION_IDENTITY = frozenset({0xF181, 0xF182, 0xF187, 0xF188, 0xF189, 0xF190, 0xF194, 0xF195})
REFUSED_IDENTIFIER = 0x31
REFUSES = "refuses"
OBD_SERVICES = range(0x01, 0x0B)
KWP_LOCAL_DATA = 0x21


@dataclass(frozen=True, slots=True)
class Sign:
    """One sign of what program speaks."""

    mode: Mode
    place: Place
    strong: bool
    evidence: Evidence


def signs(story: Story, behind: Place = (0, 0)) -> list[Sign]:
    """All signs behind a place, in order."""
    found = [
        Sign(start.mode, start.place, True, start.evidence)
        for start in story.starts
        if start.mode is not Mode.UNKNOWN and start.place > behind
    ]
    for exchange in story.after(behind):
        found += _signs_of(story, exchange)
    return sorted(found, key=lambda sign: sign.place)


def mode_now(story: Story, behind: Place = (0, 0)) -> tuple[Mode, list[Sign]]:
    """The mode at the end and the signs of it.

    What was seen since the last start decides; only where that tells nothing, what was seen before it.
    """
    found = signs(story, behind)
    start = story.last_start()
    since = [sign for sign in found if start is None or sign.place >= start.place]
    if any(sign.strong for sign in since) or _is_telling(since):
        return _mode_by(since)
    return _mode_by(found)


def _mode_by(found: list[Sign]) -> tuple[Mode, list[Sign]]:
    """The last strong sign; without one, the majority of the weak ones."""
    strong = [sign for sign in found if sign.strong]
    if strong:
        mode = strong[-1].mode
        return mode, [sign for sign in found if sign.mode is mode][-3:]
    boot = [sign for sign in found if sign.mode is Mode.BOOT]
    application = [sign for sign in found if sign.mode is Mode.APPLICATION]
    if application:
        return Mode.APPLICATION, application[-3:]
    # An identifier may be missing in a variant: refusals alone show no boot loader, however many.
    is_boot = _is_telling(boot) and not all(text.startswith(REFUSES) for text in _texts(boot))
    return (Mode.BOOT, boot[-3:]) if is_boot else (Mode.UNKNOWN, boot)


def _is_telling(found: list[Sign]) -> bool:
    """More than one kind of sign: a single weak one outweighs nothing."""
    return len(_texts(found)) > 1


def _texts(found: list[Sign]) -> set[str]:
    return {sign.evidence.text for sign in found}


def _signs_of(story: Story, exchange: Exchange) -> Iterator[Sign]:
    state = story.before(exchange)
    if exchange.act is Act.PROGRAMMED_STATE:
        yield from _signs_of_state(exchange, story.before(exchange))
    elif exchange.service in OBD_SERVICES and exchange.positive:
        yield _sign(Mode.APPLICATION, exchange, "answers OBD", strong=True)
    elif exchange.dialect != UDS:
        yield from _signs_of_older(exchange, state)
    elif exchange.service == 0x22:
        yield from _signs_of_reading(story, exchange, state)
    elif exchange.service == 0x10 and exchange.asked[1:2] in (b"\x03", b"\x83"):
        if exchange.positive and not state.boot:  # not strong: many boot loaders open it too
            yield _sign(Mode.APPLICATION, exchange, "opens the extended session")
        elif exchange.nrc == REFUSED_SUB_FUNCTION:
            yield _sign(Mode.BOOT, exchange, "knows no extended session", strong=story.lost_a_session(exchange))


def _signs_of_older(exchange: Exchange, state: State) -> Iterator[Sign]:
    """Identification (1A) many boot loaders answer as well; the data of the function and its faults few do."""
    if not exchange.positive or state.session == PROGRAMMING_SESSION or state.boot:
        return
    if exchange.act is Act.READ_FAULTS:
        yield _sign(Mode.APPLICATION, exchange, "answers for its faults")
    elif exchange.dialect == KWP and exchange.service == KWP_LOCAL_DATA:
        yield _sign(Mode.APPLICATION, exchange, f"answers 21 {exchange.told[1:2].hex().upper()}")


def _signs_of_state(exchange: Exchange, before: State) -> Iterator[Sign]:
    """GMW3110, A2: a module whose software is not in place has only its boot loader to answer with."""
    state = programmed_state(exchange.answered, exchange.dialect) if exchange.positive else None
    if state is None:
        return
    text = f"says of its own state: {state:02X} {PROGRAMMED_STATES.name(state)}"
    if state == FULLY_PROGRAMMED and before.session != PROGRAMMING_SESSION:
        yield _sign(Mode.APPLICATION, exchange, text)
    elif state == NO_SOFTWARE or is_memory_fault(state):
        yield _sign(Mode.BOOT, exchange, text, strong=True)


def _signs_of_reading(story: Story, exchange: Exchange, state: State) -> Iterator[Sign]:
    asked_to_program, session_known = state.session == PROGRAMMING_SESSION, state.session is not None
    is_telling = state.boot or not asked_to_program  # a loader that was asked for may run beside an application
    identifier = int.from_bytes(exchange.asked[1:3], "big")
    if identifier == ACTIVE_SESSION and exchange.positive and len(exchange.answered) > 3:
        session = exchange.answered[3]
        if session == PROGRAMMING_SESSION and not asked_to_program:
            yield _sign(Mode.BOOT, exchange, "is in the programming session without having been asked", strong=True)
        elif session != PROGRAMMING_SESSION:
            yield _sign(Mode.APPLICATION, exchange, f"says its session is {session:02X}")
    elif identifier in APPLICATION_IDENTITY:
        if exchange.positive and not asked_to_program and not state.boot:
            yield from _signs_of_identity(story, exchange, strong=session_known)
        elif exchange.outcome is Answer.NEGATIVE and exchange.nrc == REFUSED_IDENTIFIER and is_telling:
            yield _sign(Mode.BOOT, exchange, f"{REFUSES} {identifier:04X} ({NRCS[REFUSED_IDENTIFIER].name})")
    elif identifier == BOOT_IDENTITY and exchange.positive and is_telling:
        yield _sign(Mode.BOOT, exchange, "answers its boot identification")


def _signs_of_identity(story: Story, exchange: Exchange, *, strong: bool) -> Iterator[Sign]:
    """The application's, unless the boot loader said just that of itself before anything was carried.

    What the loader said may still be the application's, kept in a place that both read: it is a sign of the loader
    only where the application said something else.
    """
    identifier = exchange.asked[1:3].hex().upper()
    told = story.told_before_programming(exchange)
    if (exchange.answered, True) not in told:
        yield _sign(Mode.APPLICATION, exchange, f"answers {identifier}", strong=strong)
    elif any(not by_loader and answer != exchange.answered for answer, by_loader in told):
        text = f"answers {identifier} as its boot loader did, and not as its application"
        yield _sign(Mode.BOOT, exchange, text, strong=True)


def _sign(mode: Mode, exchange: Exchange, text: str, *, strong: bool = False) -> Sign:
    return Sign(mode, exchange.end, strong, evidence(exchange, text))
