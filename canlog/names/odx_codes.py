"""Texts of codes in ODX: fault codes, negative responses, results of routines (ISO 22901-1, read by odxtools).

A text says what its author calls a code. Whether a status is good it does not say, so it never proves anything.
What two variants or two services say differently is left out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Any, Final

from canlog.names.code_names import LONGEST_TEXT, FaultName, RefusalName
from canlog.names.dtc import dtc_text, two_byte_dtc_text
from canlog.names.nrc import NRCS

#: Behind 7F and the service.
_CODE_AT: Final = 2
#: Wider ranges of a text table are no names of single values.
_WIDEST_RANGE: Final = 256
_LARGEST_STATUS: Final = 4  # bytes


def fault_names(label: str, layer: Any) -> Iterator[FaultName]:
    """The fault codes of an ECU that a description names."""
    spec = layer.diag_data_dictionary_spec
    for dop in spec.dtc_dops if spec is not None else ():
        n_bits = getattr(dop.diag_coded_type, "bit_length", None)
        for one in dop.dtcs:
            name = one_line(str(one.text) or one.long_name or one.short_name)
            if n_bits in (16, 24) and 0 <= one.trouble_code < 1 << n_bits and name:
                write = dtc_text if n_bits == 24 else two_byte_dtc_text
                yield FaultName(write(one.trouble_code), name, (label,), described=True)


def refusal_names(label: str, request: bytes, responses: Iterable[Any]) -> Iterator[RefusalName]:
    """Codes of negative responses that a text table names otherwise than the standard does."""
    for response in responses:
        only = {
            code
            for one in response.parameters
            if one.parameter_type == "NRC-CONST" and one.byte_position == _CODE_AT
            for code in one.coded_values
        }
        for key, text in texts_at(response.parameters, _CODE_AT):
            if len(key) == 1 and (not only or key[0] in only) and not _is_standard(key[0], text):
                yield RefusalName(key[0], text, request, (label,), described=True)


def texts_at(parameters: Iterable[Any], begin: int) -> Iterator[tuple[bytes, str]]:
    """The bytes of a value that begins at a byte, with its texts."""
    at = 0
    for parameter in parameters:
        n_bits = parameter.get_static_bit_length()
        at = parameter.byte_position if parameter.byte_position is not None else at
        if not n_bits or n_bits % 8 or parameter.bit_position:
            return
        if at == begin and parameter.parameter_type == "VALUE" and n_bits // 8 <= _LARGEST_STATUS:
            yield from _texts(parameter, n_bits // 8)
        at += n_bits // 8


def _texts(parameter: Any, size: int) -> Iterator[tuple[bytes, str]]:
    method = getattr(parameter.dop, "compu_method", None)
    coded = getattr(parameter.dop, "diag_coded_type", None)
    if method is None or coded is None or method.category.name != "TEXTTABLE":
        return
    if (
        coded.dct_type != "STANDARD-LENGTH-TYPE"
        or coded.base_data_type.name != "A_UINT32"
        or coded.bit_mask is not None
    ):
        return
    scales = method.compu_internal_to_phys.compu_scales
    for scale in scales:
        ends = [end.value for end in (scale.lower_limit, scale.upper_limit) if end is not None]
        if scale.compu_const is None or not ends or not all(isinstance(end, int) for end in ends):
            continue
        text = one_line(str(scale.compu_const.value or ""))
        if not text or max(ends) - min(ends) >= _WIDEST_RANGE or min(ends) < 0 or max(ends) >= 1 << 8 * size:
            continue
        for number in range(min(ends), max(ends) + 1):
            if [one for one in scales if one.applies(number)] == [scale]:
                yield number.to_bytes(size, "big" if coded.is_highlow_byte_order else "little"), text


def one_line(text: str) -> str:
    """Without line ends and control characters, and not longer than a line of a report stands."""
    plain = "".join(sign if sign.isprintable() else " " for sign in text)
    return " ".join(plain.split())[:LONGEST_TEXT]


def _is_standard(code: int, text: str) -> bool:
    """The text only repeats what the standard calls the code."""
    ours = {_letters(NRCS[code].name), _letters(NRCS[code].meaning)}
    return _letters(text) in ours


def _letters(text: str) -> str:
    return re.sub(r"[^a-z]", "", text.lower())
