"""BLF binary logs: objects in zlib-packed containers.

Theory of operation: behind the file's header lie objects, each with a mark, its size and kind. A container
holds packed objects, and an object may begin in one container and end in the next. Objects of other kinds
than frames are counted. What is damaged is told apart by what it is worth: a container cut short is sound
up to the cut; one whose checksum fails is not sound anywhere, for nobody knows where a bit changed, so
none of its frames is taken. After damage reading goes on at the next mark. The header says how many bytes
and objects the file should have: fewer are a cut, even where the cut lies between two containers.

An own reader, because the library's passes over a cut in silence and its times are floating point. The
start is a date without a zone, so times are relative.

| field | bytes |
|---|---|
| file | ``LOGG``, header size, …; at 16 file size, 32 objects, 40 start: year, month, weekday, day, h, min, s, ms |
| object | ``LOBJ``, header size 2, version 2, object size 4, kind 4; then flags 4 (1: 10 µs, 2: 1 ns), …, time 8 |

Source: the open reader and writer of python-can 4.6.1 (can/io/blf.py); kinds 2 and 104 and the value 2 of a
direction are from memory (M).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable, Iterator
from datetime import datetime
from typing import Final, NamedTuple

from canlog.capture.candump_log import LARGEST_SECONDS
from canlog.capture.candump_text import NOTE_LOCAL
from canlog.capture.identifiers import CLASSIC_BYTES, FD_SIZES, LARGEST_11_BIT, LARGEST_29_BIT
from canlog.capture.records import MOST_RECORD_BYTES, ByteStream, RecordReader
from canlog.capture.send_requests import NOTE_SKIPPED, SendRequests
from canlog.capture.socketcan import Refused
from canlog.frames import FrameFlag, FrameTable, TimeKind

NAME: Final = "blf"
ABOUT: Final = "BLF binary log of CAN and CAN FD frames"
EXPECTED: Final = "no BLF file"
EVIDENCE: Final = "the mark LOGG at the start and LOBJ where objects begin"
CANNOT_TELL: Final = "the time zone of its start; the kind of an error frame"
SUFFIXES: Final = (".blf",)

_FILE: Final = struct.Struct("<4sL8xQQLL8H8H")
_OBJECT: Final = struct.Struct("<4sHHLL")
_TIME: Final = struct.Struct("<L4xQ")  # behind the object's first 16 bytes
_CONTAINER: Final = struct.Struct("<H6xL4x")
_MESSAGE: Final = struct.Struct("<HBBL8s")
_FD_MESSAGE: Final = struct.Struct("<HBBLLBBB5x64s")
_FD_MESSAGE_64: Final = struct.Struct("<BBBBLLLLLLLHBBL")
_ERROR_EXT: Final = struct.Struct("<HHLBBBxLLH2x8s")

_FILE_MARK: Final = b"LOGG"
_MARK: Final = b"LOBJ"
_CONTAINER_KIND: Final = 10
_STORED, _DEFLATED = 0, 2
_MESSAGE_KINDS: Final = (1, 86)
_ERROR_KIND, _FD_KIND, _FD_64_KIND, _ERROR_EXT_KIND, _FD_ERROR_KIND = 2, 100, 101, 73, 104

#: Where the data bytes stand behind an object's header, by kind; the id stands 4 bytes behind it in all but errors.
DATA_AT: Final = {
    **dict.fromkeys(_MESSAGE_KINDS, _MESSAGE.size - 8), _FD_KIND: _FD_MESSAGE.size - 64,
    _FD_64_KIND: _FD_MESSAGE_64.size, _ERROR_EXT_KIND: _ERROR_EXT.size - 8,
}  # fmt: skip
ID_AT: Final = 4

_EXTENDED: Final = 0x80000000
_SENT, _REMOTE = 0x01, 0x80  # flags of a message
_EDL, _BRS, _ESI = 0x1, 0x2, 0x4  # of kind 100
_REMOTE_64, _EDL_64, _BRS_64, _ESI_64 = 0x10, 0x1000, 0x2000, 0x4000  # of kind 101
_SEND_REQUEST: Final = 2  # direction of kind 101 (M)
_TEN_MICROSECONDS: Final = 1
_BUS_ERROR: Final = 0x080  # the kind is not written in linux/can/error.h's terms
_DLC_SIZES: Final[list[int]] = sorted(FD_SIZES)
_MOST_PADDING: Final = 3  # bytes behind an object
_PIECE: Final = 4096  # bytes given to zlib at once: up to 4 MB come out
_LARGEST_NS: Final = LARGEST_SECONDS * 1_000_000_000


class _Object(NamedTuple):
    kind: int
    time_ns: int
    header_bytes: int
    whole: bytes  # with its header
    position: int

    def fields(self, form: struct.Struct) -> tuple[int, ...]:
        """What a form says of its content.

        Raises:
            Refused: too short for it.
        """
        if len(self.whole) < self.header_bytes + form.size:
            raise Refused(f"an object of kind {self.kind} with {len(self.whole)} bytes")
        return form.unpack_from(self.whole, self.header_bytes)


def recognise(head: bytes) -> float:
    """1 with the mark of the file and an object behind its header, else 0."""
    if not head.startswith(_FILE_MARK) or len(head) < _FILE.size:
        return 0.0
    return 1.0 if _MARK in head else 0.0


def read(blocks: Iterable[bytes]) -> Iterator[FrameTable]:
    """The frames of a log, chunk by chunk."""
    reader = _Blf()
    return reader.tables(reader.records(ByteStream(blocks)))


class _Blf(RecordReader):
    def __init__(self) -> None:
        super().__init__(TimeKind.RELATIVE)
        self._start_ns = 0
        self._tail = b""  # an object that goes on in the next container
        self._others = 0
        self._n_objects = self._n_containers = 0
        self._is_damaged = False
        self._requests = SendRequests(frames_sent=False)

    def records(self, stream: ByteStream) -> Iterator[None]:
        """Every object of the file, added as a frame, counted or kept as damage."""
        header = stream.read(_FILE.size)
        if len(header) < _FILE.size:
            self._damage("the file's header is cut", header)
            return
        _, header_bytes, file_bytes, _, n_objects, _, *dates = _FILE.unpack(header)
        self._set_start(dates[:8])
        stream.read(max(min(header_bytes, 64 * 1024) - _FILE.size, 0))
        for each in self._objects(stream):
            self._take(each)
            yield
        if self._others:
            self.note(f"objects that are no frames (statistics, markers, settings): {self._others}")
        self._compare(file_bytes, n_objects, stream.position)

    def _set_start(self, date: list[int]) -> None:
        year, month, _, day, hour, minute, second, millisecond = date
        try:
            since = datetime(year, month, day, hour, minute, second, min(millisecond, 999) * 1000) - datetime(
                1970, 1, 1
            )
        except ValueError:
            return  # no date was known to the logger: times count from zero
        if since.days > 0:
            self._start_ns = (since.days * 86_400 + since.seconds) * 1_000_000_000 + since.microseconds * 1000
            self.note(NOTE_LOCAL)

    def _compare(self, file_bytes: int, n_objects: int, position: int) -> None:
        """What the header announces against what was there."""
        missing = n_objects - self._n_objects
        if not n_objects and not file_bytes:
            self.note("its header was never completed: the logger did not end the file")
        elif position + _MOST_PADDING < file_bytes or missing > self._n_containers:
            what = "damaged" if self._is_damaged and position >= file_bytes else "cut short"
            reason = f"the file is {what}: its header announces {n_objects} objects, {self._n_objects} are here"
            self._damage(reason, b"")
            self.note(reason)
        elif self._is_damaged:
            self.note("the file is damaged: some objects could not be read")

    def _damage(self, reason: str, data: bytes) -> None:
        self._is_damaged = True
        self.number += 1
        self.damaged(reason, data)

    def _objects(self, stream: ByteStream) -> Iterator[_Object]:
        """The objects of the file, those of containers unpacked."""
        while self._find_mark(stream):
            start = stream.peek(_OBJECT.size)
            if len(start) < _OBJECT.size:
                stream.read(len(start))
                break
            _, _, _, size, kind = _OBJECT.unpack(start)
            if not _OBJECT.size <= size <= MOST_RECORD_BYTES:
                self._damage(f"an object of {size} bytes", start)
                stream.read(len(_MARK))
                continue
            position = stream.position
            whole = stream.read(size)
            if kind != _CONTAINER_KIND:
                if len(whole) == size and (each := self._object(whole, position)) is not None:
                    yield each
                continue
            self._n_containers += 1
            yield from self._contained(whole, size, position)
        if self._tail:
            self._damage("the last object is cut", self._tail)

    def _find_mark(self, stream: ByteStream) -> bool:
        """Go to the next object; what lies between is padding of a few zeros, or damage."""
        before = stream.peek(8)
        skipped = stream.skip_to(_MARK)
        if skipped > _MOST_PADDING or before[:skipped].strip(b"\0"):
            self._damage(f"{skipped} bytes that are no object", before)
        return bool(stream.peek(len(_MARK)))

    def _contained(self, whole: bytes, size: int, position: int) -> Iterator[_Object]:
        """The objects in a container. One that fails its checksum holds none that can be trusted."""
        if len(whole) < _OBJECT.size + _CONTAINER.size:
            return
        method, _ = _CONTAINER.unpack_from(whole, _OBJECT.size)
        packed = whole[_OBJECT.size + _CONTAINER.size :]
        if method == _STORED:
            data: bytes | None = packed
        elif method == _DEFLATED:
            data = _inflate(packed, is_whole=len(whole) == size)
        else:
            data = None
        if data is None:
            self._tail = b""
            self._damage(f"a damaged container of {size} bytes: none of its frames can be trusted", whole)
            return
        yield from self._split(self._tail + data, position)

    def _split(self, data: bytes, position: int) -> Iterator[_Object]:
        """Objects one behind the other; what is left of the last is kept for the next container."""
        at = 0
        while (mark := data.find(_MARK, at)) >= 0:
            if mark - at > _MOST_PADDING or data[at:mark].strip(b"\0"):
                self._damage(f"{mark - at} bytes that are no object", data[at : at + 32])
            at = mark
            if len(data) - at < _OBJECT.size:
                break
            size = _OBJECT.unpack_from(data, at)[3]
            if not _OBJECT.size <= size <= MOST_RECORD_BYTES:
                self._damage(f"an object of {size} bytes", data[at : at + 32])
                at += len(_MARK)
                continue
            if at + size > len(data):
                break
            each = self._object(data[at : at + size], position)
            at += size
            if each is not None:
                yield each
        self._tail = data[at:] if mark >= 0 else data[max(at, len(data) - _MOST_PADDING) :].strip(b"\0")

    def _object(self, whole: bytes, position: int) -> _Object | None:
        self.number += 1
        self._n_objects += 1
        _, header_bytes, version, _, kind = _OBJECT.unpack_from(whole)
        if version not in (1, 2) or len(whole) < _OBJECT.size + _TIME.size:
            self._others += 1
            return None
        flags, count = _TIME.unpack_from(whole, _OBJECT.size)
        time_ns = self._start_ns + count * (10_000 if flags == _TEN_MICROSECONDS else 1)
        body = _OBJECT.size + (16 if version == 1 else 24)
        return _Object(kind, time_ns, max(header_bytes, body), whole, position)

    def _take(self, each: _Object) -> None:
        try:
            if each.time_ns > _LARGEST_NS:
                raise Refused("its time is out of range")
            if each.kind in _MESSAGE_KINDS:
                self._message(each)
            elif each.kind == _FD_KIND:
                self._fd_message(each)
            elif each.kind == _FD_64_KIND:
                self._fd_message_64(each)
            elif each.kind in (_ERROR_KIND, _ERROR_EXT_KIND, _FD_ERROR_KIND):
                self._error(each)
            else:
                self._others += 1
        except Refused as refusal:
            self._is_damaged = True
            self.damaged(str(refusal), each.whole)

    def _message(self, each: _Object) -> None:
        _, flags, dlc, _, _ = each.fields(_MESSAGE)
        channel, _, _, word, data = _MESSAGE.unpack_from(each.whole, each.header_bytes)
        length = _size(dlc, fd=False)
        self._frame(each, channel, word, data[:length], length, sent=flags & _SENT, remote=bool(flags & _REMOTE))

    def _fd_message(self, each: _Object) -> None:
        channel, flags, dlc, word, _, _, fd_flags, _, *_ = each.fields(_FD_MESSAGE)
        data = each.whole[each.header_bytes + _FD_MESSAGE.size - 64 :]
        length = _size(dlc, fd=bool(fd_flags & _EDL))
        kind = _fd_kind(fd_flags, _EDL, _BRS, _ESI)
        remote = bool(flags & _REMOTE) and not kind
        self._frame(each, channel, word, data[:length], length, sent=flags & _SENT, remote=remote, kind=kind)

    def _fd_message_64(self, each: _Object) -> None:
        fields = each.fields(_FD_MESSAGE_64)
        channel, dlc, n_bytes, word, fd_flags, direction, extra_at = (
            fields[0], fields[1], fields[2], fields[4], fields[6], fields[12], fields[13],
        )  # fmt: skip
        kind = _fd_kind(fd_flags, _EDL_64, _BRS_64, _ESI_64)
        length = _size(dlc, fd=bool(kind))
        remote = bool(fd_flags & _REMOTE_64) and not kind
        start = each.header_bytes + _FD_MESSAGE_64.size
        data = each.whole[start : min(start + min(n_bytes, length), extra_at or len(each.whole))]
        if not remote and len(data) < length:
            self.note("some CAN FD objects hold fewer bytes than their length; zeros were put behind them")
            data = data.ljust(length, b"\0")
        self._frame(each, channel, word, data, length, sent=direction, remote=remote, kind=kind)

    def _frame(
        self,
        each: _Object,
        channel: int,
        word: int,
        data: bytes,
        length: int,
        *,
        sent: int,
        remote: bool,
        kind: int = 0,
    ) -> None:
        can_id = word & LARGEST_29_BIT
        extended = bool(word & _EXTENDED)
        if not extended and can_id > LARGEST_11_BIT:
            raise Refused("an 11-bit id is at most 7FF")
        if not remote and len(data) < length:
            raise Refused(f"{length} bytes announced, {len(data)} there")
        if sent and self._requests.is_copy(str(channel), can_id, data, is_request=sent == _SEND_REQUEST):
            self.note(NOTE_SKIPPED)
            return
        flags = (
            kind
            | (FrameFlag.EXTENDED if extended else 0)
            | (FrameFlag.REMOTE if remote else 0)
            | (FrameFlag.SENT if sent else FrameFlag.RECEIVED)
        )
        self.add(each.time_ns, str(channel), can_id, int(flags), b"" if remote else data, each.position, length)

    def _error(self, each: _Object) -> None:
        data = b""
        if each.kind == _ERROR_EXT_KIND:
            dlc = each.fields(_ERROR_EXT)[5]
            at = each.header_bytes + _ERROR_EXT.size - CLASSIC_BYTES
            data = each.whole[at : at + min(dlc, CLASSIC_BYTES)]
        n_bytes = 1 if each.kind == _FD_ERROR_KIND else 2
        channel = int.from_bytes(each.whole[each.header_bytes :][:n_bytes], "little")
        self.add(each.time_ns, str(channel), _BUS_ERROR, FrameFlag.ERROR.value, data, each.position)


def _size(dlc: int, *, fd: bool) -> int:
    """Bytes that a data length code means; 9 to 15 mean 8 on a classic frame."""
    if dlc >= len(_DLC_SIZES):
        raise Refused(f"{dlc} is no data length code")
    return _DLC_SIZES[dlc] if fd else min(dlc, CLASSIC_BYTES)


def _fd_kind(flags: int, edl: int, brs: int, esi: int) -> int:
    if not flags & edl:
        return 0
    return int(FrameFlag.FD | (FrameFlag.BRS if flags & brs else 0) | (FrameFlag.ESI if flags & esi else 0))


def _inflate(packed: bytes, *, is_whole: bool) -> bytes | None:
    """What a container holds: up to the cut where it is cut, nothing where its checksum fails."""
    decoder = zlib.decompressobj()
    data: list[bytes] = []
    n_bytes = 0
    try:
        for at in range(0, len(packed), _PIECE):
            data.append(decoder.decompress(packed[at : at + _PIECE]))
            n_bytes += len(data[-1])
            if n_bytes > MOST_RECORD_BYTES:
                return None
    except zlib.error:
        return None
    return b"".join(data) if decoder.eof or not is_whole else None
