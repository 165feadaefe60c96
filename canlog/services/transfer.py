"""Carrying memory and files: services 34, 35, 36, 37, 38.

``max_number_of_block_length`` counts the whole 36 message, identifier and counter included, so a block
carries at most two bytes less. In the answers to 34 and 35 the **high** nibble of the length format is the
count of its bytes; in the answer to 38 it is the whole byte.

Source: ISO 14229-1:2020, 15 (M); layouts agree with udsoncan 1.26.1 and scapy 2.8.0 (mode 06 of 38:
udsoncan only).
"""

from __future__ import annotations

from typing import Final

from canlog.names.ranges import RESERVED, RangeTable, singles
from canlog.services.layout import (
    Layout,
    ascii_text,
    bits,
    choose,
    decimal,
    named,
    note,
    request,
    response,
    rest,
    u8,
    u16,
    uint,
)
from canlog.services.memory import LOCATION, size_text

#: Total over 00-FF.
FILE_MODES: Final = RangeTable(
    0xFF,
    [
        (0x00, 0x00, RESERVED),
        *singles(
            {
                0x01: "addFile",
                0x02: "deleteFile",
                0x03: "replaceFile",
                0x04: "readFile",
                0x05: "readDir",
                0x06: "resumeFile",
            }
        ),
        (0x07, 0xFF, RESERVED),
    ],
)

#: Bytes of a 36 message that carry no data: service identifier and block counter.
BLOCK_OVERHEAD: Final = 2


def block_text(value: int) -> str:
    """The longest 36 message and the data that fits in it."""
    return f"{value} bytes, so {value - BLOCK_OVERHEAD} data bytes a block"


_format = u8("data_format_identifier", parts=(bits("compression_method", 7, 4), bits("encrypting_method", 3, 0)))
_accepted = Layout(
    u8("length_format_identifier", parts=(bits("max_number_of_block_length_length", 7, 4, decimal),)),
    note("length_format_identifier", lambda value: value & 0x0F != 0, "the low nibble should be 0"),
    uint("max_number_of_block_length", "max_number_of_block_length_length", says=block_text),
)

_mode = u8("mode_of_operation", says=named(FILE_MODES.name))
_path = (u16("file_path_and_name_length", says=decimal), ascii_text("file_path_and_name", "file_path_and_name_length"))
_file_sizes = (
    uint("file_size_uncompressed", "file_size_parameter_length", says=size_text),
    uint("file_size_compressed", "file_size_parameter_length", says=size_text),
)
_adding = [_format, u8("file_size_parameter_length", says=decimal), *_file_sizes]
_file_block = (
    u8("length_format_identifier", says=decimal),
    uint("max_number_of_block_length", "length_format_identifier", says=block_text),
    _format,
)

LAYOUTS: Final = {
    request(0x34): Layout(_format, *LOCATION),
    response(0x34): _accepted,
    request(0x35): Layout(_format, *LOCATION),
    response(0x35): _accepted,
    request(0x36): Layout(u8("block_sequence_counter"), rest("transfer_request_parameter_record")),
    response(0x36): Layout(u8("block_sequence_counter"), rest("transfer_response_parameter_record")),
    request(0x37): Layout(rest("transfer_request_parameter_record")),
    response(0x37): Layout(rest("transfer_response_parameter_record")),
    request(0x38): Layout(
        _mode,
        *_path,
        choose(
            "mode_of_operation",
            {0x01: _adding, 0x02: [], 0x03: _adding, 0x04: [_format], 0x05: [], 0x06: _adding},
            [rest("file_transfer_record")],
        ),
    ),
    response(0x38): Layout(
        _mode,
        choose(
            "mode_of_operation",
            {
                0x01: _file_block,
                0x02: [],
                0x03: _file_block,
                0x04: [*_file_block, u16("file_size_parameter_length", says=decimal), *_file_sizes],
                0x05: [
                    *_file_block,
                    u16("file_size_parameter_length", says=decimal),
                    uint("directory_information_length", "file_size_parameter_length", says=size_text),
                ],
                0x06: [*_file_block, uint("file_position", 8, says=decimal)],
            },
            [rest("file_transfer_record")],
        ),
    ),
}
