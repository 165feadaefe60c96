"""Which dialect a link speaks, judged from its traffic.

One number means different things by dialect, so nothing is read before this is decided. Each kind of sign counts
once, however often it comes: a positive answer whose form exists in one dialect only weighs three, a refusal that
shows the service to be known two, a request alone one. A refusal with 11 (no such service) takes back what the
request hinted at: testers try dialects.

1A, 3B and 20 are KWP2000 or GMW3110: alone they are read as KWP2000. 20 weighs least: scan tools send it to every
module, and modules that speak UDS were seen to answer it (public scan of a vehicle with both dialects). Where UDS
and an older dialect are both answered to a similar degree the link is read as UDS and the note says so. A link with
01-0A alone is OBD; a module that speaks anything else answers those besides.

Source: comparison of the services of ISO 14229-1, ISO 14230-3 and GMW3110 1.6; the weights are our own.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Final, NamedTuple

ANSWERED, REFUSED, ASKED = 3, 2, 1

#: An older dialect wins over answered signs of UDS (or the reverse) only when it has so many times their weight.
CLEAR_MAJORITY: Final = 3

UDS, KWP, GMW, OBD = "uds", "kwp2000", "gmw3110", "obd"
_OLDER: Final = (KWP, GMW)


@dataclass(frozen=True, slots=True)
class DialectGuess:
    """The dialect of a link and why.

    ``score`` is the weight of the signs for it, ``evidence`` the signs in words, strongest first; ``note`` says
    what speaks against it. ``is_mixed``: another dialect was answered as well.
    """

    dialect: str
    score: int
    evidence: tuple[str, ...]
    note: str = ""
    is_mixed: bool = False

    @property
    def text(self) -> str:
        """One sentence."""
        why = "; ".join(self.evidence) or "nothing in the traffic tells"
        return f"{self.dialect}: {why}{f' ({self.note})' if self.note else ''}"


class Sign(NamedTuple):
    """What a message says: for which dialects, how much, in words; ``service`` may be taken back by a refusal."""

    dialects: tuple[str, ...]
    weight: int
    text: str
    service: int = -1


#: Services that only one dialect (or the older two) knows, as requests.
ONLY: Final[dict[int, tuple[str, ...]]] = {
    0x19: (UDS,), 0x24: (UDS,), 0x2A: (UDS,), 0x2F: (UDS,), 0x87: (UDS,), 0x84: (UDS,),
    0x17: (KWP,), 0x18: (KWP,), 0x21: (KWP,), 0x30: (KWP,), 0x32: (KWP,), 0x33: (KWP,), 0x13: (KWP,), 0x39: (KWP,),
    0x3A: (KWP,),
    0xA2: (GMW,), 0xA5: (GMW,), 0xA9: (GMW,), 0xAA: (GMW,), 0xAE: (GMW,), 0x2D: (GMW,),
    0x1A: _OLDER, 0x3B: _OLDER, 0x20: _OLDER,
}  # fmt: skip

#: Codes that only one dialect has.
ONLY_CODES: Final[dict[int, tuple[str, ...]]] = {
    0x13: (UDS,), 0x24: (UDS,), 0x70: (UDS,), 0x73: (UDS,), 0x7E: (UDS,), 0x7F: (UDS,),
    0x23: (KWP,), 0x40: (KWP,), 0x80: (KWP,), 0x99: (GMW,), 0xE3: (GMW,),
}  # fmt: skip

_RETURN_TO_NORMAL: Final = 0x20

#: Identifiers of 1A that GMW3110 names and KWP2000 leaves to the maker: part numbers, addresses, states.
_GMW_IDENTIFIERS: Final = frozenset({*range(0xB0, 0xCD), *range(0xD0, 0xE0)})


def _session(asked: bytes, answer: bytes) -> Sign | None:
    if len(answer) == 1:
        return Sign((GMW,), ANSWERED, f"{_hex(asked)} answered with 50 alone") if asked else None
    if answer[1] > 0x80 and len(answer) == 2:
        return Sign((KWP,), ANSWERED, f"a session answered with the whole byte ({_hex(answer)})")
    if answer[1] < 0x80 and len(answer) == 6:
        return Sign((UDS,), ANSWERED, "a session answered with its timing")
    return Sign((UDS,), ASKED, f"a session answered with {_hex(answer)}") if answer[1] < 0x80 else None


def _by_length(service: int) -> Callable[[bytes, bytes], Sign | None]:
    """28, 29, 3E and 85: an echo is UDS, an answer without one is by what was asked."""

    def sign(asked: bytes, answer: bytes) -> Sign | None:
        name = f"{service:02X}"
        if len(answer) >= 2:
            return Sign((UDS,), ANSWERED if service == 0x29 else REFUSED, f"{name} answered with its sub-function")
        if len(asked) == 1 and service in (0x28, 0x3E):
            return Sign((GMW,), ANSWERED if service == 0x28 else REFUSED, f"{name} without parameters answered")
        if len(asked) > 1 and asked[1] in (0x01, 0x02):
            return Sign((KWP,), ANSWERED, f"{name} {asked[1]:02X} answered without an echo")
        return None

    return sign


def _routine(asked: bytes, answer: bytes) -> Sign | None:
    if len(asked) >= 4 and asked[1] & 0x7F in (1, 2, 3) and answer[1:4] == bytes([asked[1] & 0x7F]) + asked[2:4]:
        return Sign((UDS,), ANSWERED, "a routine of two bytes answered")
    if len(asked) >= 2 and answer[1:2] == asked[1:2] and asked[1] > 3:
        return Sign((KWP,), REFUSED, "a routine of one byte answered")
    return None


def _download(asked: bytes, answer: bytes) -> Sign | None:
    if len(answer) == 1:
        return Sign((GMW,), ANSWERED, "a download answered without a block length") if _fits_gmw(asked) else None
    if len(answer) == 2 + (answer[1] >> 4) and not answer[1] & 0x0F and _fits_uds(asked):
        return Sign((UDS,), ANSWERED, "a download answered with a counted block length")
    if len(answer) <= 3 and len(asked) == 8 and not _fits_uds(asked):
        return Sign((KWP,), ANSWERED, "a download of three-byte address and size answered")
    return None


def _fits_uds(asked: bytes) -> bool:
    """A 34 whose format byte tells its own length."""
    return len(asked) > 3 and len(asked) == 3 + (asked[2] >> 4) + (asked[2] & 0x0F)


def _fits_gmw(asked: bytes) -> bool:
    return 4 <= len(asked) <= 6


def _clear(asked: bytes, answer: bytes) -> Sign | None:
    if len(answer) == 3 and answer[1:] == asked[1:3] and len(asked) == 3:
        return Sign((KWP,), ANSWERED, "a clear answered with its group of two bytes")
    if len(answer) == 1 and len(asked) >= 4:
        return Sign((UDS,), REFUSED, "a clear of three bytes answered")
    return None


def _reset(asked: bytes, answer: bytes) -> Sign | None:
    if len(answer) >= 2 and len(asked) > 1 and answer[1] == asked[1] & 0x7F:
        return Sign((UDS,), REFUSED, "a reset answered with its kind")
    return Sign((KWP,), ASKED, "a reset answered without its kind") if len(answer) == 1 and asked else None


def _common_identifier(asked: bytes, answer: bytes) -> Sign | None:
    if len(answer) > 3 and answer[1] == 0xF1:
        return Sign((UDS,), REFUSED, f"{_hex(answer[:3])} … answered")
    return Sign((UDS,), ASKED, "identifiers of two bytes answered") if len(answer) > 2 else None


#: What the form of a positive answer says, by the service asked.
FORMS: Final[dict[int, Callable[[bytes, bytes], Sign | None]]] = {
    0x10: _session, 0x11: _reset, 0x14: _clear, 0x22: _common_identifier, 0x2E: _common_identifier,
    0x28: _by_length(0x28), 0x29: _by_length(0x29), 0x31: _routine, 0x34: _download, 0x3E: _by_length(0x3E),
    0x85: _by_length(0x85),
}  # fmt: skip


def _asked_sign(request: bytes) -> list[Sign]:
    """What a request alone hints at."""
    service, second = request[0], request[1] if len(request) > 1 else -1
    if service <= 0x0F:
        return [Sign((OBD,), ASKED, "emission diagnostics (01-0A)", service)]
    signs = []
    if service in ONLY:
        signs.append(Sign(ONLY[service], ASKED, f"{service:02X} asked", service))
    if service == 0x1A and second in _GMW_IDENTIFIERS:
        signs.append(Sign((GMW,), ASKED, "part numbers (1A B0-DF) asked", service))
    if service == 0x10 and second in (0x85, 0x89, 0x90, 0x92):
        # A UDS tester that suppresses answers sends 81-83; these are no UDS sessions.
        signs.append(Sign((KWP,), ASKED, f"session {second:02X} asked"))
    if service == 0x10 and second & 0x7F in (0x01, 0x02, 0x03) and second != 0x81:
        signs.append(Sign((UDS,), ASKED, f"session {second & 0x7F:02X} asked"))
    if service == 0x3E and len(request) <= 2:
        form = {-1: GMW, 0x00: UDS, 0x80: UDS, 0x01: KWP, 0x02: KWP}.get(second)
        if form is not None:
            signs.append(Sign((form,), ASKED, f"tester present in the form {_hex(request)}", service))
    return signs


def _answered_sign(asked: bytes, answer: bytes) -> list[Sign]:
    """What a positive answer says; ``asked`` is the last request of that service, empty when unknown."""
    service = answer[0] - 0x40
    if 0x01 <= service <= 0x0A:
        return [Sign((OBD,), ANSWERED, "emission diagnostics (41-4A) answered")]
    signs = []
    if service in ONLY:
        weight = ASKED if service == _RETURN_TO_NORMAL else ANSWERED
        signs.append(Sign(ONLY[service], weight, f"{answer[0]:02X} answered"))
    if service == 0x1A and len(answer) > 2 and answer[1] in _GMW_IDENTIFIERS:
        signs.append(Sign((GMW,), REFUSED, "part numbers (5A B0-DF) answered"))
    form = FORMS[service](asked, answer) if service in FORMS else None
    return [*signs, form] if form is not None else signs


def _hex(data: bytes) -> str:
    return data[:6].hex(" ").upper()


@dataclass(slots=True)
class DialectJudge:
    """Sees the complete messages of one link one by one and says at any time what it speaks."""

    _signs: dict[Sign, int] = field(default_factory=lambda: defaultdict(int))
    _asked: dict[int, bytes] = field(default_factory=dict)
    _unknown_services: set[int] = field(default_factory=set)

    def see(self, direction: str, message: bytes) -> None:
        """One message. ``direction``: ``request`` or ``response`` (as ``isotp.addressing.Direction``)."""
        if not message:
            return
        if direction == "request":
            self._asked[message[0]] = message
            self._add(_asked_sign(message))
        elif message[0] == 0x7F:
            self._refused(message)
        elif message[0] >= 0x40:
            self._add(_answered_sign(self._asked.get(message[0] - 0x40, b""), message))

    def _add(self, signs: list[Sign]) -> None:
        for sign in signs:
            self._signs[sign] += 1

    def _refused(self, message: bytes) -> None:
        if len(message) < 3:
            return
        service, code = message[1], message[2]
        if code == 0x11:
            self._unknown_services.add(service)
        elif service <= 0x0F:
            self._add([Sign((OBD,), REFUSED, "emission diagnostics refused", service)])
        elif code in ONLY_CODES:
            self._add([Sign(ONLY_CODES[code], REFUSED, f"refused with code {code:02X}")])
        elif service in ONLY and service != _RETURN_TO_NORMAL and code != 0x10:
            self._add([Sign(ONLY[service], REFUSED, f"{service:02X} known, refused with {code:02X}", service)])

    def guess(self) -> DialectGuess:
        """What all messages seen so far speak for."""
        counted = [sign for sign in self._signs if sign.service not in self._unknown_services]
        signs = {dialect: [sign for sign in counted if dialect in sign.dialects] for dialect in (UDS, KWP, GMW, OBD)}
        score = {dialect: sum(sign.weight for sign in signs[dialect]) for dialect in signs}
        if not any(score[dialect] for dialect in (UDS, *_OLDER)):
            return DialectGuess(OBD if score[OBD] else UDS, score[OBD], _words(signs[OBD]))
        older = GMW if score[GMW] > score[KWP] else KWP
        note = "read as KWP2000, could be GMW3110" if score[GMW] == score[KWP] and score[KWP] > score[UDS] else ""
        return self._between(older, signs, score, note)

    def _between(self, older: str, signs: dict[str, list[Sign]], score: dict[str, int], note: str) -> DialectGuess:
        """UDS or an older dialect: by answers, and by requests only where nothing was answered."""
        answered = {dialect: sum(sign.weight for sign in signs[dialect] if sign.weight > ASKED) for dialect in signs}
        mine, theirs = (answered, answered) if answered[UDS] or answered[older] else (score, score)
        if mine[older] >= CLEAR_MAJORITY * theirs[UDS] and mine[older]:
            against = note or (f"against it: {'; '.join(_words(signs[UDS]))}" if answered[UDS] else "")
            return DialectGuess(older, score[older], _words(signs[older]), against, is_mixed=answered[UDS] > 0)
        mixed = answered[older] > 0
        against = f"mixed, read as UDS; {older} too: {'; '.join(_words(signs[older]))}" if mixed else ""
        return DialectGuess(UDS, score[UDS], _words(signs[UDS]), against, is_mixed=mixed)


def _words(signs: list[Sign]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(sign.text for sign in sorted(signs, key=lambda sign: -sign.weight)))


def judge_dialect(messages: Iterable[tuple[str, bytes]]) -> DialectGuess:
    """The dialect of one link, from its complete messages in order.

    Args:
        messages: (direction, bytes); direction is ``request`` or ``response``. Requests to a group of modules
            may be among them. Read once, nothing is kept but the signs.
    """
    judge = DialectJudge()
    for direction, message in messages:
        judge.see(direction, message)
    return judge.guess()
