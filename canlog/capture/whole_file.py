"""For forms whose library needs the whole file at once: the bytes in a temporary file of their own."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path


@contextmanager
def whole_file(blocks: Iterable[bytes], suffix: str) -> Iterator[Path]:
    """A file with these bytes, gone when it is no longer needed."""
    with tempfile.NamedTemporaryFile(prefix="canlog-", suffix=suffix) as file:
        for block in blocks:
            file.write(block)
        file.flush()
        yield Path(file.name)
