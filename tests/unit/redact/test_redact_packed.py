"""A packed capture is packed again the same way, whatever is in it."""

from __future__ import annotations

import gzip
import io
import lzma
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
import zstandard

from analysis import analyse
from analysis.redact.redact import redact
from canlog.errors import CanlogError

FORMATS = Path(__file__).parents[3] / "fixtures" / "formats" / "clean"
VIN = "E0VLK3P06SM018931"
MEMBER = f"job-of-{VIN}.log"


def in_zip(content: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(MEMBER, content)
    return packed.getvalue()


def out_of_zip(packed: bytes) -> bytes:
    with zipfile.ZipFile(io.BytesIO(packed)) as archive:
        (name,) = archive.namelist()
        assert VIN not in name
        assert name.startswith("job-of-")
        assert archive.testzip() is None
        return archive.read(name)


def in_gzip_with_a_name(content: bytes) -> bytes:
    packed = io.BytesIO()
    with gzip.GzipFile(MEMBER, "wb", fileobj=packed) as stream:
        stream.write(content)
    return packed.getvalue()


def two_layers(content: bytes) -> bytes:
    return gzip.compress(lzma.compress(content))


WAYS: dict[str, tuple[Callable[[bytes], bytes], Callable[[bytes], bytes]]] = {
    "gz": (in_gzip_with_a_name, gzip.decompress),
    "xz": (lzma.compress, lzma.decompress),
    "zst": (lambda content: zstandard.ZstdCompressor().compress(content),
            lambda packed: zstandard.ZstdDecompressor().decompressobj().decompress(packed)),
    "zip": (in_zip, out_of_zip),
    "xz.gz": (two_layers, lambda packed: lzma.decompress(gzip.decompress(packed))),
}  # fmt: skip


@pytest.mark.parametrize("name", ["candump.log", "session.asc", "session.pcapng", "session.blf"])
@pytest.mark.parametrize("way", WAYS)
def test_a_packed_capture_is_packed_the_same_way(way: str, name: str, tmp_path: Path) -> None:
    pack, unpack = WAYS[way]
    original, copy = tmp_path / f"{VIN}.{way}", tmp_path / f"copy.{way}"
    content = (FORMATS / name).read_bytes()
    original.write_bytes(pack(content))
    found = redact(original)
    copy.write_bytes(found.capture)
    assert found.names[0].endswith(way)
    assert VIN not in found.names[0]
    inside = unpack(found.capture)
    assert inside != content
    assert name.endswith("blf") or len(inside) == len(content)
    assert not any(one in found.capture for one in (VIN.encode(), content[2000:2040]))
    one, other = (analyse(path).to_dict() for path in (original, copy))
    assert one["verdict"]["overall"] == other["verdict"]["overall"]
    assert one["captures"][0]["format"] == other["captures"][0]["format"]


@pytest.mark.parametrize("kind", ["utf-16", "utf-16-le", "utf-16-be"])
def test_utf16_text_stays_utf16(kind: str, tmp_path: Path) -> None:
    original = tmp_path / "typed.txt"
    text = (FORMATS / "printed.txt").read_text(encoding="utf-8")
    original.write_bytes(text.encode(kind))
    copy = redact(original).capture
    again = copy.decode(kind)
    assert len(copy) == len(original.read_bytes())
    assert again.splitlines() != text.splitlines()
    assert len(again.splitlines()) == len(text.splitlines())


def test_a_package_whose_end_is_missing_is_refused_with_a_way_out(tmp_path: Path) -> None:
    original = tmp_path / "cut.log.gz"
    packed = gzip.compress((FORMATS / "candump.log").read_bytes())
    original.write_bytes(packed[: len(packed) * 3 // 4])
    with pytest.raises(CanlogError, match="damaged") as caught:
        redact(original)
    assert "unpack" in caught.value.hint
