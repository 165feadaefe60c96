"""XCP and CCP: measurement and calibration, each on two ids that nothing fixes.

Theory of operation: what is sure is how a session begins. XCP: CONNECT (FF, mode 00 or 01), answered by FF with
resources, a basic mode, two sizes and the versions of protocol and transport. CCP: every command carries a counter
that its answer (FF, code, counter) repeats, the first is CONNECT (01). A capture that begins inside a session is not
recognised.

Source: ASAM MCD-1 XCP 1.1, part 2, 7.5.1.1 (M); ASAP CCP 2.1, 4 (M); fields as scapy 2.8.0 has them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Final

from canlog.frames import Frame
from canlog.other.traffic import Bus, OtherTraffic, Seen, Sign

XCP_CONNECT, XCP_POSITIVE, XCP_ERROR = 0xFF, 0xFF, 0xFE
#: Commands of XCP stand above, data transfer requests below.
XCP_LEAST_COMMAND: Final = 0xC0
_XCP_RESOURCES: Final = 0x3D  # calibration, DAQ, STIM, PGM, debug
_LEAST_CTO: Final = 8
CCP_CONNECT, CCP_ANSWER = 0x01, 0xFF
CCP_COMMANDS: Final = frozenset(
    {*range(0x01, 0x0A), 0x0C, 0x0D, *range(0x0E, 0x14), *range(0x14, 0x1B), 0x1B, *range(0x20, 0x24)}
)
#: An answer comes this soon (common practice, no source).
_SOON_NS: Final = 1_000_000_000
_MOST_ANSWERS: Final = 5
_FRAME_BYTES: Final = 8

IsCommand = Callable[[Frame], bool]
Signs = Callable[[tuple[Frame, ...], tuple[Frame, ...]], Iterator[Sign]]


def recognise_xcp(bus: Bus) -> list[OtherTraffic]:
    """XCP sessions on a channel, one for each pair of ids."""
    return _sessions(bus, "XCP", _is_xcp_command, _xcp_signs)


def recognise_ccp(bus: Bus) -> list[OtherTraffic]:
    """CCP sessions on a channel, one for each pair of ids."""
    return _sessions(bus, "CCP", _is_ccp_command, _ccp_signs)


def _sessions(bus: Bus, protocol: str, is_command: IsCommand, signs: Signs) -> list[OtherTraffic]:
    """An id that sends nothing but commands, with every other id that may answer them."""
    talks = [(one, bus.first_frames(one)) for one in bus.ids]
    masters = [(one, frames) for one, frames in talks if frames and all(map(is_command, frames))]
    found = []
    for master, asked in masters:
        for slave, answered in talks:
            if slave is not master and answered:
                found += bus.named(protocol, signs(asked, answered))
    return found


def _is_xcp_command(frame: Frame) -> bool:
    return len(frame.data) > 0 and frame.data[0] >= XCP_LEAST_COMMAND


def _xcp_signs(asked: tuple[Frame, ...], answered: tuple[Frame, ...]) -> Iterator[Sign]:
    is_connected = False
    for ask, answer in _pairs(asked, answered):
        if not is_connected:
            is_connected = _is_xcp_connect(ask, answer)
            if is_connected:
                text = f"CONNECT ({ask.can_id:X}) and its answer ({answer.can_id:X})"
                yield Sign(5, Seen(text, (ask.line, answer.line)))
        elif answer.data[0] in (XCP_POSITIVE, XCP_ERROR):
            yield Sign(1, Seen(f"command {ask.data[0]:02X}, answered", (ask.line, answer.line)))


def _is_xcp_connect(ask: Frame, answer: Frame) -> bool:
    """CONNECT and an answer whose fields make sense."""
    if ask.data[0] != XCP_CONNECT or ask.data[1:2] not in (b"\x00", b"\x01") or len(answer.data) < _FRAME_BYTES:
        return False
    code, resources, mode, max_cto, *_, protocol, transport = answer.data[:_FRAME_BYTES]
    max_dto = int.from_bytes(answer.data[4:6], "big" if mode & 1 else "little")
    is_sized = max_cto >= _LEAST_CTO and max_dto >= max_cto
    return code == XCP_POSITIVE and not resources & ~_XCP_RESOURCES and is_sized and protocol == 1 == transport


def _is_ccp_command(frame: Frame) -> bool:
    return len(frame.data) == _FRAME_BYTES and frame.data[0] in CCP_COMMANDS


def _ccp_signs(asked: tuple[Frame, ...], answered: tuple[Frame, ...]) -> Iterator[Sign]:
    counter: int | None = None
    for ask, answer in _pairs(asked, answered):
        is_echo = len(answer.data) == _FRAME_BYTES and answer.data[0] == CCP_ANSWER and answer.data[2] == ask.data[1]
        is_next = counter is None or ask.data[1] == (counter + 1) & 0xFF
        if not is_echo or not is_next or (counter is None and ask.data[0] != CCP_CONNECT):
            return
        counter = ask.data[1]
        text = (
            f"command {ask.data[0]:02X} ({ask.can_id:X}), its counter {counter:02X} in the answer ({answer.can_id:X})"
        )
        yield Sign(3 if ask.data[0] == CCP_CONNECT else 2, Seen(text, (ask.line, answer.line)))


def _pairs(asked: tuple[Frame, ...], answered: tuple[Frame, ...]) -> Iterator[tuple[Frame, Frame]]:
    """Each command with the first frame of the other id behind it, in front of the next command."""
    ends = [*(frame.line for frame in asked[1:]), None]
    n_pairs = 0
    for ask, end in zip(asked, ends, strict=True):
        answer = next((frame for frame in answered if frame.line > ask.line), None)
        is_its = answer is not None and (end is None or answer.line < end)
        if answer is not None and is_its and answer.data and 0 <= answer.time_ns - ask.time_ns < _SOON_NS:
            yield ask, answer
            n_pairs += 1
        if n_pairs >= _MOST_ANSWERS:
            return
