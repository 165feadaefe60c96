"""Where blocks lie when others are missing: by their counter, or nowhere. Facts: the bytes that were sent."""

from __future__ import annotations

from pathlib import Path

import pytest
from talk import ADDRESS, IMAGE, Talk, ask, block, heard, log_of, module, request, without
from test_older_dialects import K_ENTER, K_ERASE, K_EXIT, K_REQUEST, k_blocks

from analysis.image.files import compare, load, saved
from analysis.image.page import tell_images
from analysis.image.rebuilt import Image, images
from analysis.report.lines import Lines
from canlog.errors import CanlogError

EXIT = ask("37", "77")
LONG = bytes((5 * at + 1) % 253 for at in range(170))
SIZE = 32


def numbered(*counters: int, image: bytes = LONG) -> list[Talk]:
    """The blocks with these counters of an image, each answered."""
    return [block(one & 0xFF, image[(one - 1) * SIZE : one * SIZE]) for one in counters]


def rebuilt(*talk: Talk) -> Image:
    (found,) = images(heard(ask("10 02", "50 02 0032 01F4"), *talk))
    return found


def told(image: Image, file: list[tuple[int, bytes]] | None = None) -> str:
    page = Lines(4000, color=False)
    tell_images(page, [image], file, "file.hex")
    return " ".join(str(page).split())


def is_true(image: Image, sent: bytes = LONG) -> bool:
    return all(sent[start - ADDRESS :][: len(data)] == data for start, data in image.segments)


def test_blocks_behind_a_lost_one_stay_where_they_belong() -> None:
    image = rebuilt(request(size=170), numbered(1, 2, 4, 5, 6), EXIT)
    assert image.segments == ((ADDRESS, LONG[:64]), (ADDRESS + 96, LONG[96:]))
    assert [(hole.first, hole.behind) for hole in image.holes] == [(ADDRESS + 64, ADDRESS + 96)]
    assert not image.unplaced
    assert not image.is_whole


def test_the_hole_is_named_with_its_block_and_the_lines_beside_it() -> None:
    talk = [ask("10 02", "50 02 0032 01F4"), request(size=170), numbered(1, 2, 4, 5, 6), EXIT]
    lines = log_of(*talk).splitlines()
    answer = 1 + next(at for at, line in enumerate(lines) if "7E8#027602" in line)
    following = 1 + next(at for at, line in enumerate(lines) if "7E0#10223604" in line)
    (image,) = images(heard(*talk))
    where = f"block 03, between lines {answer} and {following}"
    assert f"Not in the capture: 00010040-0001005F (32 bytes), {where}" in told(image)


def test_a_hole_inside_a_block_is_named_with_that_block() -> None:
    asked, answered = block(2, LONG[32:64])  # type: ignore[misc]
    image = rebuilt(request(size=170), numbered(1), without(asked, 3), answered, numbered(3, 4, 5, 6), EXIT)
    (hole,) = image.holes
    assert hole.behind - hole.first == 7
    assert hole.where.startswith("in block 02, lines ")
    assert is_true(image)


def test_the_first_blocks_may_be_lost_as_well() -> None:
    image = rebuilt(request(size=170), numbered(3, 4, 5, 6), EXIT)
    assert image.segments == ((ADDRESS + 64, LONG[64:]),)
    assert image.holes[0].where.startswith("blocks 01-02, between lines ")


def test_a_block_of_which_only_the_answer_was_recorded_keeps_its_place_free() -> None:
    image = rebuilt(request(size=170), numbered(1, 2), module("76 03"), numbered(4, 5, 6), EXIT)
    assert image.segments == ((ADDRESS, LONG[:64]), (ADDRESS + 96, LONG[96:]))


def test_the_counter_turns_over() -> None:
    image = bytes((11 * at + at // 256) % 251 for at in range(SIZE * 258))
    lost = [one for one in range(1, 259) if one not in (255, 256, 257)]  # counters FF, 00, 01
    found = rebuilt(request(size=len(image)), numbered(*lost, image=image), EXIT)
    assert [(hole.first - ADDRESS, hole.behind - ADDRESS) for hole in found.holes] == [(254 * SIZE, 257 * SIZE)]
    assert found.holes[0].where.startswith("blocks FF-01, ")
    assert is_true(found, image)


@pytest.mark.parametrize(
    ("size", "talk", "why"),
    [
        (170, [*numbered(1), block(2, LONG[32:50]), *numbered(4, 5, 6), EXIT], "blocks of two lengths"),
        (170, [*numbered(1, 2, 4, 5), block(6, LONG[160:165]), EXIT], "it does not close"),
        (32 * 600, numbered(1, 2, 4, 5), "a turn more of the counter may be missing"),
        (170, [*numbered(1, 2, 4, 3, 5, 6), EXIT], "disorder"),
    ],
)
def test_where_it_cannot_be_known_blocks_behind_a_jump_have_no_address(size: int, talk: list[Talk], why: str) -> None:
    image = rebuilt(request(size=size), talk)
    assert image.unplaced, why
    assert is_true(image), why
    assert not image.is_whole
    assert (image.crc32, image.sha256) == (None, None)


def test_what_has_no_address_is_neither_compared_nor_saved(tmp_path: Path) -> None:
    image = rebuilt(request(size=32 * 600), numbered(1, 2, 4, 5))
    assert image.segments == ((ADDRESS, LONG[:64]),)
    assert "Without an address: 2 blocks, 64 bytes, from block 04 on (lines " in told(image)
    (tmp_path / "whole.bin").write_bytes(LONG)
    result = compare(image, load(str(tmp_path / "whole.bin"), ADDRESS))
    assert (result.same, result.different, result.is_equal) == (64, 0, False)
    (tmp_path / "out.hex").write_bytes(saved([image], "out.hex"))
    assert load(str(tmp_path / "out.hex")) == [(ADDRESS, LONG[:64])]


@pytest.mark.parametrize("lost", [(2, 3, 4, 5, 6), (1, 2, 4, 5, 6)])
def test_bare_bytes_have_no_room_for_a_hole(lost: tuple[int, ...]) -> None:
    image = rebuilt(request(size=170), numbered(*lost), EXIT)
    with pytest.raises(CanlogError) as error:
        saved([image], "out.bin")
    assert ".hex" in error.value.hint
    assert "\n" not in f"{error.value} {error.value.hint}"


def test_without_its_request_nothing_is_compared_or_saved_at_address_0(tmp_path: Path) -> None:
    image = rebuilt(numbered(1, 2, 3), EXIT)
    assert image.address is None
    assert "where the blocks belong is not known" in told(image, [(0, LONG)])
    with pytest.raises(CanlogError, match="not in the capture"):
        saved([image], "out.hex")
    assert saved([image], "out.bin") == LONG[:96]


def test_compressed_blocks_behind_a_lost_one_are_not_joined() -> None:
    image = rebuilt(request(size=170, dfi=0x11), numbered(1, 2, 4, 5, 6), EXIT)
    with pytest.raises(CanlogError):
        saved([image], "out.bin")


def test_blocks_without_a_counter_have_no_place_where_the_sum_does_not_close() -> None:
    bare = k_blocks(counted=False)
    (image,) = images(heard(K_ENTER, K_ERASE, K_REQUEST, bare[0], bare[2], K_EXIT))
    assert not image.segments
    assert len(image.unplaced) == 2
    (whole,) = images(heard(K_ENTER, K_ERASE, K_REQUEST, bare, K_EXIT))
    assert whole.segments == ((ADDRESS, IMAGE),)
