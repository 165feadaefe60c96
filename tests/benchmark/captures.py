"""A capture of any size, the same bytes every time: a long download over busy background traffic.

Our own invention, seed below: 60 % of the frames belong to one download in blocks of 4095 bytes (or another
size) with its flow control and answers, before and after it stand the usual services; 40 % are cyclic frames
of 48 ids. Every frame has 8 bytes: 46 characters a line, 115 MB for 2.5 million.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Ints = npt.NDArray[np.int64]

SEED: Final = 20_240_305
START_US: Final = 1_709_630_000_000_000
REQUEST, RESPONSE = 0x7E0, 0x7E8
BACKGROUND_SHARE: Final = 0.4
FRAME_US: Final = 440  # between two consecutive frames of the download
WINDOW_US: Final = 20_000_000  # made and written in stretches of this length
PERIODS_MS: Final = (10,) * 8 + (20,) * 8 + (50,) * 8 + (100,) * 12 + (500,) * 6 + (1000,) * 6
_HEX: Final = np.frombuffer(b"0123456789ABCDEF", dtype=np.uint8)
_LINE: Final = np.frombuffer(b"(0000000000.000000) can0 000#0000000000000000\n", dtype=np.uint8)
LINE_BYTES: Final = len(_LINE)


class Frames(NamedTuple):
    """``time_us`` (n,), ``can_id`` (n,), ``data`` (n, 8)."""

    time_us: Ints
    can_id: Ints
    data: Bytes


def write_capture(path: Path, n_frames: int, block_bytes: int = 4095) -> int:
    """Write a capture of about as many frames; how many they are."""
    download = _Download(n_frames, block_bytes)
    written = 0
    late: list[Frames] = []  # those that fell behind the end of their stretch
    with path.open("wb") as file:
        for begin in range(0, download.end_us, WINDOW_US):
            end = min(begin + WINDOW_US, download.end_us)
            frames = _merged([*late, download.between(begin, end), _background(begin, end, download.background_rate)])
            n_now = int(np.searchsorted(frames.time_us, end))
            file.write(lines_of(Frames(*(column[:n_now] for column in frames))))
            late = [Frames(*(column[n_now:] for column in frames))]
            written += n_now
    return written


def lines_of(frames: Frames) -> bytes:
    """candump's log form."""
    text = np.tile(_LINE, (len(frames.time_us), 1))
    stamp = frames.time_us + START_US
    for at in (*range(17, 11, -1), *range(10, 0, -1)):
        stamp, digit = np.divmod(stamp, 10)
        text[:, at] = digit + ord("0")
    for nibble in range(3):
        text[:, 25 + nibble] = _HEX[frames.can_id >> (8 - 4 * nibble) & 0xF]
    text[:, 29:45:2] = _HEX[frames.data >> 4]
    text[:, 30:45:2] = _HEX[frames.data & 0xF]
    return text.tobytes()


def _merged(parts: list[Frames]) -> Frames:
    time_us = np.concatenate([part.time_us for part in parts])
    order = np.argsort(time_us, kind="stable")
    return Frames(
        time_us[order],
        np.concatenate([part.can_id for part in parts])[order],
        np.concatenate([part.data for part in parts])[order],
    )


