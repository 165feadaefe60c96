"""The two calls that most programs need: read a capture, rebuild its messages."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Final

from canlog.capture.capture import Capture
from canlog.capture.registry import choose_format
from canlog.capture.source import HEAD_BYTES, Progress, Source, open_source

#: Tried on longer and longer heads: a console session may begin with pages of other text.
_HEADS: Final = (HEAD_BYTES, 16 * HEAD_BYTES)


def read_capture(path: str | Path, *, progress: Progress | None = None) -> Capture:
    """Open a capture; its format is seen from its content. ``-`` is standard input.

    Raises:
        CaptureError: it cannot be opened, or it is no capture.
    """
    source = open_source(path)
    return Capture(source, choose_format(source.name, _heads(source)), progress)


def _heads(source: Source) -> Iterator[bytes]:
    yield source.head(_HEADS[0])
    if source.size > _HEADS[0]:
        yield source.head(_HEADS[1])
