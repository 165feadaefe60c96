"""candump's screen form, ``(TIME)  CHANNEL  ID   [L]  DD DD …``: one frame a line, for the eye.

Theory of operation: a pattern takes the front of a line apart (time, channel, direction, id, length);
the rest is bytes that must be as many as the length says, or the words ``remote request`` or
``ERRORFRAME``. ``[8]`` is a classic frame, ``[08]`` with two digits is CAN FD.

The head of the capture says which kind of time it has, a line with another kind is damaged. Times
below a year may count from the first frame (``-tz``) or from the line before (``-td``): differences
do not grow, so their kind is seen in the head, and they are added up.

Copied and hand-edited forms are taken too, where the length fits: no channel, ``0x`` before the id,
bytes without spaces, the length without brackets.

Source: can-utils, candump.c and lib.c at 95aae6b; the loose forms are common practice, no source.
"""

from __future__ import annotations

import re
from binascii import Error as HexError
from binascii import unhexlify
from collections import Counter
from collections.abc import Iterable, Iterator
from datetime import datetime
from enum import Enum
from itertools import pairwise
from typing import Final

from canlog.capture.candump_log import LARGEST_SECONDS, drop_marker, is_cut_name
from canlog.capture.identifiers import CLASSIC_BYTES, NOTE_UNPADDED, Identifiers, check_size
from canlog.capture.lines import FAR_NS, Damaged, LineReader, head_lines, peek
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "candump-screen"
ABOUT: Final = "candump's screen form: can0  7E0   [8]  02 10 03 00 00 00 00 00, with or without a time"
EXPECTED: Final = "no line like `can0  7E0   [3]  02 10 03`"
EVIDENCE: Final = "lines of a channel, an id, a length in brackets and as many bytes"
CANNOT_TELL: Final = "direction and BRS, ESI of CAN FD, unless candump ran with -x; the zone of a date"
SUFFIXES: Final[tuple[str, ...]] = ()

_LINE: Final = re.compile(
    rb"""\s*
    (?:\((?:(?P<date>\d{4}-\d\d-\d\d\s+\d\d:\d\d:\d\d)|(?P<seconds>\d{1,10}))(?:\.(?P<decimals>\d{1,9}))?\)\s+)?
    (?:(?P<channel>[^\s()\[\]\#]+)\s+)?
    (?:(?P<direction>RX|TX)(?:\s+(?P<brs>[B-])\s+(?P<esi>[E-]))?\s+)?
    (?:0x)?(?P<id>[0-9A-F]{1,8})\s+
    (?:\[(?P<length>\d{1,2})\]|\{(?P<raw_dlc>[9A-F])\}|(?P<bare>[0-8])(?=\s|$))
    (?P<rest>.*)""",
    re.VERBOSE | re.DOTALL | re.IGNORECASE,
)
_REST: Final = re.compile(
    rb"(?P<bytes>[0-9A-Fa-f` \t.]*?)\s*(?P<word>remote request|ERRORFRAME)?(?:\s+'.*')?\s*", re.DOTALL
)
_COLOUR: Final = re.compile(rb"\x1b\[[0-9;]*[A-Za-z]")
_XL: Final = re.compile(rb"\[\d{4}\]")
_ERROR_WORDS: Final = re.compile(rb"\t\s*[a-z]")  # candump -e explains an error frame below it

_DIRECTION: Final = {b"RX": FrameFlag.RECEIVED.value, b"TX": FrameFlag.SENT.value}
_NO_CHANNEL: Final = b"bus"  # our name where the capture has none
_EPOCH: Final = datetime(1970, 1, 1)
#: Share of backward steps above which stamps are differences: random ones step back every second time.
_DELTA_SHARE: Final = 0.1

NOTE_LOCAL: Final = "its dates are local time of the recording machine, the time zone is not known"
NOTE_DELTAS: Final = "its times are differences between lines (candump -td); they were added up"