def _background(begin_us: int, end_us: int, rate: float) -> Frames:
    """Cyclic frames; a third of the ids never change, a third count, a third carry noise."""
    usual = sum(1000 / period for period in PERIODS_MS)
    parts = []
    for number, period_ms in enumerate(PERIODS_MS):
        period_us = max(round(period_ms * 1000 * usual / rate), 1)
        first, last = -(-begin_us // period_us), -(-end_us // period_us)
        count = np.arange(first, last, dtype=np.int64)
        rng = np.random.default_rng((SEED, number, begin_us))
        time_us = count * period_us + number * 37 % 200 + rng.integers(0, 60, len(count))
        usual_data = np.random.default_rng((SEED, number)).integers(0, 256, 8, dtype=np.uint8)
        data = np.tile(usual_data, (len(count), 1))
        if number % 3 == 1:
            data[:, 7] = count & 0xFF
        elif number % 3 == 2:
            data = rng.integers(0, 256, data.shape, dtype=np.uint8)
        parts.append(Frames(time_us, np.full(len(count), 0x100 + 9 * number, dtype=np.int64), data))
    return _merged(parts)


def _single(payload: str) -> Bytes:
    data = bytes.fromhex(payload)
    return np.frombuffer((bytes([len(data)]) + data).ljust(8, b"\xaa"), dtype=np.uint8)


class _Download:
    """Session, unlock, erase, request, blocks, end, check, reset, identification; every frame by its number."""

    def __init__(self, n_frames: int, block_bytes: int) -> None:
        self.per_block = 1 + 1 + -(-(block_bytes - 6) // 7) + 1  # first, flow control, consecutive, answer
        self.block_bytes = block_bytes
        self.block_us = self.per_block * FRAME_US
        self.n_blocks = max(round(n_frames * (1 - BACKGROUND_SHARE) / self.per_block), 1)
        self.begin_us, self.background_rate = 1_000_000, 1e6 / FRAME_US * BACKGROUND_SHARE / (1 - BACKGROUND_SHARE)
        size = self.n_blocks * (block_bytes - 2)
        erase = f"3101FF00{0:08X}"  # routine with an address of 4 bytes: a long message
        self.before = [
            (REQUEST, _single("1003")), (RESPONSE, _single("5003003201F4")),
            (REQUEST, _single("1002")), (RESPONSE, _single("5002003201F4")),
            (REQUEST, _single("2701")), (RESPONSE, _single("670111223344")),
            (REQUEST, _single("2702A1B2C3D4")), (RESPONSE, _single("6702")),
            *self._long(REQUEST, RESPONSE, bytes.fromhex(erase)), (RESPONSE, _single("7101FF0000")),
            *self._long(REQUEST, RESPONSE, bytes.fromhex(f"340044{0:08X}{size:08X}")),
            (RESPONSE, _single(f"7420{block_bytes:04X}")),
        ]  # fmt: skip
        self.after = [
            (REQUEST, _single("37")), (RESPONSE, _single("77")),
            (REQUEST, _single("3101FF01")), (RESPONSE, _single("7101FF0100")),
            (REQUEST, _single("1101")), (RESPONSE, _single("5101")),
        ]  # fmt: skip
        self.last = [(REQUEST, _single("22F189")), (RESPONSE, _single("62F18930313233"))]
        self.after_us = self.begin_us + self.n_blocks * self.block_us + 10_000
        self.end_us = self.after_us + 4_000_000

    @staticmethod
    def _long(sender: int, receiver: int, payload: bytes) -> Iterator[tuple[int, Bytes]]:
        first = bytes([0x10 | len(payload) >> 8, len(payload) & 0xFF]) + payload[:6]
        yield sender, np.frombuffer(first, dtype=np.uint8)
        yield receiver, np.frombuffer(b"\x30\0\0".ljust(8, b"\xaa"), dtype=np.uint8)
        for number, at in enumerate(range(6, len(payload), 7), start=1):
            frame = bytes([0x20 | number & 0xF]) + payload[at : at + 7]
            yield sender, np.frombuffer(frame.ljust(8, b"\xaa"), dtype=np.uint8)

    def between(self, begin_us: int, end_us: int) -> Frames:
        """Its frames from ``begin_us`` to before ``end_us``."""
        few = [
            (start + at * 2_000, *frame)
            for start, frames in (
                (self.begin_us - 200_000, self.before),
                (self.after_us, self.after),
                (self.after_us + 3_000_000, self.last),
            )
            for at, frame in enumerate(frames)
            if begin_us <= start + at * 2_000 < end_us
        ]
        blocks = self._blocks(begin_us, end_us)
        if not few:
            return blocks
        times, ids, data = zip(*few, strict=True)
        return _merged([Frames(np.array(times), np.array(ids), np.stack(data)), blocks])

    def _blocks(self, begin_us: int, end_us: int) -> Frames:
        first, last = (-(-(each - self.begin_us) // FRAME_US) for each in (begin_us, end_us))
        number = np.arange(max(first, 0), min(max(last, 0), self.n_blocks * self.per_block), dtype=np.int64)
        block, place = np.divmod(number, self.per_block)
        data = np.random.default_rng((SEED, begin_us)).integers(0, 256, (len(number), 8), dtype=np.uint8)
        data[:, 0] = 0x20 | (place - 1) & 0xF
        counter = (block + 1 & 0xFF).astype(np.uint8)
        is_first, is_flow, is_answer = place == 0, place == 1, place == self.per_block - 1
        head = [0x10 | self.block_bytes >> 8, self.block_bytes & 0xFF, 0x36]
        data[is_first, :3], data[is_first, 3] = head, counter[is_first]
        data[is_flow] = np.frombuffer(b"\x30\0\0".ljust(8, b"\xaa"), dtype=np.uint8)
        data[is_answer] = _single("7600")
        data[is_answer, 2] = counter[is_answer]
        can_id = np.where(is_flow | is_answer, RESPONSE, REQUEST)
        return Frames(self.begin_us + number * FRAME_US, can_id, data)
