"""The memory written, rebuilt: against the bytes that were sent, CRC-32 by zlib (ISO 3309), files by bincopy 20.1."""

from __future__ import annotations

import hashlib
import json
import zlib
from pathlib import Path

import bincopy
import pytest
from click.testing import CliRunner
from talk import ADDRESS, IMAGE, Talk, ask, block, blocks, heard, request, without
from test_older_dialects import G_ENTER, G_OLD, G_REQUEST, g_block, g_blocks

from analysis.cli import main
from analysis.image.files import compare, load, saved
from analysis.image.rebuilt import Image, images, overlapping
from canlog.errors import CanlogError

EXIT = ask("37", "77")


def rebuilt(*talk: Talk) -> Image:
    (found,) = images(heard(ask("10 02", "50 02 0032 01F4"), *talk))
    return found


def test_a_whole_download_has_the_checksums_of_its_bytes() -> None:
    image = rebuilt(request(), blocks(), EXIT)
    assert image.segments == ((ADDRESS, IMAGE),)
    assert image.is_whole
    assert image.crc32 == f"{zlib.crc32(IMAGE):08X}"
    assert image.sha256 == hashlib.sha256(IMAGE).hexdigest()


def test_a_lost_frame_leaves_a_hole_and_no_checksum() -> None:
    asked, answered = block(2, IMAGE[32:64])  # type: ignore[misc]
    image = rebuilt(request(), block(1, IMAGE[:32]), without(asked, 3), answered, block(3, IMAGE[64:]), EXIT)
    ((first, behind, where),) = image.holes
    assert where.startswith("in block 02, lines ")
    assert behind - first == 7
    assert ADDRESS + 32 < first < ADDRESS + 64
    assert not image.is_whole
    assert (image.crc32, image.sha256) == (None, None)
    for start, data in image.segments:
        assert data == IMAGE[start - ADDRESS : start - ADDRESS + len(data)]


def test_what_was_due_and_never_came_is_a_hole() -> None:
    image = rebuilt(request(), block(1, IMAGE[:32]))
    (hole,) = image.holes
    assert (hole.first, hole.behind) == (ADDRESS + 32, ADDRESS + len(IMAGE))
    assert hole.where.startswith("behind line ")


def test_a_block_sent_again_is_there_once() -> None:
    image = rebuilt(request(), block(1, IMAGE[:32], ""), block(1, IMAGE[:32]), blocks()[1:], EXIT)
    assert image.is_whole
    assert image.n_bytes == len(IMAGE)
    assert image.n_repeats == 1
    assert rebuilt(request(), blocks(), EXIT).n_repeats == 0


def test_the_page_says_that_a_block_was_sent_again() -> None:
    for name, is_said in (("uds11-block-repeated", True), ("uds11-all-good", False)):
        result = CliRunner().invoke(main, ["image", str(FIXTURES / name / "capture.log")])
        assert ("1 block was sent again, and is counted once." in result.output) is is_said


def test_compressed_bytes_are_never_called_whole() -> None:
    image = rebuilt(request(dfi=0x11), blocks(), EXIT)
    assert image.is_transformed
    assert not image.is_whole
    with pytest.raises(CanlogError, match="compressed or encrypted"):
        saved([image], "out.hex")
    assert saved([image], "out.bin") == IMAGE


def test_a_download_whose_beginning_is_missing_is_not_called_whole() -> None:
    image = rebuilt(blocks(), EXIT)
    assert not image.is_whole
    assert any("beginning" in text for text in image.problems)


def test_addressed_blocks_lie_where_they_say_and_the_last_one_counts() -> None:
    again = g_block(32, bytes(32))
    (image,) = images(heard(G_OLD, G_ENTER, G_REQUEST, g_blocks(), again))
    assert image.overlaps == ((0x010020, 0x010040),)
    assert image.segments == ((0x010000, IMAGE[:32] + bytes(32) + IMAGE[64:]),)