class _Kind(Enum):
    DATE = "date"
    SECONDS = "seconds"
    NONE = "none"


def recognise(head: bytes) -> float:
    """The share of lines that are frames in this form."""
    lines = head_lines(head)
    return sum(_is_frame(line) for line in lines) / max(len(lines), 1)


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a screen capture, chunk by chunk."""
    head, blocks = peek(blocks, recognise)
    return _CandumpText(head).tables(blocks)


def _match(line: bytes) -> re.Match[bytes] | None:
    if b"\x1b" in line:
        line = _COLOUR.sub(b"", line)
    return _LINE.fullmatch(line)


def _is_frame(line: bytes) -> bool:
    match = _match(line)
    if match is None:
        return False
    try:
        _content(match)
    except Damaged:
        return False
    return True


def _kind(match: re.Match[bytes]) -> _Kind:
    if match["date"]:
        return _Kind.DATE
    return _Kind.SECONDS if match["seconds"] else _Kind.NONE


class _CandumpText(LineReader):
    def __init__(self, head: bytes) -> None:
        super().__init__()
        matches = [match for line in head_lines(head) if (match := _match(line)) and _is_frame(line)]
        kinds = Counter(map(_kind, matches))
        self._kind = kinds.most_common(1)[0][0] if kinds else _Kind.NONE
        self._channels = Counter(match["channel"] or b"" for match in matches)
        self._identifiers = Identifiers()
        self._dates: dict[bytes, int] = {}
        self._after_error = False
        self._sum_ns: int | None = None  # of differences; None where stamps are no differences
        self._settle_time([match for match in matches if _kind(match) is self._kind])

    def _settle_time(self, matches: list[re.Match[bytes]]) -> None:
        if self._kind is _Kind.NONE:
            self.rows.time_kind = TimeKind.NONE
            return
        times = [time for match in matches if (time := self._stamp_or_none(match)) is not None]
        if self._kind is _Kind.DATE:
            self.rows.time_kind = TimeKind.RELATIVE
            self.note(NOTE_LOCAL)
        elif are_differences(times):
            self._sum_ns = 0
            self.rows.time_kind = TimeKind.RELATIVE
            self.note(NOTE_DELTAS)
            return
        if times:
            self.last_ns = sorted(times)[len(times) // 2]

    def read_line(self, line: bytes, number: int, position: int) -> None:
        match = _match(line)
        if match is None:
            self._no_frame(line, number)
            return
        if _kind(match) is not self._kind:
            raise Damaged("its time is not of the kind the other lines have")
        channel = match["channel"] or b""
        if number == 1 and self._kind is _Kind.NONE and is_cut_name(channel, self._channels):
            raise Damaged("the first line is cut")
        data, length, content_flags = _content(match)
        can_id, flags = self._identifiers[match["id"]]
        if content_flags & FrameFlag.REMOTE and flags & FrameFlag.ERROR:
            raise Damaged("an error frame is never remote")
        if self._identifiers.unpadded:
            self.note(NOTE_UNPADDED)
        if direction := match["direction"]:
            flags |= _DIRECTION[direction.upper()]
        self._after_error = bool(flags & FrameFlag.ERROR)
        name = self.channel_names[channel or _NO_CHANNEL]
        self.add(self._time_ns(match), name, can_id, flags | content_flags, data, length, number, position, line)

    def _time_ns(self, match: re.Match[bytes]) -> int:
        if self._kind is _Kind.NONE:
            return 0
        stamp = self._stamp(match)
        if self._sum_ns is None:
            return stamp
        if stamp >= FAR_NS or stamp + self._sum_ns > LARGEST_SECONDS * 1_000_000_000:
            raise Damaged("its time is out of range")
        self._sum_ns += stamp
        return self._sum_ns

    def _stamp_or_none(self, match: re.Match[bytes]) -> int | None:
        try:
            return self._stamp(match)
        except Damaged:
            return None

    def _stamp(self, match: re.Match[bytes]) -> int:
        whole = self._date_seconds(match["date"]) if match["date"] else int(match["seconds"])
        if whole > LARGEST_SECONDS:
            raise Damaged("its time is out of range")
        return whole * 1_000_000_000 + int((match["decimals"] or b"").ljust(9, b"0"))

    def _date_seconds(self, text: bytes) -> int:
        """Seconds from 1970 to a local date, as if it were UTC: only differences of them mean something."""
        seconds = self._dates.get(text)
        if seconds is None:
            try:
                date = datetime.fromisoformat(b" ".join(text.split()).decode())
            except ValueError:
                raise Damaged("its date does not exist") from None
            self._dates.clear()
            seconds = self._dates[text] = (date - _EPOCH).days * 86_400 + (date - _EPOCH).seconds
        if seconds < 0 or seconds > LARGEST_SECONDS:
            raise Damaged("its time is out of range")
        return seconds

    def _no_frame(self, line: bytes, number: int) -> None:
        text = _COLOUR.sub(b"", line).strip()
        if not text or text.startswith(b"#") or (self._after_error and _ERROR_WORDS.match(line)):
            return
        marker = drop_marker(text, number)
        if marker is not None:
            self.rows.drops.append(marker)
            return
        raise Damaged("a CAN XL frame: not read by this version" if _XL.search(text) else "no CAN frame")


def _content(match: re.Match[bytes]) -> tuple[bytes, int, int]:
    """Data, length and flags of a line, from its length and what follows.

    Raises:
        Damaged: the two do not fit each other.
    """
    announced, raw_dlc, bare, text = match.group("length", "raw_dlc", "bare", "rest")
    if announced is not None and len(announced) == 1 and announced != b"9":  # as nearly all lines are
        length = int(announced)
        try:
            data = unhexlify(text.replace(b" ", b""))
        except HexError:
            data = b""
        if len(data) == length > 0:
            return data, length, 0
    rest = _REST.fullmatch(text)
    if rest is None:
        raise Damaged("what follows the length is no data")
    fd = len(announced or b"") == 2
    length = CLASSIC_BYTES if raw_dlc else int(announced or bare)
    check_size(length, fd)
    if (rest["word"] or b"").startswith(b"remote"):
        if rest["bytes"].strip() or fd:
            raise Damaged("a remote frame with data")
        return b"", length, FrameFlag.REMOTE.value
    flags = FrameFlag.FD.value if fd else 0
    if fd and match["brs"]:
        flags |= (FrameFlag.BRS if match["brs"] in b"Bb" else 0) | (FrameFlag.ESI if match["esi"] in b"Ee" else 0)
    return _data(rest["bytes"], length), length, int(flags)


def _data(text: bytes, length: int) -> bytes:
    """The bytes of a line: hex with or without spaces, swapped (``-S``, back-ticks) or binary (``-i``)."""
    parts = text.replace(b".", b" ").replace(b"`", b" ").split()
    digits = b"".join(reversed(parts) if b"`" in text else parts)
    if len(digits) == 2 * length:
        return unhexlify(digits)
    if len(digits) == 8 * length and not digits.strip(b"01"):
        return bytes(int(digits[at : at + 8], 2) for at in range(0, len(digits), 8))
    raise Damaged(f"{length} bytes announced, {len(digits) / 2:g} there")


def are_differences(times_ns: list[int]) -> bool:
    """True if small stamps count from the line before: they do not grow along the lines."""
    if len(times_ns) < 3 or max(times_ns) >= 1_000_000_000 * 1_000_000_000:
        return False
    later = times_ns[1:]  # the first is the one that counts from nothing
    backward = sum(after < before for before, after in pairwise(later))
    return backward > _DELTA_SHARE * len(later) or (later[0] > 0 and max(later) == min(later))
