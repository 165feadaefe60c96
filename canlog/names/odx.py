"""Names from ODX, or several of its documents in a PDX package (ISO 22901-1), read by odxtools.

What our names hold is taken: identifiers with the layout of their bytes, routines, texts of codes. Each ECU is
a module whose label is its short name; where the file does not say its CAN ids, a names file or a job sheet must.
What a maker calls a routine's status is taken as a text (``odx_codes.py``); whether it is good is not in these files.

Theory of operation: the documents are first read by expat alone, which refuses any DOCTYPE (and with it every
entity) and too deep nesting; only then are the elements handed to the library. Nothing is unpacked to disk and the
library gets no path: it has nothing to open and nobody to ask.

Source: ISO 22901-1:2008 (M), as odxtools 11.7.1 reads it.
"""

from __future__ import annotations

import warnings
import zipfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from decimal import Decimal
from pathlib import Path
from typing import Any, Final, NamedTuple, TypeVar
from xml.etree import ElementTree
from xml.parsers import expat
from zlib import error as ZlibError  # noqa: N812  a class with the name of one

from canlog.capture.identifiers import LARGEST_11_BIT
from canlog.errors import SheetError
from canlog.isotp.addressing import id_text
from canlog.names import dids
from canlog.names.code_names import FaultName, RefusalName
from canlog.names.odx_codes import fault_names, refusal_names, texts_at
from canlog.names.signals import is_supply
from canlog.names.tables import (
    IdentifierKind,
    IdentifierName,
    ModuleName,
    Names,
    RoutineKind,
    RoutineName,
    StatusMeaning,
    StatusWord,
)
from canlog.names.value_layout import ValueField

T = TypeVar("T")
HINT: Final = "export the description again, as ODX 2.0 to 2.2 or PDX"
#: Bytes of all documents of a package, unpacked, and how many there may be.
MOST_BYTES: Final = 64 * 1024**2
MOST_DOCUMENTS: Final = 1000
_MOST_DEPTH: Final = 200
_LONGEST_REASON: Final = 200
#: What the library raises on documents that are not as it expects, besides its own error.
_LIBRARY_ERRORS: Final = (
    ValueError, LookupError, TypeError, AttributeError, AssertionError, ArithmeticError, RecursionError,
    NotImplementedError,
)  # fmt: skip
_READ, _WRITE, _ROUTINE = 0x22, 0x2E, 0x31
_ROUTINES: Final = {0xFF00: RoutineKind.ERASE, 0xFF01: RoutineKind.DEPENDENCIES}
_STATUS_AT: Final = 4  # behind service, control and routine
_HEAD_BYTES: Final = 3  # service and identifier
_LARGEST_NUMBER: Final = 4  # bytes
_NUMBERS: Final = {"A_UINT32": "u", "A_INT32": "s"}
_TEXTS: Final = {"A_ASCIISTRING": "ascii", "A_UTF8STRING": "ascii", "A_BYTEFIELD": "hex"}
#: By type: the encodings that our layouts read alike; no encoding is the usual one of the type.
_ENCODINGS: Final = {
    "A_UINT32": ("", "NONE"), "A_INT32": ("", "TWOC"), "A_ASCIISTRING": ("", "NONE", "ISO_8859_1"),
    "A_UTF8STRING": ("", "NONE", "UTF8"), "A_BYTEFIELD": ("", "NONE"),
}  # fmt: skip


class _Document(NamedTuple):
    place: str  # file, and the document in a package
    content: bytes


def load_odx(path: Path) -> Names:
    """The names in an ODX document or a PDX package.

    Raises:
        SheetError: it cannot be read, is damaged or hostile, or odxtools is not installed.
    """
    try:
        from odxtools.database import Database
        from odxtools.exceptions import OdxError
    except ImportError as error:
        raise SheetError(f"{path}: ODX needs odxtools", hint="pip install 'canlog[names]'") from error
    trees = [(one.place, _tree(one)) for one in _documents(path)]
    database, place = Database(), str(path)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            for place, tree in trees:  # noqa: B007  told when it fails
                database.add_odx_xml_tree(tree)
            place = str(path)
            database.refresh()
            return _names(path, [*database.base_variants, *database.ecu_variants])
    except (OdxError, *_LIBRARY_ERRORS) as error:
        reason = " ".join(str(error).split())[:_LONGEST_REASON] or type(error).__name__
        raise SheetError(f"{place}: no usable ODX: {reason}", hint=HINT) from error


# -- documents


def _documents(path: Path) -> list[_Document]:
    try:
        if not zipfile.is_zipfile(path):
            return [_Document(str(path), path.read_bytes())]
        with zipfile.ZipFile(path) as package:
            return list(_unpacked(path, package))
    except OSError as error:
        raise SheetError(f"{path}: {error.strerror or error}", hint="check the path") from error
    except (zipfile.BadZipFile, ZlibError, EOFError, NotImplementedError, RuntimeError, ValueError) as error:
        raise SheetError(f"{path}: the package is damaged or locked: {error}", hint=HINT) from error


