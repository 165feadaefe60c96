"""Which ids belong together as tester and module: links found from evidence, each with its reason.

Legislated ids (ISO 15765-4), the custom "request + 8" and the swapped addresses of normal fixed
addressing are hints: they settle a tie, or name a module that stays silent, and such a link is marked
``guessed``. What makes a link is traffic: flow control that answers first frames, answers that match
requests. What a user names always wins.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence, Set
from dataclasses import replace
from typing import Final, NamedTuple

from canlog.frames import FrameTable
from canlog.isotp.addressing import PRIORITY_MASK, Addressing, Link, addressing_of
from canlog.isotp.sightings import Sightings, Station, Witness

#: Two ids that always say the same may be cyclic frames that happen to look like an exchange: then the
#: answer must come fast, every time, and the request must be slow. Common practice, no source.
_FAST_NS: Final = 50_000_000
_SLOW_NS: Final = 500_000_000
#: Tester present as UDS, GMW3110 and KWP have it, and its answers.
_PRESENT: Final = (b"\x3e\x00", b"\x3e", b"\x3e\x01")
_PRESENT_ANSWERS: Final = (b"\x7e\x00", b"\x7e")
#: Requests to all nodes in GMW3110: 101, address FE. The answers come on ids without address. scapy 2.8.0, gmlanutils.
_GMW_GROUP: Final = (0x101, False, 0xFE)


class _Pair(NamedTuple):
    request: Station
    response: Station
    witness: Witness
    hint: str

    @property
    def weight(self) -> tuple[bool, float]:
        """Flow control first, then answers; a hint breaks what traffic leaves open."""
        return (self.witness.n_flow > 0, (self.witness.credit + self.witness.n_flow) * (3 if self.hint else 1))


class LinkFinder:
    """Feed every table of a capture, then ask for the links."""

    def __init__(self) -> None:
        self._sightings = Sightings()

    def feed(self, table: FrameTable) -> None:
        """Gather evidence; memory grows with ids, not with frames."""
        self._sightings.feed(table)

    def links(self, user: Sequence[Link] = ()) -> list[Link]:
        """The links, the user's first, then by channel and request id.

        Args:
            user: links named by the user; no channel means every channel where one of its ids occurs.
        """
        named = [link for wish in user for link in self._on_channels(wish)]
        taken = {side for link in named for side in _sides(link)}
        found = [link for link in self._found() if not taken & _sides(link)]
        return named + sorted(found, key=lambda link: (link.channel, link.functional, link.request_id, link.key))

    def _on_channels(self, wish: Link) -> list[Link]:
        wish = wish if wish.how else replace(wish, how="named by the user")
        if wish.channel:
            return [wish]
        seen = set(self._sightings.occurs(wish.request_id, extended=wish.request_extended))
        if wish.response_id is not None:
            seen |= set(self._sightings.occurs(wish.response_id, extended=wish.response_extended))
        return [replace(wish, channel=channel) for channel in sorted(seen)] or [wish]

    def _found(self) -> list[Link]:
        good = {
            station for (key, address), station in self._sightings.stations.items()
            if self._sightings.is_clean(key, address)
        }  # fmt: skip
        # A control byte in the first place is the rule; only ids that make no sense there may have an address.
        plain = self._judge([station for station in good if station.address is None])
        used = {side[:3] for link in plain for side in _sides(link)}
        addressed = [s for s in good if s.address is not None and (s.channel, s.can_id, s.extended) not in used]
        return plain + self._judge(addressed)

    def _judge(self, stations: Sequence[Station]) -> list[Link]:
        """The links among stations of one kind (all with an address byte, or none)."""
        ours = set(stations)
        pairs = [
            _Pair(request, response, witness, hint_of(request, response))
            for (request, response), witness in self._sightings.witnesses.items()
            if request in ours and response in ours
        ]
        known = {pair.response for pair in pairs if convinces(pair)}
        pairs = sorted(
            (p for p in pairs if convinces(p) or _explains(p, known)), key=lambda pair: pair.weight, reverse=True
        )
        groups = _groups(pairs, stations)
        physical, late_groups = _marry([pair for pair in pairs if pair.request not in groups])
        groups |= late_groups
        links = [_link(pair.request, pair.response, _how(pair)) for pair in physical]
        links += [_group_link(station, how) for station, how in groups.items()]
        links += _guesses(stations, links, {pair.response for pair in pairs})
        return links


# -- evidence ------------------------------------------------------------------------------------------


def convinces(pair: _Pair) -> bool:
    """Whether the traffic of a pair is more than chance."""
    request, response, witness, hint = pair
    if request.channel != response.channel or not _is_pure(request.n_responses, request.n_requests, request.n_strange):
        return False
    if not _is_pure(response.n_requests, response.n_responses, response.n_strange):
        return False
    if witness.n_flow > 0 and not _is_chatter(request) and not _is_chatter(response):
        return True
    if response.n_unasked * 2 > response.n_responses or not witness.n_answers:
        return False  # it speaks whether asked or not
    if hint:
        return True
    if witness.n_answers * 4 < response.n_responses:
        return False  # whoever asks for the rest is its tester
    is_alive = request.is_varied and response.is_varied
    if request.address is not None:
        return is_alive and len(witness.services) >= 2 and witness.n_echoes >= 1
    if is_alive and (len(witness.services) >= 2 or witness.n_echoes >= 2):
        return True
    if witness.n_echoes and request.n_requests == 1:
        return response.n_responses == 1 or response.is_varied
    # What is left always says the same: only tester present does that for long, slowly, and answered at once.
    is_lockstep = (
        witness.services == {0x3E} and witness.n_answers >= 3 and witness.n_answers * 10 >= request.n_requests * 9
    )
    is_unhurried = request.shortest_gap_ns >= _SLOW_NS and witness.longest_wait_ns <= _FAST_NS
    return is_lockstep and is_unhurried and witness.n_answers * 10 >= response.n_responses * 9


def _explains(pair: _Pair, known: Set[Station]) -> bool:
    """Whether a module known from better evidence gave answers that nothing but this request explains."""
    request = pair.request
    is_asking = _is_pure(request.n_responses, request.n_requests, request.n_strange)
    return is_asking and pair.response in known and pair.witness.n_alone > 0


def _is_pure(n_wrong: int, n_right: int, n_strange: int) -> bool:
    """Nearly everything it says fits its part."""
    return (n_wrong + n_strange) * 10 <= n_right + n_wrong + n_strange


def _is_chatter(station: Station) -> bool:
    """Sends what looks like flow control whether asked or not: a cyclic frame."""
    return station.n_flow_unasked * 2 > station.n_flow


#: What a physical 29-bit id holds besides priority and addresses. ISO 15765-2:2016, 10.3 (M).
_NORMAL_FIXED: Final = 0x00DA0000
_MIXED: Final = 0x00CE0000


def hint_of(request: Station, response: Station) -> str:
    """What custom or a standard says for this pair of ids; empty when nothing does."""
    a, b = request.can_id, response.can_id
    if _is_group(request):
        return "functional request by standard"
    if request.extended != response.extended:
        return ""
    if request.address is not None and request.extended and request.address == response.address:
        return "mixed addresses of each other" if _swapped(a, _MIXED) == b else ""
    if request.address is not None:
        is_named = response.address is not None and request.address == b & 0xFF and response.address == a & 0xFF
        return "each id ends in the address of its sender" if is_named else ""
    if request.extended:
        return "normal fixed addresses of each other" if _swapped(a) == b else ""
    if b - a != 8:
        return ""
    if 0x7E0 <= a <= 0x7E7:
        return "ids of ISO 15765-4"
    return "response id is request id + 8" if 0x600 <= a <= 0x7F7 else ""


def _swapped(can_id: int, form: int = _NORMAL_FIXED) -> int | None:
    """The answer id of a physical normal fixed id, or of a mixed one."""
    if can_id & PRIORITY_MASK != form:
        return None
    return can_id & 0x1FFF0000 | (can_id & 0xFF) << 8 | can_id >> 8 & 0xFF


def is_group_id(can_id: int, *, extended: bool, address: int | None = None) -> bool:
    """Functional by ISO 15765-4 (7DF), by normal fixed addressing (18DBxxyy) or by mixed addressing (18CDxxyy)."""
    if not extended:
        return can_id == 0x7DF and address is None
    return can_id & PRIORITY_MASK == (0x00DB0000 if address is None else 0x00CD0000)


def _is_group(station: Station) -> bool:
    return is_group_id(station.can_id, extended=station.extended, address=station.address)


# -- verdicts ------------------------------------------------------------------------------------------


def _groups(pairs: Sequence[_Pair], stations: Iterable[Station]) -> dict[Station, str]:
    """Stations whose requests go to several modules, with the reason."""
    groups: dict[Station, str] = {}
    for station in stations:
        answering = sorted({pair.response.can_id for pair in pairs if pair.request is station})
        is_legislated = _is_group(station)
        is_asking = station.n_requests > 0 and _is_pure(station.n_responses, station.n_requests, station.n_strange)
        if is_legislated and is_asking:
            text = f"functional id by standard; {_count(len(answering), 'id')} answered"
            groups[station] = text
        elif len(answering) > 1 and station.n_shared > 0 and not _is_of_one_module(station, pairs):
            names = ", ".join(_name(can_id, station.extended) for can_id in answering)
            groups[station] = f"its requests are answered by several ids: {names}"
    return groups


def _is_of_one_module(station: Station, pairs: Iterable[_Pair]) -> bool:
    """Physical by its id, or by flow control: a group is asked in single frames (ISO 15765-2:2016, 9.6 (M)).

    A second id that answers it has then lost the request it really answers.
    """
    if station.extended and station.address is None and _swapped(station.can_id) is not None:
        return True
    return any(pair.request is station and pair.witness.n_flow >= 1 for pair in pairs)


def _marry(pairs: Sequence[_Pair]) -> tuple[list[_Pair], dict[Station, str]]:
    """One response id for each request id, best evidence first; who is left over addresses groups."""
    married: list[_Pair] = []
    by_response: dict[Station, Station] = {}
    for pair in pairs:
        if pair.response not in by_response and all(pair.request is not other.request for other in married):
            married.append(pair)
            by_response[pair.response] = pair.request
    groups: dict[Station, str] = {}
    for pair in pairs:
        owner = by_response.get(pair.response)
        is_left = all(pair.request is not other.request for other in married)
        # One answer may be that of a lost request; two are none by chance.
        if is_left and owner is not None and pair.witness.n_alone >= 2:
            own = _name(owner.can_id, owner.extended)
            groups[pair.request] = (
                f"answered by {_name(pair.response.can_id, pair.response.extended)}, which belongs to {own}"
            )
    return married, groups


def _guesses(stations: Sequence[Station], links: Sequence[Link], answering: set[Station]) -> list[Link]:
    """Links that rest on a standard's ids or on custom: silent modules and halves of conversations."""
    taken = {side for link in links for side in _sides(link)}
    guesses: list[Link] = []
    for station in sorted(stations, key=lambda s: (s.channel, s.can_id, s.address or 0)):
        if _side(station) in taken:
            continue
        guess = _guess(station, links, station in answering)
        if guess is not None and not _sides(guess) & taken:
            guesses.append(guess)
            taken |= _sides(guess)
    return guesses


