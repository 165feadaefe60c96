"""A copy packed as its original was: compressed, or as UTF-16 text.

What a package says of itself beside its content (time, name of the file, system) is not taken over, but for the name
in a zip file.

Source: RFC 1952 (gzip), the .xz file format 1.2.0, RFC 8878 (Zstandard), the head of a zip member as Python's
zipfile writes it.
"""

from __future__ import annotations

import gzip
import io
import lzma
import zipfile
from collections.abc import Callable, Sequence
from typing import Final

from canlog.capture.source import utf16_kind

_XZ: Final = b"\xfd7zXZ\x00"
_ZSTD: Final = b"\x28\xb5\x2f\xfd"
_ZIP: Final = b"PK\x03\x04"
_ZIP_HEAD: Final = 30  # bytes in front of a member's name


def packed_again(content: bytes, wrappings: Sequence[bytes], renamed: Callable[[str], str]) -> bytes:
    """The content in the same layers.

    Args:
        content: what was inside all of them.
        wrappings: the first bytes of each layer of the original, outermost first.
        renamed: the name of a zip file's member without what identifies.
    """
    for head in reversed(wrappings):
        content = _wrapped(content, head, renamed)
    return content


def _wrapped(content: bytes, head: bytes, renamed: Callable[[str], str]) -> bytes:
    if kind := utf16_kind(head):
        return content.decode("utf-8", "replace").encode(kind)
    if head.startswith(_XZ):
        return lzma.compress(content)
    if head.startswith(_ZSTD):
        import zstandard

        return zstandard.ZstdCompressor().compress(content)
    if head.startswith(_ZIP):
        return _zip(content, renamed(_member_name(head)))
    return gzip.compress(content, mtime=0)


def _member_name(head: bytes) -> str:
    size = int.from_bytes(head[26:28], "little")
    return head[_ZIP_HEAD : _ZIP_HEAD + size].decode("utf-8", "replace")


def _zip(content: bytes, name: str) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(zipfile.ZipInfo(name or "capture"), content, zipfile.ZIP_DEFLATED)
    return packed.getvalue()
