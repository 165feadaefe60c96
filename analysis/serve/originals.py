"""The files that visitors sent, each under the SHA-256 of its content: whole or not there at all."""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import BinaryIO, NamedTuple

_BLOCK = 1 << 20
#: Only the account that runs the page may read captures: they hold VINs.
PRIVATE_FOLDER = 0o700


class Arrived(NamedTuple):
    """A file on the disk that belongs to no job yet."""

    part: Path
    sha256: str
    size_bytes: int


class Originals:
    """A folder of files named by content, and a folder of what is still arriving."""

    def __init__(self, data: Path) -> None:
        self._kept = data / "originals"
        self._arriving = data / "arriving"
        for folder in (self._kept, self._arriving):
            folder.mkdir(mode=PRIVATE_FOLDER, parents=True, exist_ok=True)

    def arrive(self, stream: BinaryIO) -> Arrived:
        """Write a file to the disk, and wait until it is there."""
        digest = hashlib.sha256()
        handle, name = tempfile.mkstemp(dir=self._arriving)
        part = Path(name)
        try:
            with os.fdopen(handle, "wb") as out:
                while block := stream.read(_BLOCK):
                    digest.update(block)
                    out.write(block)
                out.flush()
                os.fsync(out.fileno())
                size = out.tell()
        except OSError:
            part.unlink(missing_ok=True)
            raise
        return Arrived(part, digest.hexdigest(), size)

    def keep(self, files: Iterable[Arrived]) -> None:
        """Move arrived files to their place; they stay there when this returns."""
        for one in files:
            target = self.path(one.sha256)
            target.parent.mkdir(mode=PRIVATE_FOLDER, exist_ok=True)
            one.part.replace(target)
            sync_folder(target.parent)
        sync_folder(self._kept)

    def path(self, sha256: str) -> Path:
        """Where the file of this content is."""
        return self._kept / sha256[:2] / sha256

    def remove(self, sha256: str) -> None:
        """Forget a file for good."""
        self.path(sha256).unlink(missing_ok=True)

    def sweep(self, wanted: set[str]) -> None:
        """Remove what a kill has left: half-arrived files, and files that no job names."""
        for part in self._arriving.iterdir():
            part.unlink()
        for path in self._kept.glob("*/*"):
            if path.name not in wanted:
                path.unlink()


def sync_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
