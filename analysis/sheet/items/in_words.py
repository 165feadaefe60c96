"""Bytes as the sheet's items say them: what was asked for and what was found in one form."""

from __future__ import annotations

from canlog.names.blank import BLANK, is_blank, is_fill

#: Shorter bytes that happen to be letters are no text.
LEAST_TEXT = 4


def said(raw: bytes) -> str:
    """Text where the bytes are text, else hex; blank memory, and a text field of one fill byte, is called so."""
    if is_fill(raw):
        return BLANK
    text = raw.strip(b"\0\xff ")
    if len(text) >= LEAST_TEXT and all(0x20 <= byte < 0x7F for byte in text):
        return text.decode("ascii")
    return said_in_hex(raw)


def said_in_hex(raw: bytes) -> str:
    """Hex; blank memory is called so."""
    return BLANK if is_blank(raw) else raw.hex().upper()


def is_value(raw: bytes, value: str) -> bool:
    """The bytes are the text asked for (fill bytes aside), or its hex."""
    text = raw.strip(b"\0\xff ").decode("ascii", "replace")
    return text == value.strip() or raw.hex().upper() == value.replace(" ", "").upper()
