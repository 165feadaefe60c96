"""The short way to a message's name says the same as the long one."""

from __future__ import annotations

import pytest

from canlog.services.decode import DIALECTS, decode_request, decode_response, name_of

BEHIND = (b"", b"\x00", b"\x22", b"\x22\xf1\x90")
MESSAGES = (b"", *(bytes([first]) + rest for first in range(256) for rest in BEHIND))


@pytest.mark.parametrize("dialect", DIALECTS)
def test_a_message_is_called_as_its_fields_say(dialect: str) -> None:
    for data in MESSAGES:
        assert name_of(data, dialect) == decode_request(data, dialect).name, data.hex()
        assert name_of(data, dialect, is_response=True) == decode_response(data, dialect).name, data.hex()
