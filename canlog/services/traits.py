"""What an operation needs to know of a dialect: one table, and the few readers that follow it.

Where a download ends, whether blocks are counted or addressed, which services read, write, clear and reset, how a
programming session is entered and left, and what proves that it worked. A new dialect is one row.

Source: ISO 14229-1:2020 (M), ISO 14230-3 (M), GMW3110 1.6 (M), SAE J1979 (M); services and layouts as in ``kwp``,
``gmw3110`` and the UDS files. What proves a download: common practice, no source; that A2 does: GMW3110 (M).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final, NamedTuple

from canlog.names.dids import IDENTIFICATIONS, changes_with_software, is_tester_stamp
from canlog.services.decode import DIALECTS, decode_request, decode_response, dialect_named
from canlog.services.gmw3110 import EXECUTE, PART_IDENTIFIERS
from canlog.services.layout import Kind

TRANSFER: Final = 0x36


class BlockCounter(StrEnum):
    """Whether a block of 36 begins with a counter."""

    ALWAYS = "always"
    BY_MODULE = "by module"  # see ``kwp.blocks_are_counted``
    NEVER = "never"


class AddressIn(StrEnum):
    """What names the address of the data carried."""

    REQUEST = "the request for the download"
    BLOCK = "each block"
    NOWHERE = "nothing"


class Act(StrEnum):
    """What a request asks for, whatever number its dialect has for it."""

    SESSION = "session"
    RESET = "reset"
    UNLOCK = "unlock"
    AUTHENTICATE = "authenticate"
    READ = "read"
    WRITE = "write"
    READ_MEMORY = "read memory"
    WRITE_MEMORY = "write memory"
    ROUTINE = "routine"
    CONTROL = "control"
    DOWNLOAD = "download"
    UPLOAD = "upload"
    FILE = "file"
    BLOCK = "block"
    EXIT = "exit"
    READ_FAULTS = "read faults"
    CLEAR = "clear"
    QUIET = "quiet"
    FAULT_SETTING = "fault setting"
    TESTER_PRESENT = "tester present"
    PROGRAMMED_STATE = "programmed state"
    OTHER = "other"


#: The steps of a transfer of memory.
TRANSFERRING: Final = frozenset({Act.DOWNLOAD, Act.UPLOAD, Act.FILE, Act.BLOCK, Act.EXIT})

DEFAULT_SESSION, PROGRAMMING_SESSION = 0x01, 0x02
ROUTINE_START, ROUTINE_STOP, ROUTINE_RESULT = 0x01, 0x02, 0x03


@dataclass(frozen=True, slots=True)
class DialectTraits:
    """One dialect, as operations see it. Services are request identifiers; None where it has none.

    ``reads`` and ``writes`` give the bytes of the identifier by service, ``clears`` the bytes that the answer
    repeats. ``programming_steps`` are the requests, in order, that enter programming (each step: any of them);
    ``returns_to_normal`` are those that leave it. ``erases`` are the beginnings of an erase request;
    ``erase_said`` says how sure that is. ``identification`` are (service, identifiers) that say which software
    is in the module: no VIN, no fingerprint, no date that a tester leaves behind. ``asks_silent`` are what a module
    that fell silent is asked with: whether it is there, then whether it can be programmed. The other requests that
    advice names begin as they stand here; what a module wants behind it is its maker's.
    """

    dialect: str
    title: str
    # carrying memory
    download: int | None = None
    upload: int | None = None
    file_transfer: int | None = None
    transfer_end: int | None = None
    block_counter: BlockCounter = BlockCounter.NEVER
    address_in: AddressIn = AddressIn.NOWHERE
    announces_size: bool = False
    answers_block_length: bool = False
    can_execute_block: bool = False
    erases: tuple[bytes, ...] = ()
    erase_said: str = "none"
    # data
    reads: Mapping[int, int] = field(default_factory=dict)
    writes: Mapping[int, int] = field(default_factory=dict)
    read_memory: int | None = None
    write_memory: int | None = None
    reads_vin: tuple[bytes, ...] = ()
    identification: tuple[tuple[int, frozenset[int]], ...] = ()
    # routines
    routine_start: bytes = b""
    routine_stop: bytes = b""
    routine_results: bytes = b""
    routine_bytes: int = 0
    # fault memory
    fault_reads: tuple[int, ...] = ()
    clears: Mapping[int, int] = field(default_factory=dict)
    # sessions and upkeep
    session: int | None = None
    unlock: int | None = None
    authenticate: int | None = None
    controls: tuple[int, ...] = ()
    quiet: tuple[int, ...] = ()
    fault_setting: int | None = None
    programming_steps: tuple[tuple[bytes, ...], ...] = ()
    returns_to_normal: tuple[bytes, ...] = ()
    tester_present: tuple[bytes, ...] = ()
    # what advice tells a person to send
    asks_silent: tuple[bytes, ...] = ()
    lists_faults: bytes = b""
    allows_messages: bytes = b""
    stores_faults: bytes = b""
    reads_session: bytes = b""
    reset: int | None = None
    reset_is_echoed: bool = False
    programmed_state: int | None = None
    proves_download: tuple[str, ...] = ()


_OBD_FAULTS: Final = (0x03, 0x07, 0x0A)
_OBD_IDENTITY: Final = (0x09, frozenset({0x04, 0x06}))
_UDS_IDENTITY: Final = (
    0x22,
    frozenset({did for did in IDENTIFICATIONS if changes_with_software(did) and not is_tester_stamp(did)})
    | {0xF804, 0xF806},
)
#: 88, 90 (VINs), 98-9B and 9F (fingerprints, shop codes, dates in one flavour or the other) are left out.
_KWP_IDENTITY: Final = (0x1A, frozenset({0x80, 0x86, 0x87, *range(0x91, 0x98), 0x9C, 0x9D, 0x9E}))


def _of(**services: int) -> Mapping[int, int]:
    """``_22=2`` is service 22 with 2."""
    return {int(name[1:], 16): value for name, value in services.items()}


#: One row per dialect of ``DIALECTS``.
TRAITS: Final[dict[str, DialectTraits]] = {
    "uds": DialectTraits(
        dialect="uds",
        title="UDS (ISO 14229-1)",
        download=0x34,
        upload=0x35,
        file_transfer=0x38,
        transfer_end=0x37,
        block_counter=BlockCounter.ALWAYS,
        address_in=AddressIn.REQUEST,
        announces_size=True,
        answers_block_length=True,
        erases=(b"\x31\x01\xff\x00", b"\x31\x81\xff\x00"),
        erase_said="routine FF00 by the standard, or one of the maker's",
        reads=_of(_22=2),
        writes=_of(_2E=2),
        read_memory=0x23,
        write_memory=0x3D,
        reads_vin=(b"\x22\xf1\x90", b"\x22\xf8\x02", b"\x09\x02"),
        identification=(_UDS_IDENTITY, _OBD_IDENTITY),
        routine_start=b"\x31\x01",
        routine_stop=b"\x31\x02",
        routine_results=b"\x31\x03",
        routine_bytes=2,
        fault_reads=(0x19, *_OBD_FAULTS),
        clears=_of(_14=0, _04=0),
        session=0x10,
        unlock=0x27,
        authenticate=0x29,
        controls=(0x2F,),
        quiet=(0x28,),
        fault_setting=0x85,
        programming_steps=((b"\x10\x02", b"\x10\x82"),),
        returns_to_normal=(b"\x10\x01", b"\x10\x81"),
        tester_present=(b"\x3e\x00", b"\x3e\x80"),
        asks_silent=(b"\x3e\x00", b"\x10\x02"),
        lists_faults=b"\x19\x02",
        allows_messages=b"\x28\x00",
        stores_faults=b"\x85\x01",
        reads_session=b"\x22\xf1\x86",
        reset=0x11,
        reset_is_echoed=True,
        proves_download=(
            "a check routine whose status is known to be good",
            "the new identification, read after the reset",
            "a read-back of the memory",
        ),
    ),
    "kwp2000": DialectTraits(
        dialect="kwp2000",
        title="KWP2000 on CAN (ISO 14230-3)",
        download=0x34,
        upload=0x35,
        transfer_end=0x37,
        block_counter=BlockCounter.BY_MODULE,
        address_in=AddressIn.REQUEST,
        announces_size=True,
        answers_block_length=True,
        erases=(b"\x31\xe0",),
        erase_said="a local routine of the maker's; E0 in one flavour (scapy 2.8.0)",
        reads=_of(_1A=1, _21=1, _22=2),
        writes=_of(_2E=2, _3B=1),
        read_memory=0x23,
        write_memory=0x3D,
        reads_vin=(b"\x1a\x90", b"\x09\x02"),
        identification=(_KWP_IDENTITY, _OBD_IDENTITY),
        routine_start=b"\x31",
        routine_stop=b"\x32",
        routine_results=b"\x33",
        routine_bytes=1,
        fault_reads=(0x18, 0x17, 0x13, *_OBD_FAULTS),
        clears=_of(_14=2, _04=0),
        session=0x10,
        unlock=0x27,
        controls=(0x2F, 0x30),
        quiet=(0x28, 0x29),
        fault_setting=0x85,
        programming_steps=((b"\x10\x85",),),
        returns_to_normal=(b"\x10\x81", b"\x20"),
        tester_present=(b"\x3e\x01", b"\x3e\x02", b"\x3e"),
        asks_silent=(b"\x3e\x01", b"\x10\x85"),
        lists_faults=b"\x18\x00\xff\x00",
        allows_messages=b"\x29\x01",
        stores_faults=b"\x85\x01\xff\x00\x01",
        reset=0x11,
        proves_download=(
            "a check routine whose status is known to be good",
            "the new identification (1A), read after the reset",
            "a read-back of the memory",
        ),
    ),
    "gmw3110": DialectTraits(
        dialect="gmw3110",
        title="GMW3110 1.6",
        download=0x34,
        block_counter=BlockCounter.NEVER,
        address_in=AddressIn.BLOCK,
        announces_size=True,
        can_execute_block=True,
        erase_said="none of its own: the module erases while it answers 34 with 78 (M)",
        reads=_of(_1A=1, _22=2),
        writes=_of(_3B=1),
        read_memory=0x23,
        reads_vin=(b"\x1a\x90", b"\x09\x02"),
        identification=((0x1A, PART_IDENTIFIERS), _OBD_IDENTITY),
        fault_reads=(0xA9, 0x12, *_OBD_FAULTS),
        clears=_of(_04=0),
        unlock=0x27,
        controls=(0xAE,),
        quiet=(0x28,),
        fault_setting=0x10,
        programming_steps=((b"\xa5\x01", b"\xa5\x02"), (b"\xa5\x03",)),
        returns_to_normal=(b"\x20",),
        tester_present=(b"\x3e",),
        asks_silent=(b"\x3e", b"\xa2"),
        lists_faults=b"\xa9\x81\xff",
        allows_messages=b"\x20",
        stores_faults=b"\x20",
        programmed_state=0xA2,
        proves_download=(
            "programmed state 00 (E2 00), read after the return to normal mode or a reset",
            "the part numbers (1A C0-CC), read after it",
        ),
    ),
    "obd": DialectTraits(
        dialect="obd",
        title="emission diagnostics (SAE J1979)",
        reads=_of(_01=1, _09=1),
        reads_vin=(b"\x09\x02",),
        identification=(_OBD_IDENTITY,),
        fault_reads=_OBD_FAULTS,
        clears=_of(_04=0),
        asks_silent=(b"\x01\x00",),
        lists_faults=b"\x03",
    ),
}


def _acts(traits: DialectTraits) -> dict[int, Act]:
    """Services by what they do."""
    single = {
        traits.session: Act.SESSION,
        traits.reset: Act.RESET,
        traits.unlock: Act.UNLOCK,
        traits.authenticate: Act.AUTHENTICATE,
        traits.read_memory: Act.READ_MEMORY,
        traits.write_memory: Act.WRITE_MEMORY,
        traits.download: Act.DOWNLOAD,
        traits.upload: Act.UPLOAD,
        traits.file_transfer: Act.FILE,
        traits.transfer_end: Act.EXIT,
        traits.fault_setting: Act.FAULT_SETTING,
        traits.programmed_state: Act.PROGRAMMED_STATE,
    }
    acts = {service: act for service, act in single.items() if service is not None}
    acts |= dict.fromkeys(traits.reads, Act.READ) | dict.fromkeys(traits.writes, Act.WRITE)
    acts |= dict.fromkeys(traits.fault_reads, Act.READ_FAULTS) | dict.fromkeys(traits.clears, Act.CLEAR)
    acts |= dict.fromkeys(traits.quiet, Act.QUIET) | dict.fromkeys(traits.controls, Act.CONTROL)
    acts |= {asked[0]: Act.TESTER_PRESENT for asked in traits.tester_present}
    acts |= {
        asked[0]: Act.ROUTINE for asked in (traits.routine_start, traits.routine_stop, traits.routine_results) if asked
    }
    acts |= {asked[0]: Act.SESSION for asked in traits.returns_to_normal}
    acts |= {asked[0]: Act.SESSION for step in traits.programming_steps for asked in step}
    return acts | ({TRANSFER: Act.BLOCK} if traits.download is not None else {})


#: What each service of a dialect does; one that is not here is of no account to a job.
ACTS: Final[dict[str, dict[int, Act]]] = {name: _acts(traits) for name, traits in TRAITS.items()}


def act_of(service: int, dialect: str) -> Act:
    """What a service does in a dialect."""
    return ACTS[dialect].get(service, Act.OTHER)


class Order(NamedTuple):
    """An order that stands until it is lifted: the beginnings of requests that give it, and that take it back.

    ``switch`` is the place of the byte that says which, counted from the service; None where the service says it.
    """

    off: frozenset[int]
    on: frozenset[int]
    switch: int | None = 1
    has_suppress_bit: bool = False

    def given_by(self, request: bytes) -> bool | None:
        """True where a request of this service gives the order, False where it takes it back, else None."""
        if len(request) <= (self.switch or 0):
            return None
        said = request[self.switch or 0] & (0x7F if self.has_suppress_bit else 0xFF)
        return True if said in self.off else False if said in self.on else None


#: Orders to send no normal messages. The return to normal mode (20) takes that of GMW3110 back.
_QUIET: Final[dict[str, Order]] = {
    "uds": Order(frozenset({0x01, 0x02, 0x03, 0x04}), frozenset({0x00, 0x05}), has_suppress_bit=True),
    "kwp2000": Order(frozenset({0x28}), frozenset({0x29}), switch=None),
    "gmw3110": Order(frozenset({0x28}), frozenset(), switch=None),
}

#: Orders to store no faults. KWP2000 names who shall answer and a group of faults before it says on or off.
_NO_FAULTS: Final[dict[str, Order]] = {
    "uds": Order(frozenset({0x02}), frozenset({0x01}), has_suppress_bit=True),
    "kwp2000": Order(frozenset({0x02}), frozenset({0x01}), switch=4),
    "gmw3110": Order(frozenset({0x02}), frozenset({0x03})),
}


def orders_quiet(request: bytes, dialect: str) -> bool | None:
    """True for an order to stop normal messages, False for one to send them again, None for any other request.

    UDS 28 and its sub-function; KWP2000 28 and 29; GMW3110 28.
    """
    return _given(_QUIET, Act.QUIET, request, dialect)


def orders_no_faults(request: bytes, dialect: str) -> bool | None:
    """True for an order to store no faults, False for one to store them again, None for any other request.

    UDS 85 and its sub-function; KWP2000 85 and its last byte; GMW3110 10 02 and 10 03.
    """
    return _given(_NO_FAULTS, Act.FAULT_SETTING, request, dialect)


def _given(orders: Mapping[str, Order], act: Act, request: bytes, dialect: str) -> bool | None:
    if not request or act_of(request[0], dialect) is not act or dialect not in orders:
        return None
    return orders[dialect].given_by(request)


class RoutineAsked(NamedTuple):
    """A routine: start, stop or result as UDS numbers them, its identifier, and the bytes in front of the rest."""

    control: int
    identifier: int
    head: int


def routine_asked(request: bytes, dialect: str) -> RoutineAsked | None:
    """Which routine a request is about; None for any other request, or one too short."""
    traits = traits_of(dialect)
    width = traits.routine_bytes
    if dialect == "uds":
        control, at = (request[1] & 0x7F if len(request) > 1 else 0), 2
    else:
        by_service = {traits.routine_start: ROUTINE_START, traits.routine_stop: ROUTINE_STOP}
        by_service |= {traits.routine_results: ROUTINE_RESULT}
        control, at = by_service.get(request[:1], 0), 1
    if not width or len(request) < at + width:
        return None
    return RoutineAsked(control, int.from_bytes(request[at : at + width], "big"), at + width)


def session_asked(request: bytes, dialect: str) -> int | None:
    """The session that a request asks for, as UDS numbers it where the meaning is the same.

    Programming is 02 and the default session 01 in every dialect; any other is the dialect's own number. None for
    any other request.
    """
    traits = traits_of(dialect)
    if returns_to_normal(request, dialect):
        return DEFAULT_SESSION
    if programming_step(request, dialect) == len(traits.programming_steps) > 0:
        return PROGRAMMING_SESSION
    if traits.session is None or request[:1] != bytes([traits.session]) or len(request) < 2:
        return None
    return request[1] & 0x7F if dialect == "uds" else request[1]


def restarts(request: bytes, dialect: str) -> bool:
    """A reset that starts the module anew; rapid power shutdown (UDS 04, 05) does not."""
    traits = traits_of(dialect)
    if traits.reset is None or request[:1] != bytes([traits.reset]) or len(request) < 2:
        return False
    return dialect != "uds" or request[1] & 0x7F not in (0x04, 0x05)


def traits_of(dialect: str) -> DialectTraits:
    """The row of a dialect.

    Raises:
        ValueError: no such dialect.
    """
    return TRAITS[dialect_named(dialect).name]


class Location(NamedTuple):
    """What a request for a download or upload asks for; None where it does not say."""

    address: int | None
    size: int | None
    data_format: int | None


def location_of(request: bytes, dialect: str) -> Location | None:
    """Address, size and format of a 34 or 35; None for any other request, or where it cannot be read."""
    traits = traits_of(dialect)
    if not request or request[0] not in (traits.download, traits.upload):
        return None
    decoded = decode_request(request, dialect)
    if decoded.problems:
        return None
    address, size, data_format = (
        value if isinstance(value := decoded.get(name), int) else None
        for name in ("memory_address", "memory_size", "data_format_identifier")
    )
    return Location(address, size, data_format)


class Block(NamedTuple):
    """One 36: what it carries and how it is placed."""

    data: bytes
    counter: int | None = None
    address: int | None = None
    executes: bool = False  # GMW3110 sub-function 80: what was carried is started


def block_of(
    request: bytes, dialect: str, *, counted: bool | None = None, address_bytes: int | None = None
) -> Block | None:  # fmt: skip
    """The data of a 36, with its counter or address; None for any other request or one too short.

    Args:
        request: the message.
        dialect: a key of ``TRAITS``.
        counted: KWP2000 only, from ``kwp.blocks_are_counted``; unless True, all bytes are data.
        address_bytes: GMW3110 only, from ``gmw3110.address_bytes_of``; without it there is no block.
    """
    traits = traits_of(dialect)
    if request[:1] != bytes([TRANSFER]) or traits.download is None:
        return None
    if traits.address_in is AddressIn.BLOCK:
        if address_bytes is None or len(request) < 2 + address_bytes:
            return None
        address = int.from_bytes(request[2 : 2 + address_bytes], "big")
        return Block(request[2 + address_bytes :], address=address, executes=request[1] == EXECUTE)
    if traits.block_counter is BlockCounter.BY_MODULE and not counted:
        return Block(request[1:])
    return Block(request[2:], counter=request[1]) if len(request) > 1 else None


class Item(NamedTuple):
    """An identifier with its data, written or read."""

    service: int
    identifier: int
    identifier_bytes: int
    data: bytes


def item_written(request: bytes, dialect: str) -> Item | None:
    """What a write by identifier asks to store; None for any other request."""
    return _item(request, traits_of(dialect).writes, 0)


def item_read(response: bytes, dialect: str) -> Item | None:
    """What a positive answer to a read of one identifier carries; None for any other message."""
    return _item(response, traits_of(dialect).reads, 0x40)


def _item(message: bytes, services: Mapping[int, int], offset: int) -> Item | None:
    service = message[0] - offset if message else -1
    width = services.get(service)
    if width is None or len(message) <= 1 + width:
        return None
    return Item(service, int.from_bytes(message[1 : 1 + width], "big"), width, message[1 + width :])


def identifier_asked(request: bytes, dialect: str) -> int | None:
    """The (first) identifier of a request to read data by identifier; None for any other request."""
    width = traits_of(dialect).reads.get(request[0]) if request else None
    if width is None or len(request) <= width:
        return None
    return int.from_bytes(request[1 : 1 + width], "big")


def identification_asked(request: bytes, dialect: str) -> int | None:
    """The identifier of a request that reads which software or part this is; None for any other request."""
    traits = traits_of(dialect)
    for service, identifiers in traits.identification:
        width = traits.reads.get(service, 1)
        asked = int.from_bytes(request[1 : 1 + width], "big")
        if request[:1] == bytes([service]) and len(request) >= 1 + width and asked in identifiers:
            return asked
    return None


def programming_step(request: bytes, dialect: str) -> int | None:
    """Which step towards programming a request is, from 1; the last one enters it. None for any other request."""
    for number, step in enumerate(traits_of(dialect).programming_steps, start=1):
        if request in step:
            return number
    return None


def returns_to_normal(request: bytes, dialect: str) -> bool:
    """True for a request that ends programming and brings the module back to its default session."""
    return request in traits_of(dialect).returns_to_normal


def is_tester_present(request: bytes, dialect: str) -> bool:
    """True for a request that only keeps a session alive."""
    return request in traits_of(dialect).tester_present


def programmed_state(response: bytes, dialect: str) -> int | None:
    """The state that a module reports (E2 …); None for any other message or dialect.

    Read it with ``gmw3110.PROGRAMMED_STATES``: only 00 is a module with everything in place.
    """
    if traits_of(dialect).programmed_state is None:
        return None
    decoded = decode_response(response, dialect)
    if decoded.kind is not Kind.POSITIVE or "programmed_state" not in decoded or decoded.problems:
        return None
    return decoded.number("programmed_state")


if set(TRAITS) != set(DIALECTS):  # a dialect without a row would fail far from here
    raise RuntimeError("a dialect has no traits")