def _unpacked(path: Path, package: zipfile.ZipFile) -> Iterator[_Document]:
    """The ODX documents of a package, in memory; what else is in it is not touched."""
    members = [one for one in package.infolist() if Path(one.filename).suffix.lower().startswith(".odx")]
    if not members:
        raise SheetError(f"{path}: no ODX document is in it", hint=HINT)
    left = MOST_BYTES
    for member in members[: MOST_DOCUMENTS + 1]:
        with package.open(member) as file:
            content = file.read(left + 1)  # what the directory says of its size may be a lie
        left -= len(content)
        if left < 0 or len(members) > MOST_DOCUMENTS:
            limit = f"{MOST_DOCUMENTS:,} documents or {MOST_BYTES:,} bytes unpacked"
            raise SheetError(f"{path}: more than {limit}", hint="keep what concerns the modules of this job")
        yield _Document(f"{path} ({member.filename[:80]!r})", content)


def _tree(document: _Document) -> ElementTree.Element:
    """The elements of a document that has no DOCTYPE and is not too deep."""
    depth = 0

    def refuse(*_: object) -> None:
        line = parser.CurrentLineNumber
        raise SheetError(f"{document.place}:{line}: DOCTYPE: not allowed in ODX, and not safe", hint=HINT)

    def go_in(*_: object) -> None:
        nonlocal depth
        depth += 1
        if depth > _MOST_DEPTH:
            line = parser.CurrentLineNumber
            raise SheetError(f"{document.place}:{line}: elements more than {_MOST_DEPTH} deep", hint=HINT)

    def go_out(_: str) -> None:
        nonlocal depth
        depth -= 1

    parser = expat.ParserCreate()
    parser.StartDoctypeDeclHandler = refuse
    parser.EntityDeclHandler = refuse
    parser.StartElementHandler = go_in
    parser.EndElementHandler = go_out
    try:
        parser.Parse(document.content, True)
        root = ElementTree.fromstring(document.content)
    except (expat.ExpatError, ElementTree.ParseError) as error:
        line = getattr(error, "lineno", None) or getattr(error, "position", (0,))[0]
        reason = str(error).partition(":")[0]
        raise SheetError(f"{document.place}:{line}: no well-formed XML: {reason}", hint=HINT) from error
    except (ValueError, LookupError) as error:  # an encoding that nobody knows
        raise SheetError(f"{document.place}: no well-formed XML: {error}", hint=HINT) from error
    if root.tag != "ODX":
        raise SheetError(f"{document.place}:1: {root.tag[:40]}: the first element of ODX is ODX", hint=HINT)
    return root


# -- names


def _names(path: Path, layers: Iterable[Any]) -> Names:
    modules: dict[str, ModuleName] = {}
    identifiers: dict[tuple[str, int], list[IdentifierName]] = {}
    routines: dict[tuple[str, int], RoutineName] = {}
    statuses: dict[tuple[str, int], list[tuple[bytes, str]]] = {}
    faults: list[FaultName] = []
    refusals: list[RefusalName] = []
    for layer in layers:
        label = _label(layer)
        faults += fault_names(label, layer)
        refusals += refusal_names(label, b"", layer.global_negative_responses)
        if link_key := _link_key(layer):
            modules.setdefault(label, ModuleName(label, name=layer.long_name or "", link_key=link_key, file=str(path)))
        for service in layer.services:
            fixed = _fixed_bytes(service.request)
            if fixed:
                refusals += refusal_names(label, fixed, service.negative_responses)
            if fixed[:1] in (bytes([_READ]), bytes([_WRITE])) and len(fixed) == 3:
                found = _identifier(label, int.from_bytes(fixed[1:3], "big"), service, is_read=fixed[0] == _READ)
                identifiers.setdefault((label, found.first), []).append(found)
            elif fixed[:1] == bytes([_ROUTINE]) and len(fixed) == 4 and fixed[1] in (1, 2, 3):
                routine = int.from_bytes(fixed[2:4], "big")
                kind = _ROUTINES.get(routine, RoutineKind.UNSAID)
                called = RoutineName(routine, routine, _called(service), (label,), kind, described=True)
                routines.setdefault((label, routine), called)
                for response in service.positive_responses:
                    statuses.setdefault((label, routine), []).extend(texts_at(response.parameters, _STATUS_AT))
    return Names(
        modules=tuple(modules.values()), identifiers=tuple(map(_agreed, identifiers.values())),
        routines=tuple(replace(one, status=_said(statuses.get(key, ()))) for key, one in routines.items()),
        faults=tuple(_only_one(faults, lambda one: (one.code, one.modules))),
        refusals=tuple(_only_one(refusals, lambda one: (one.code, one.request, one.modules))), files=(str(path),),
        is_description=True,
    )  # fmt: skip


def _said(texts: Iterable[tuple[bytes, str]]) -> tuple[tuple[bytes, StatusMeaning], ...]:
    return tuple((key, StatusMeaning(StatusWord.SAYS, text)) for key, text in _only_one(texts, lambda pair: pair[0]))


