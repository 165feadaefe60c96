"""Requests to send that a logger writes down beside the frame sent: two lines, one frame on the bus.

Where a log has lines of both kinds only the frames sent count, for a request may never have reached the
bus. Where it has requests alone they stand for the frames.

Source: TxRq lines of the ASC form as python-can 4.6.1 reads them; the rule is common practice, no source.
"""

from __future__ import annotations

NOTE_SKIPPED = "requests to send (TxRq) are not counted beside the frames sent"


class SendRequests:
    """Tells which line of a pair does not count."""

    def __init__(self, *, frames_sent: bool) -> None:
        self._frames_sent = frames_sent  # the log has frames marked as sent
        self._open: dict[tuple[str, int], bytes] = {}

    def is_copy(self, channel: str, can_id: int, data: bytes, *, is_request: bool) -> bool:
        """True for a request where frames sent are logged too, and for the first frames sent after requests that
        were counted because nothing else had been seen."""
        key = channel, can_id
        if is_request:
            if not self._frames_sent:
                self._open[key] = data
            return self._frames_sent
        self._frames_sent = True
        return self._open.pop(key, None) == data