def _guess(station: Station, links: Sequence[Link], is_answering: bool) -> Link | None:
    is_asking = station.n_requests > 0 and _is_pure(station.n_responses, station.n_requests, station.n_strange)
    is_speaking = station.n_responses > 0 and _is_pure(station.n_requests, station.n_responses, station.n_strange)
    if station.address is not None:
        return _guess_addressed(station, links) if is_asking else None
    swapped = _swapped(station.can_id) if station.extended else None
    if is_asking:
        how = "no answer seen; response id by "
        if swapped is not None:
            return _guessed(station, swapped, how + "normal fixed addressing")
        if not station.extended and 0x7E0 <= station.can_id <= 0x7E7:
            return _guessed(station, station.can_id + 8, how + "ISO 15765-4")
        if station.n_suppressed == station.n_requests and station.shortest_gap_ns >= _SLOW_NS:
            return replace(_group_link(station, "only requests that ask for no answer"), guessed=True)
        return None
    if not is_speaking:
        return None
    how = "answers functional requests" if is_answering else "no request seen"
    if swapped is not None:
        return _guessed_request(station, swapped, f"{how}; request id by normal fixed addressing")
    if not station.extended and 0x7E8 <= station.can_id <= 0x7EF:
        return _guessed_request(station, station.can_id - 8, f"{how}; request id by ISO 15765-4")
    if is_answering and not station.extended and 0x608 <= station.can_id <= 0x7FF:
        return _guessed_request(station, station.can_id - 8, f"{how}; request id by the custom request + 8")
    return None


