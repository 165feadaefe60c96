"""Output files: written whole or not at all, and never over what was read."""

from __future__ import annotations

import os
import stat
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import BinaryIO

from canlog.errors import CanlogError

#: What a new file may be read and written by, before the umask.
_NEW_FILE_MODE = 0o666


def refuse_to_overwrite(output: str | None, inputs: Iterable[str]) -> None:
    """An output must not be one of the files that are read.

    Raises:
        CanlogError: it is.
    """
    if output is None or output == "-":
        return
    try:
        is_read = any(Path(output).samefile(name) for name in inputs if name != "-")
    except (OSError, ValueError):  # one of them is not there: reading or writing it will say so
        return
    if is_read:
        raise CanlogError(f"{output}: is read by this command", hint="choose another name for the output")


@contextmanager
def whole_file(output: str) -> Iterator[BinaryIO]:
    """A binary file that appears under its name when the block ends well; ``-`` is standard output.

    Raises:
        CanlogError: it cannot be written there.
    """
    if output == "-":
        yield sys.stdout.buffer
        sys.stdout.buffer.flush()
        return
    try:
        target = Path(output).resolve()
        if target.is_dir():
            raise CanlogError(f"{output}: a folder, not a file", hint="name a file in it")
        if target.exists() and not target.is_file():  # a device or a pipe has no "whole"
            with target.open("wb") as stream:
                yield stream
            return
        with _replacing(target) as stream:
            yield stream
    except (OSError, ValueError) as error:
        if isinstance(error, BrokenPipeError):
            raise
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise CanlogError(f"{output}: cannot be written ({reason})", hint="check folder, rights and space") from error


def whole_files(contents: Iterable[tuple[str, bytes]]) -> None:
    """Write several files together: none appears before all of them are on the disk.

    Raises:
        CanlogError: one cannot be written there; none appears then.
    """
    with ExitStack() as files:
        streams = [(files.enter_context(whole_file(place)), content) for place, content in contents]
        for stream, content in streams:
            stream.write(content)
            stream.flush()


@contextmanager
def _replacing(target: Path) -> Iterator[BinaryIO]:
    handle, name = tempfile.mkstemp(prefix=f".{target.name[:40]}.", suffix=".part", dir=target.parent)
    part = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            yield stream
        part.chmod(stat.S_IMODE(target.stat().st_mode) if target.exists() else _NEW_FILE_MODE & ~_umask())
        part.replace(target)
    finally:
        part.unlink(missing_ok=True)  # gone already when all went well


def _umask() -> int:
    """The process's umask; it can only be read by setting it."""
    value = os.umask(0)
    os.umask(value)
    return value
