"""The memory written, as a page: ranges, what is missing, checksums, the proof, and a file beside it."""

from __future__ import annotations

from collections.abc import Sequence

from analysis.image.files import Comparison, compare
from analysis.image.rebuilt import Image, Range, overlapping
from analysis.report.lines import Lines
from analysis.report.wording import WORD, WORD_COLOUR
from canlog.counting import counted

MOST_RANGES = 6


def tell_images(page: Lines, found: Sequence[Image], file: Sequence[tuple[int, bytes]] | None, file_name: str) -> None:
    """Write the page.

    Args:
        page: to write on.
        found: the downloads.
        file: segments of a file to compare with; None: there is none.
        file_name: as it was typed.
    """
    if not found:
        page.heading("Memory written")
        page.text("No download with data is in this recording. `canlog report` says what is.")
        return
    for image in found:
        _one(page, image)
        if file is not None:
            _compared(page, image, compare(image, file), file_name)
    pairs = overlapping(found)
    if pairs:
        page.heading("Written twice")
        for one, other, shared in pairs:
            page.text(f"{_named(one)} and {_named(other)}: {_range(shared)}", mark="- ")


def _named(image: Image) -> str:
    return f"{image.label} {image.part}".strip()


def _one(page: Lines, image: Image) -> None:
    word = image.operation.outcome.word.value
    place = f", from {image.address:08X}" if image.address is not None else ""
    due = f" of {image.size:,}" if image.size is not None and not image.is_transformed else ""
    page.heading(
        f"{_named(image)}",
        f"{WORD[word]} (confidence {image.operation.outcome.confidence.value})",
        WORD_COLOUR[word],
        word,
    )
    kind = "Helper program in RAM: " if image.operation.details["driver"] else ""
    blocks = counted(int(str(image.operation.details["blocks"])), "block")
    carried = f"{image.n_bytes:,}{due} bytes" if image.n_bytes else "no byte recorded"
    page.text(f"{kind}{carried}{place}, in {blocks}")
    if image.n_repeats:
        was = "was sent again, and is" if image.n_repeats == 1 else "were sent again, and are"
        page.text(f"{counted(image.n_repeats, 'block')} {was} counted once.")
    page.text(_wholeness(image), colour="good" if image.is_whole else "doubtful")
    for problem in image.problems:
        page.text(problem, mark="- ")
    _unplaced(page, image)
    _holes(page, image)
    _ranges(page, "Written more than once, the last counts", image.overlaps)
    if image.crc32 is not None and image.sha256 is not None:
        page.text(f"CRC-32 {image.crc32}, SHA-256 {image.sha256}", hang=4)
    for one in image.operation.outcome.because[1:]:
        page.text(one, mark="- ")


def _wholeness(image: Image) -> str:
    if image.is_transformed:
        return (
            "Sent compressed or encrypted: these bytes are not the memory, and their number says nothing of its size."
        )
    if image.is_whole:
        return "Whole: every byte that was announced is in the capture."
    if image.size is None:
        return "How many bytes were due is not in the capture: whether it is whole cannot be said."
    return "Not whole in the capture."


def _unplaced(page: Lines, image: Image) -> None:
    if not image.unplaced:
        return
    first, last = image.unplaced[0], image.unplaced[-1]
    lines = f"lines {first.exchange.lines[0]}-{last.exchange.lines[1]}"
    size = counted(sum(piece.size for piece in image.unplaced), "byte")
    page.text(
        f"Without an address: {counted(len(image.unplaced), 'block')}, {size}, from {first.form.said(first.mark)} on "
        f"({lines}). How much is missing in front of them is not known, so they are neither compared nor saved.",
        mark="- ",
    )


def _holes(page: Lines, image: Image) -> None:
    title = "Not in the capture, or without an address" if image.unplaced else "Not in the capture"
    for hole in image.holes[:MOST_RANGES]:
        where = f", {hole.where}" if hole.where else ""
        page.text(f"{title}: {_range((hole.first, hole.behind))}{where}", mark="- ")
    more = image.holes[MOST_RANGES:]
    if more:
        size = counted(sum(hole.behind - hole.first for hole in more), "byte")
        page.text(f"{title}: {len(more)} more ranges, {size} together", mark="- ")


def _ranges(page: Lines, title: str, ranges: Sequence[Range]) -> None:
    if not ranges:
        return
    more = f" and {len(ranges) - MOST_RANGES} more" if len(ranges) > MOST_RANGES else ""
    page.text(f"{title}: {', '.join(_range(one) for one in ranges[:MOST_RANGES])}{more}", mark="- ")


def _range(one: Range) -> str:
    first, behind = one
    return f"{first:08X}-{behind - 1:08X} ({counted(behind - first, 'byte')})"


def _compared(page: Lines, image: Image, result: Comparison, name: str) -> None:
    if image.is_transformed:
        page.text(f"{name}: cannot be compared with what was sent compressed or encrypted.")
    elif image.address is None or not image.segments:
        page.text(f"{name}: cannot be compared: where the blocks belong is not known.", colour="doubtful")
    elif not result.same and not result.different:
        page.text(f"{name}: holds nothing for this range.", colour="doubtful")
    elif result.is_equal:
        page.text(f"{name}: equal, byte for byte ({counted(result.same, 'byte')}).", colour="good")
    else:
        page.text(f"{name}: {_differences(result)}.", colour="bad" if result.different else "doubtful")


def _differences(result: Comparison) -> str:
    texts = [f"{counted(result.same, 'byte')} equal"]
    if result.first_difference is not None:
        address, theirs, ours = result.first_difference
        texts.append(
            f"{result.different:,} differ, first at {address:08X} ({theirs:02X} in the file, {ours:02X} written)"
        )
    if result.only_written:
        texts.append(f"{result.only_written:,} written that the file does not hold")
    if result.only_in_file:
        missing = sum(behind - first for first, behind in result.only_in_file)
        texts.append(f"{missing:,} of the file are not in the capture")
    return ", ".join(texts)