def _guess_addressed(station: Station, links: Sequence[Link]) -> Link | None:
    """A group by its id, or another address on the id of a known tester: a silent module, or a group."""
    if (station.can_id, station.extended, station.address) == _GMW_GROUP:
        return replace(_group_link(station, "functional id and address of GMW3110"), guessed=True)
    known = [
        link for link in links
        if link.channel == station.channel and link.request_id == station.can_id and link.response_id is not None
    ]  # fmt: skip
    if not known or station.address is None:
        return None
    if station.n_suppressed == station.n_requests:
        return replace(_group_link(station, "only requests that ask for no answer"), guessed=True)
    distances = {(link.response_id or 0) - (link.request_address or 0) for link in known}
    if len(distances) > 1:
        return None
    response_id = distances.pop() + station.address
    if not 0 <= response_id <= (0x1FFFFFFF if known[0].response_extended else 0x7FF):
        return None
    how = f"no answer seen; response id as with {known[0].key}"
    return replace(known[0], request_address=station.address, response_id=response_id, how=how, guessed=True)


# -- links ---------------------------------------------------------------------------------------------


def _link(request: Station, response: Station, how: str) -> Link:
    return Link(
        channel=request.channel,
        request_id=request.can_id,
        response_id=response.can_id,
        request_extended=request.extended,
        response_extended=response.extended,
        request_address=request.address,
        response_address=response.address,
        addressing=_addressing(request, response),
        how=how,
    )