def test_two_downloads_to_the_same_place_are_told() -> None:
    session = ask("10 02", "50 02 0032 01F4")
    corner = [request(size=32, address=ADDRESS + 80), block(1, bytes(32)), EXIT]
    found = images(heard(session, request(), blocks(), EXIT, *corner))
    ((one, other, shared),) = overlapping(found)
    assert (one.address, other.address, shared) == (ADDRESS, ADDRESS + 80, (ADDRESS + 80, ADDRESS + 96))


def test_hex_and_s_record_files_hold_the_same_bytes(tmp_path: Path) -> None:
    image = rebuilt(request(), blocks(), EXIT)
    for name, add in (("out.hex", bincopy.BinFile.add_ihex), ("out.s37", bincopy.BinFile.add_srec)):
        content = saved([image], name)
        file = bincopy.BinFile()
        add(file, content.decode())
        assert [(one.address, bytes(one.data)) for one in file.segments] == [(ADDRESS, IMAGE)]
        (tmp_path / name).write_bytes(content)
        assert compare(image, load(str(tmp_path / name))).is_equal


def test_a_file_that_differs_says_where_first(tmp_path: Path) -> None:
    image = rebuilt(request(), blocks(), EXIT)
    other = bytearray(IMAGE)
    other[40] ^= 0xFF
    (tmp_path / "other.bin").write_bytes(other)
    result = compare(image, load(str(tmp_path / "other.bin"), ADDRESS))
    assert (result.same, result.different) == (len(IMAGE) - 1, 1)
    assert result.first_difference == (ADDRESS + 40, other[40], IMAGE[40])
    assert not result.is_equal


def test_a_file_of_another_range_is_not_equal(tmp_path: Path) -> None:
    image = rebuilt(request(), blocks(), EXIT)
    (tmp_path / "far.bin").write_bytes(IMAGE)
    result = compare(image, load(str(tmp_path / "far.bin"), 0))
    assert (result.same, result.only_written, result.is_equal) == (0, len(IMAGE), False)


def test_a_cut_transfer_is_not_equal_to_its_file(tmp_path: Path) -> None:
    image = rebuilt(request(), block(1, IMAGE[:32]))
    (tmp_path / "whole.bin").write_bytes(IMAGE)
    result = compare(image, load(str(tmp_path / "whole.bin"), ADDRESS))
    assert (result.same, result.different, result.is_equal) == (32, 0, False)
    assert result.only_in_file == ((ADDRESS + 32, ADDRESS + len(IMAGE)),)


def test_several_ranges_need_a_file_with_addresses() -> None:
    session = ask("10 02", "50 02 0032 01F4")
    second = [request(size=32, address=0x00020000), block(1, bytes(32)), EXIT]
    found = images(heard(session, request(), blocks(), EXIT, *second))
    with pytest.raises(CanlogError, match="2 ranges"):
        saved(found, "out.bin")
    assert saved(found, "out.hex").startswith(b":")


@pytest.mark.parametrize("content", [b":0300000061626", b":zz", b""])
def test_a_damaged_or_empty_file_is_refused(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "bad.hex").write_bytes(content)
    with pytest.raises(CanlogError):
        load(str(tmp_path / "bad.hex"))


FIXTURES = Path(__file__).parents[3] / "fixtures"
GOOD = ["uds11-all-good", "coach-all-good", "coach-reflash", "uds11-block-repeated", "uds11-second-attempt-good"]


@pytest.mark.parametrize("name", GOOD)
def test_images_hold_what_the_module_holds(name: str) -> None:
    """Against the CRC-32 of the memory that the simulated module really had at the end."""
    from analysis import analyse

    folder = FIXTURES / name
    truth = json.loads((folder / "truth.json").read_text())
    names = FIXTURES / f"{name.partition('-')[0]}_names.toml"
    found = {
        (image.label, f"{image.address:08X}"): image.crc32
        for image in images(analyse(folder / "capture.log", names=[names]))
        if not image.operation.details["driver"]
    }
    held = {
        (label, address): part["crc32"]
        for label, module in truth["modules"].items()
        for address, part in module["memory"].items()
        if part["valid"]
    }
    assert found
    assert {key: crc for key, crc in held.items() if key in found} == found
