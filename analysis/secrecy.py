"""What must not leave a capture by accident: seeds, keys and certificates.

Source: ISO 14229-1:2020, services 27 and 29 (M): a seed with its key lets anybody work out a weak access algorithm.
"""

from __future__ import annotations

from typing import Final

#: Requests and responses of security access and authentication.
SECRET_SERVICES: Final = frozenset({0x27, 0x67, 0x29, 0x69})
#: Service and sub-function stay readable; they are no secret and needed to follow the session.
_OPEN_BYTES: Final = 2
MASK: Final = "**"


def is_secret(payload: bytes) -> bool:
    """The message carries a seed, a key or a certificate."""
    return len(payload) > _OPEN_BYTES and payload[0] in SECRET_SERVICES


def masked_hex(payload: bytes) -> str:
    """Hex text of a message, ``**`` for every byte of a seed, key or certificate."""
    if not is_secret(payload):
        return payload.hex().upper()
    return payload[:_OPEN_BYTES].hex().upper() + MASK * (len(payload) - _OPEN_BYTES)
