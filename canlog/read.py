"""The two calls that most programs need: read a capture, rebuild its messages."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from canlog.capture.capture import Capture
from canlog.capture.csv_table import NamedColumns, named_columns
from canlog.capture.registry import choose_format, contradiction
from canlog.capture.source import HEADS_BYTES, Progress, Source, open_source
from canlog.doip.reassembly import DoipReassembler
from canlog.errors import CaptureError
from canlog.frames import FrameTable
from canlog.isotp.addressing import Addressing, Link, parse_link
from canlog.isotp.bulk import BulkReassembler
from canlog.isotp.links import LinkFinder
from canlog.isotp.messages import JoinedMessages, Message, MessageTable
from canlog.survey import Survey, survey


def read_capture(path: str | Path, *, progress: Progress | None = None, columns: str = "") -> Capture:
    """Open a capture; its format is seen from its content. ``-`` is standard input.

    ``columns`` names those of a table without a header, as ``time,id,data`` (:func:`named_columns`).

    Raises:
        CaptureError: it cannot be opened, or it is no capture.
    """
    source = open_source(path)
    reader = _with_columns(source, columns) if columns else choose_format(source.name, _heads(source))
    was_packed = source.unpacked != source.original and source.note.startswith("unpacked")
    source.note = "; ".join(filter(None, (source.note, contradiction(source.name, reader, was_packed=was_packed))))
    return Capture(source, reader, progress)


def _with_columns(source: Source, columns: str) -> NamedColumns:
    reader = named_columns(columns)
    if not any(map(reader.recognise, _heads(source))):
        raise CaptureError(f"{source.name}: {reader.EXPECTED} ({columns})", hint="look at its first lines")
    return reader


def _heads(source: Source) -> Iterator[bytes]:
    for shorter, n_bytes in zip((0, *HEADS_BYTES), HEADS_BYTES, strict=False):
        if source.size > shorter:
            yield source.head(n_bytes)


def rebuild(capture: Capture, links: Sequence[str] = ()) -> MessageTable:
    """The messages of every link found in a capture, and of the links named by their keys.

    Raises:
        LinkError: a key has not the form of a link.
    """
    surveyed, found = survey_links(capture, [parse_link(key) for key in links])
    return rebuild_surveyed(capture, surveyed, found)


def survey_links(
    capture: Capture, user: Sequence[Link] = (), *, keep_ids: Collection[int] = ()
) -> tuple[Survey, list[Link]]:
    """The first pass: the survey and the links, the user's first."""
    finder, ethernet = LinkFinder(), DoipReassembler()

    def feed(table: FrameTable) -> None:
        finder.feed(table.frames_only())
        ethernet.feed(table)

    surveyed = survey(capture, keep_ids=keep_ids, feed=feed)
    summary = replace(surveyed.summary, notes=(*surveyed.summary.notes, *ethernet.notes()))
    over_ethernet = [link for link in user if link.addressing is Addressing.DOIP]
    found = finder.links([link for link in user if link not in over_ethernet])
    return replace(surveyed, summary=summary), found + ethernet.links(over_ethernet)


def rebuild_surveyed(capture: Capture, surveyed: Survey, links: Sequence[Link]) -> MessageTable:
    """The second pass: the messages of given links, in order of completion."""
    over_ethernet = [link for link in links if link.addressing is Addressing.DOIP]
    # The fast twin of Reassembler.
    reassembler = BulkReassembler([link for link in links if link.addressing is not Addressing.DOIP])
    ethernet = DoipReassembler()
    parts: list[Sequence[Message]] = []
    if links or surveyed.packets:
        for table in surveyed.frames(capture):
            parts.append(reassembler.feed(table.frames_only()))
            ethernet.feed(table)
    summary = surveyed.summary
    parts.append(reassembler.finish(summary.last_time_ns or 0, summary.lines))
    parts.append(ethernet.messages(over_ethernet))
    strays = (*reassembler.strays, *ethernet.strays())
    return MessageTable(tuple(links), JoinedMessages(parts), strays, reassembler.repeats)
