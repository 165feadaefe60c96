"""From captures to a report: the one call that does it all."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

from analysis.answer.cannot_show import cannot_show
from analysis.answer.verdict import give_verdict
from analysis.as_meant import not_as_meant
from analysis.breaks.explanations import with_explanations
from analysis.breaks.postmortem import post_mortem
from analysis.checks.registry import Context
from analysis.checks.runner import run_checks
from analysis.exchanges import Exchange, number, pair_exchanges
from analysis.limits import Limits
from analysis.modules import judge_modules
from analysis.operations.find import find_operations
from analysis.record import CaptureRecord, Record
from analysis.report.model import Report
from analysis.report_frames import Source, read_reports
from analysis.sheet.expectations import judge_sheet
from analysis.sheet.jobsheet import JobSheet, load_job_sheet
from analysis.spoken import judge_links
from analysis.story import tell_stories, with_refusals_named
from analysis.trims.found import trim_sheet
from analysis.trust.captures_order import with_borders
from analysis.trust.copied_requests import copied_channels
from analysis.trust.doubts import find_troubles
from analysis.trust.fitness import judge_fitness
from analysis.trust.missing_steps import missing_steps
from analysis.trust.record_gaps import record_gaps
from analysis.trust.whole_silence import whole_silences
from canlog.capture.capture import Capture
from canlog.errors import CaptureError
from canlog.frames import TimeKind
from canlog.isotp.addressing import Link, parse_link
from canlog.isotp.messages import MessageTable
from canlog.names.files import read_all
from canlog.names.tables import Names
from canlog.read import read_capture, rebuild_surveyed, survey_links
from canlog.services.dialects import DialectGuess
from canlog.survey import Survey

Paths = str | Path | Sequence[str | Path]
Progress = Callable[[int, int], None]


def analyse(
    path_or_paths: Paths,
    job: str | Path | None = None,
    names: Sequence[str | Path] = (),
    links: Sequence[str] = (),
    *,
    columns: str = "",
    limits: Limits | None = None,
    progress: Progress | None = None,
) -> Report:
    """Read one or several captures of one job and judge them.

    Args:
        path_or_paths: capture files in the order of the job; put in order of time where all clocks are absolute.
        job: job sheet, what was meant to happen.
        names: names files, later ones win.
        links: link keys that the user knows, in addition to those found.
        columns: names the columns of a table without a header, as ``time,id,data``.
        limits: other limits than the default ones.
        progress: called with bytes done and bytes in all of the capture being read.

    Raises:
        CanlogError: a file that cannot be used, with a hint.
    """
    sheet = load_job_sheet(job) if job is not None else None
    named = read_all(names, Names(sheet.names() if sheet else ()))
    wanted = tuple(parse_link(text) for text in links)
    paths = [path_or_paths] if isinstance(path_or_paths, str | Path) else list(path_or_paths)
    if not paths:
        raise CaptureError("no capture was given", hint="name one capture file, or several of one job")
    captures = (read_capture(path, progress=progress, columns=columns) for path in paths)
    opened = _in_order([_first_pass(capture, named, sheet, wanted) for capture in captures])
    record = make_record(opened, named, limits or Limits(), wanted)
    return judge(record, sheet, tuple(_sha256(path) for path in names))


@dataclass(frozen=True)
class Surveyed:
    """A capture after the first pass."""

    capture: Capture
    survey: Survey
    links: tuple[Link, ...]


def _first_pass(capture: Capture, names: Names, sheet: JobSheet | None, wanted: Sequence[Link]) -> Surveyed:
    capture.hash_meanwhile()
    meant = [one.link for one in (sheet.modules if sheet else ()) if one.link is not None]
    seen, links = survey_links(capture, [*wanted, *meant], keep_ids=_kept_ids(names))
    return Surveyed(capture, seen, tuple(link for link in links if link.channel or link in wanted))


def _kept_ids(names: Names) -> list[int]:
    starts = [one.start_message.can_id.number for one in names.modules if one.start_message is not None]
    return starts + [one.can_id for one in names.signals]


def _in_order(captures: Sequence[Surveyed]) -> list[Surveyed]:
    """Order of time where every clock is absolute, else as given."""
    if all(one.survey.summary.time_kind is TimeKind.ABSOLUTE for one in captures):
        return sorted(captures, key=lambda one: one.survey.summary.first_time_ns or 0)
    return list(captures)


def make_record(
    captures: Sequence[Surveyed], names: Names, limits: Limits, wanted: tuple[Link, ...] = ()
) -> Record:  # fmt: skip
    """Second pass: the messages of the links, paired and put in order over all captures."""
    tables = [rebuild_surveyed(one.capture, one.survey, one.links) for one in captures]
    dialects = judge_links(chain.from_iterable(tables))
    records: list[CaptureRecord] = []
    exchanges: list[Exchange] = []
    for at, (one, table) in enumerate(zip(captures, tables, strict=True), start=1):
        records.append(_second_pass(at, len(exchanges) + 1, one, table, dialects, names, limits))
        exchanges += records[-1].exchanges
    records = with_borders(records)
    links = list(_links_to_judge(captures, records))
    surveys = {record.number: record.survey for record in records}
    spoken = {key: guess.dialect for key, guess in dialects.items()}
    sources = [Source(one.number, one.capture, one.survey, one.exchanges) for one in records]
    stories = tell_stories(links, exchanges, surveys, names, limits, read_reports(sources, links, spoken))
    return Record(tuple(records), tuple(exchanges), tuple(stories), names, limits, dialects, wanted)


def _links_to_judge(captures: Sequence[Surveyed], records: Sequence[CaptureRecord]) -> Iterator[Link]:
    """All links but those of channels that carry only copies of requests: nobody on them was asked anything."""
    told = {exchange.link.key for record in records for exchange in record.exchanges}
    for one, record in zip(captures, records, strict=True):
        yield from (link for link in one.links if link.channel not in record.copied or link.key in told)


def _second_pass(
    index: int,
    first: int,  # number of its first exchange
    one: Surveyed,
    messages: MessageTable,
    dialects: Mapping[str, DialectGuess],
    names: Names,
    limits: Limits,
) -> CaptureRecord:
    spoken = {key: guess.dialect for key, guess in dialects.items()}
    copied = copied_channels(messages, spoken, limits.copied_request_ns, one.survey.summary.time_kind)
    judged = [message for message in messages if message.link.channel not in copied] if copied else messages
    exchanges = tuple(with_refusals_named(number(pair_exchanges(index, judged, spoken), first), one.links, names))
    missing = tuple(missing_steps(exchanges))
    silences = tuple(whole_silences(one.survey.background))
    gaps = tuple(record_gaps(silences, one.survey.background, exchanges))
    return CaptureRecord(
        number=index,
        name=one.capture.name,
        capture=one.capture,
        survey=one.survey,
        messages=messages,
        exchanges=exchanges,
        missing=missing,
        troubles=find_troubles(index, one.survey, messages, exchanges, missing, gaps),
        trust=judge_fitness(one.survey, messages, exchanges, missing, gaps, names, copied),
        silences=silences,
        gaps=gaps,
        copied=copied,
    )


def judge(record: Record, sheet: JobSheet | None, names_sha256: tuple[str, ...]) -> Report:
    """Everything that is concluded from a record."""
    operations = find_operations(record)
    modules = judge_modules(record, operations)
    expectations = judge_sheet(sheet, record, operations) if sheet is not None else None
    findings = run_checks(Context(record, operations, modules, sheet, expectations or ()))
    return Report(
        record=record,
        operations=tuple(operations),
        modules=tuple(modules),
        expectations=tuple(expectations or ()),
        trims=tuple(trim_sheet(record, operations)),
        verdict=give_verdict(record, operations, modules, expectations, findings),
        findings=tuple(findings),
        not_as_meant=not_as_meant(operations, expectations or (), findings),
        cannot_show=tuple(cannot_show(record, operations)),
        post_mortem=with_explanations(post_mortem(record, operations, modules), record, findings),
        job_sha256=sheet.sha256 if sheet is not None else None,
        names_sha256=names_sha256,
    )


def _sha256(path: str | Path) -> str:
    return hashlib.sha256(Path(path).read_bytes()).hexdigest()
