"""What may stay of a file's name that a visitor sent."""

from __future__ import annotations

import re
import unicodedata

_RISKY = re.compile(r'[\\/:*?"<>|]')


def plain_name(sent: str, longest: int) -> str:
    """A name without folders and without characters that steer a terminal, a shell or a file system.

    Only shown, offered for download and used inside a folder of its own; never the place of the original.
    """
    name = re.split(r"[\\/]", sent)[-1]
    kept = "".join(one for one in name if unicodedata.category(one)[0] != "C")
    kept = _RISKY.sub("_", kept).strip(" .")
    stem, dot, suffix = kept.rpartition(".")
    if len(kept) > longest:
        suffix = suffix[:12]
        kept = f"{stem[: longest - len(suffix) - 1]}{dot}{suffix}" if dot else kept[:longest]
    return kept or "unnamed"