def _addressing(request: Station, response: Station) -> Addressing:
    by_id = addressing_of(request.can_id, request.extended)
    if request.address is None:
        # Ids of the mixed form whose first byte is control information are plain ids after all.
        return Addressing.NORMAL if by_id is Addressing.MIXED else by_id
    # An address extension is the same in both directions, a target address is not.
    return Addressing.MIXED if request.address == response.address else Addressing.EXTENDED


def _group_link(station: Station, how: str) -> Link:
    addressing = addressing_of(station.can_id, station.extended)
    return Link(
        channel=station.channel,
        request_id=station.can_id,
        response_id=None,
        request_extended=station.extended,
        request_address=station.address,
        addressing=addressing if station.address is None or addressing is Addressing.MIXED else Addressing.EXTENDED,
        how=how,
    )


def _guessed(request: Station, response_id: int, how: str) -> Link:
    link = _group_link(request, how)
    return replace(link, response_id=response_id, response_extended=request.extended, guessed=True)


def _guessed_request(response: Station, request_id: int, how: str) -> Link:
    link = _group_link(response, how)
    return replace(
        link, request_id=request_id, response_id=response.can_id, response_extended=response.extended, guessed=True
    )


def _how(pair: _Pair) -> str:
    """The evidence in plain words."""
    witness, parts = pair.witness, []
    if witness.n_flow > 0:
        parts.append(f"{_count(max(1, round(witness.n_flow)), 'first frame')} answered by flow control")
    if witness.n_answers:
        parts.append(f"{_count(witness.n_answers, 'answer')} to {_count(len(witness.services), 'service')}")
    if pair.hint:
        parts.append(pair.hint)
    return "; ".join(parts)


def _count(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def _name(can_id: int, extended: bool) -> str:
    return f"{can_id:08X}" if extended else f"{can_id:03X}"


Side = tuple[str, int, bool, int | None]


def _side(station: Station) -> Side:
    return (station.channel, station.can_id, station.extended, station.address)


def _sides(link: Link) -> set[Side]:
    sides: set[Side] = {(link.channel, link.request_id, link.request_extended, link.request_address)}
    if link.response_id is not None:
        sides.add((link.channel, link.response_id, link.response_extended, link.response_address))
    return sides
