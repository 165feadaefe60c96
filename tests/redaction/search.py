"""What a copy must not hold, found by code of its own, and where somebody could search for it."""

from __future__ import annotations

import re
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import numpy.typing as npt

from canlog.read import read_capture, rebuild

Numbers = npt.NDArray[np.int64]
FIXTURES = Path(__file__).parents[2] / "fixtures"
VINS = {vin for path in FIXTURES.glob("*.toml") for vin in re.findall(r'^vin = "(\w{17})"', path.read_text(), re.M)}
SHORT = 6  # bytes of firmware that cannot be equal by chance, and fit into one frame
#: First bytes of messages with a record behind a two-byte identifier that identifies a part, a shop or a vehicle.
RECORDS = tuple(
    bytes.fromhex(text) for text in ("62F190", "2EF190", "62F18C", "62F184", "2EF184", "62F198", "2EF198", "5A90",
                                     "3B90", "490201")
)  # fmt: skip


def secrets_of(path: Path) -> set[bytes]:
    """By code of its own: seeds, keys, and the records of identifiers that identify."""
    found = set()
    for message in rebuild(read_capture(path)):
        data = message.data
        if data[:1] in (b"\x27", b"\x67", b"\x29", b"\x69"):
            found.add(data[2:])
        elif head := next((one for one in RECORDS if data.startswith(one)), None):
            found.add(data[len(head) :])
    whole = {one.strip(b"\0\xff ") for one in found}
    return {one for one in whole if len(one) >= 4 and len(set(one)) > 3 and b"\xff" * 4 not in one} | {
        vin.encode() for vin in VINS
    }


def texts_of(path: Path) -> Iterator[bytes]:
    """Everything that somebody could search: the file, each id's bytes in order, the rebuilt messages; in hex."""
    capture = read_capture(path)
    raw = path.read_bytes()
    yield raw.hex().encode()
    yield b"\n".join(re.sub(rb"[^0-9A-Fa-f]", b"", line).lower() for line in raw.splitlines())
    streams: dict[tuple[str, int], list[bytes]] = {}
    for frame in capture.frames():
        streams.setdefault((frame.channel, frame.can_id), []).append(frame.data)
    for frames in streams.values():
        for head in range(4):
            yield b"".join(data[head:] for data in frames).hex().encode()
    for message in rebuild(capture):
        yield message.data.hex().encode()


def windows_of(data: bytes) -> Numbers:
    """Every stretch of 6 bytes, as a number."""
    octets = np.frombuffer(data, dtype=np.uint8).astype(np.int64)
    pieces = [octets[at : len(octets) - SHORT + 1 + at] << 8 * at for at in range(SHORT)]
    return np.unique(np.sum(pieces, axis=0, dtype=np.int64)) if len(octets) >= SHORT else octets[:0]


def memory_of(path: Path) -> Numbers:
    """Of all that was transferred, whole or broken, wherever it stands, what does not stand somewhere by chance."""
    blocks = [message.data for message in rebuild(read_capture(path)) if message.data[:1] == b"\x36"]
    found = np.unique(np.concatenate([windows_of(b""), *(windows_of(data[8:]) for data in blocks)]))
    found = np.concatenate([found, *(windows_of(int(one).to_bytes(SHORT, "big")) for one in found)])  # and reversed
    varied = [len(set(int(one).to_bytes(SHORT, "little"))) >= SHORT - 1 for one in found]
    return found[np.array(varied, dtype=bool)]


def streams_of(path: Path) -> Iterator[bytes]:
    """The bytes of each id in order, with and without what stands in front of the payload, and of each packet."""
    streams: dict[tuple[str, int], list[bytes]] = {}
    for frame in read_capture(path).frames():
        streams.setdefault((frame.channel, frame.can_id), []).append(frame.data)
    for frames in streams.values():
        for head in range(4):
            yield b"".join(data[head:] for data in frames)
        yield b"\xff".join(frames)


def spellings_of(secret: bytes) -> Iterator[bytes]:
    """A value as it is, backwards, as UTF-16, and digits in BCD."""
    yield from (secret, secret[::-1])
    if secret.isascii():
        yield from (secret.decode().encode("utf-16-le"), secret.decode().encode("utf-16-be"), secret.lower())
    if secret.isdigit() and len(secret) % 2 == 0 and len(secret) >= 8:
        yield bytes.fromhex(secret.decode())


def unpacked(raw: bytes) -> bytes:
    """With what is packed by zlib in it (BLF, MF4)."""
    out = [raw]
    for match in re.finditer(rb"\x78[\x01\x5e\x9c\xda]", raw):
        try:
            out.append(zlib.decompressobj().decompress(raw[match.start() :]))
        except zlib.error:
            continue
    return b"".join(out)


def left_in(original: Path, copy: Path, beside: str = "") -> list[str]:
    """Secrets of the original that can be found in the copy, or in text that goes with it."""
    page = b"\n".join(texts_of(copy))
    raw = unpacked(copy.read_bytes())
    text = beside.encode("utf-8", "surrogateescape")
    found = []
    for secret in sorted(secrets_of(original)):
        for one in spellings_of(secret):
            in_hex = one.hex().encode() in page or one.hex().encode() in text.lower()
            if in_hex or one in raw or one in text:
                found.append(f"{secret!r} as {one!r}")
    memory = memory_of(original)
    if len(memory) and any(np.isin(memory, windows_of(one)).any() for one in streams_of(copy)):
        found.append("bytes of memory")
    return found