def _only_one(found: Iterable[T], key: Callable[[T], object]) -> list[T]:
    """What is said in one way only; a code with two texts has none."""
    said: dict[object, set[T]] = {}
    for one in found:
        said.setdefault(key(one), set()).add(one)
    return [next(iter(ways)) for ways in said.values() if len(ways) == 1]


def _agreed(found: Sequence[IdentifierName]) -> IdentifierName:
    """One of several variants of an identifier; a layout is only kept where all that have one agree on it."""
    layouts = {one.layout for one in found if one.layout}
    if len(layouts) == 1:
        return next(one for one in found if one.layout)
    return replace(found[0], layout=(), kind=_kind(found[0].first))


def _label(layer: Any) -> str:
    """Variants of an ECU are one module, named as their base."""
    base = getattr(layer, "base_variant", None)
    return str(base.short_name if base is not None else layer.short_name)


def _link_key(layer: Any) -> str:
    """Request and response id, where the file says both."""
    request, response = layer.get_can_receive_id(), layer.get_can_send_id()
    if not isinstance(request, int) or not isinstance(response, int):
        return ""
    return ">".join(id_text(number, number > LARGEST_11_BIT) for number in (request, response))


def _called(service: Any) -> str:
    return str(service.long_name or service.short_name)


def _kind(did: int) -> IdentifierKind:
    """By the standard alone."""
    if did == dids.VIN:
        return IdentifierKind.VIN
    if dids.is_tester_stamp(did):
        return IdentifierKind.FINGERPRINT
    return IdentifierKind.IDENTIFICATION if dids.is_identification(did) else IdentifierKind.OTHER


def _identifier(label: str, did: int, service: Any, *, is_read: bool) -> IdentifierName:
    carrier = next(iter(service.positive_responses), None) if is_read else service.request
    layout = _layout(carrier.parameters, _HEAD_BYTES) if carrier is not None else ()
    volts = any(is_supply(one.name, one.unit) or is_supply(service.short_name, one.unit) for one in layout)
    kind = IdentifierKind.SUPPLY if volts and _kind(did) is IdentifierKind.OTHER else _kind(did)
    return IdentifierName(did, did, _called(service), (label,), kind, layout=layout, described=True)


def _fixed_bytes(request: Any) -> bytes:
    """The constants that a request begins with; empty where they are not whole bytes, one behind the other."""
    fixed = b""
    for parameter in request.parameters if request is not None else ():
        if parameter.parameter_type != "CODED-CONST" or parameter.byte_position not in (None, len(fixed)):
            break
        n_bits = parameter.get_static_bit_length()
        if not n_bits or n_bits % 8 or parameter.bit_position or not isinstance(parameter.coded_value, int):
            break
        fixed += parameter.coded_value.to_bytes(n_bits // 8, "big")
    return fixed


def _layout(parameters: Iterable[Any], begin: int) -> tuple[ValueField, ...]:
    """The values behind the first bytes; empty where one of them is nothing that a layout can say."""
    fields: list[ValueField] = []
    at = 0
    for parameter in parameters:
        n_bits = parameter.get_static_bit_length()
        at = parameter.byte_position if parameter.byte_position is not None else at
        if not n_bits or n_bits % 8 or parameter.bit_position:
            return ()
        if at >= begin:
            field = _field(parameter, n_bits // 8)
            if field is None or at != begin + sum(one.total for one in fields):
                return ()
            fields.append(field)
        at += n_bits // 8
    return tuple(fields)


def _field(parameter: Any, size: int) -> ValueField | None:
    dop: Any = getattr(parameter, "dop", None)
    coded = getattr(dop, "diag_coded_type", None)
    if parameter.parameter_type != "VALUE" or coded is None or coded.dct_type != "STANDARD-LENGTH-TYPE":
        return None
    name = str(parameter.long_name or parameter.short_name)
    base, encoding = coded.base_data_type.name, getattr(coded.base_type_encoding, "name", "")
    if coded.bit_mask is not None or encoding not in _ENCODINGS.get(base, ()):
        return None
    if base in _TEXTS:
        return ValueField(name, _TEXTS[base], size)
    if size > _LARGEST_NUMBER:
        return None
    scaling = _scaling(dop.compu_method)
    if scaling is None:
        return None
    scale, offset = scaling
    return ValueField(
        name, f"{_NUMBERS[base]}{8 * size}", size, little_endian=not coded.is_highlow_byte_order,
        scale=scale, offset=offset, unit=str(dop.unit.display_name) if dop.unit is not None else "",
    )  # fmt: skip


def _scaling(method: Any) -> tuple[Decimal, Decimal] | None:
    """Scale and offset of a linear value; what is a choice of texts stays the number it is; None for any other."""
    if method.category.name in ("IDENTICAL", "TEXTTABLE"):
        return Decimal(1), Decimal(0)
    if method.category.name != "LINEAR":
        return None
    segment = method.segment
    factor, offset, divisor = (Decimal(str(one)) for one in (segment.factor, segment.offset, segment.denominator))
    return factor / divisor, offset / divisor
