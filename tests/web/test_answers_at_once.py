"""The address that is printed can be opened at once."""

from __future__ import annotations

import socket

from analysis.serve.run import LOOPBACK, _listen


def test_a_visitor_is_not_refused_while_the_page_starts() -> None:
    with _listen(LOOPBACK, 0) as listening:
        socket.create_connection(listening.getsockname(), timeout=5).close()
