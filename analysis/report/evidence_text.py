"""Below the first screen: why, what cannot be known, the timeline, the transfers, and how to see more."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from itertools import groupby, pairwise

from analysis.report import wording
from analysis.report.again import Again
from analysis.report.contract import (
    EvidenceDict,
    ExplanationDict,
    FindingDict,
    IdentifierDict,
    NotAsMeantDict,
    OperationDict,
    PostMortemDict,
    ReportDict,
    TrimDict,
)
from analysis.report.lines import Cell, Lines, short_hex, shorten_middle
from analysis.report.meanwhile_text import meanwhile
from analysis.report.texts import say
from analysis.report.times_text import timing
from canlog.counting import counted, lasting

_BY_WEIGHT = ("serious", "warning", "note")
_MOST_EVIDENCE = 4
_LONGEST_TIMELINE = 40
SECOND_NS = 1_000_000_000
_COUNTING = frozenset({"download", "file", "write", "write-memory", "routine", "clear"})


def why(page: Lines, report: ReportDict) -> None:
    """What a bad state rests on, proofs of what was done, then findings, each with its lines."""
    proved = [item for item in report["operations"] if _tells(item)]
    in_trouble = [item for item in report["modules"] if item["now"] in ("boot", "silent") and item["evidence"]]
    if not proved and not report["findings"] and not in_trouble:
        return
    page.heading(say("why.heading"))
    names = wording.labels(report)
    for module in in_trouble:
        page.text(say("why.module", who=names.get(module["link"], module["link"]), now=wording.NOW[module["now"]]))
        page.text(module["advice"], indent=4)
        _evidence(page, report, module["evidence"])
        if module["cautions"]:
            page.text(" ".join(module["cautions"]), indent=4, mark=say("caution"), colour="caution", hang=2)
    for run in _runs(proved):
        _proof(page, report, run, names)
    said = {caution for module in report["modules"] for caution in module["cautions"]}
    for finding in sorted(report["findings"], key=lambda finding: _BY_WEIGHT.index(finding["severity"])):
        _finding(page, report, finding, said)
        said.update(finding["cautions"])


def _tells(operation: OperationDict) -> bool:
    """Acts that were the job; their steps, helpers and given-up attempts are in the timeline."""
    is_job = operation["kind"] in _COUNTING and not wording.is_helper(operation)
    return is_job and bool(operation["proof"]) and operation["superseded_by"] is None


def _proof(page: Lines, report: ReportDict, run: Sequence[OperationDict], names: dict[str, str]) -> None:
    page.text(f"{_who(run, names)}: {wording.acts(run)}{wording.ending(run[0])}", hang=2)
    proofs = [proof for operation in run for proof in operation["proof"]]
    for proof in proofs[:_MOST_EVIDENCE]:
        where = wording.at_lines(proof["lines"], proof["capture"], len(report["captures"]))
        page.text(say("why.proof", what=short_hex(proof["what"]), where=where), indent=4, mark="- ")
    _and_more(page, len(proofs))


def _who(run: Sequence[OperationDict], names: dict[str, str]) -> str:
    return ", ".join(dict.fromkeys(names.get(item["link"], item["link"]) for item in run))


def _finding(page: Lines, report: ReportDict, finding: FindingDict, said: set[str]) -> None:
    """A finding with its lines; a caution that stands above already is not said again."""
    page.text(
        say("why.finding", title=finding["title"], sure=finding["confidence"]),
        mark=f"{finding['severity'].capitalize()}: ",
        colour=wording.SEVERITY_COLOUR[finding["severity"]],
        hang=2,
    )
    page.text(short_hex(finding["explanation"]), indent=4)
    _evidence(page, report, finding["evidence"])
    if finding["try_next"]:
        page.text(" ".join(finding["try_next"]), indent=4, mark=say("why.try"), hang=2)
    for text in finding["cautions"]:
        if text not in said:
            page.text(text, indent=4, mark=say("caution"), colour="caution", hang=2)


def _evidence(page: Lines, report: ReportDict, items: Sequence[EvidenceDict], mark: str = "- ") -> None:
    for item in items[:_MOST_EVIDENCE]:
        where = wording.at_lines(item["lines"], item["capture"], len(report["captures"]))
        page.text(say("why.proof", what=short_hex(item["text"]), where=where), indent=4, mark=mark)
    _and_more(page, len(items))


def _and_more(page: Lines, count: int) -> None:
    if count > _MOST_EVIDENCE:
        page.text(say("trust.more", count=count - _MOST_EVIDENCE), indent=4, mark="- ")


def what_changed(page: Lines, report: ReportDict) -> None:
    """Identifiers that read one thing before and another at the end: the before and after of a module."""
    written = {(item["link"], item["identifier"]) for item in report["trims"]}
    changed = [
        item for item in report["identifiers"]
        if _changed_once(item) and not _is_measured(item) and (item["link"], item["identifier"]) not in written
    ]  # fmt: skip
    if not changed or wording.nothing_attempted(report):
        return
    page.heading(say("what-reads-differently-now.heading"))
    names = wording.labels(report)
    told: set[str] = set()
    for item in changed:
        first, last = item["readings"][0], item["readings"][-1]
        name = f" {item['name']}" if item["name"] else ""
        in_words = bool(first["value"] and last["value"])
        before, after = (
            shorten_middle((in_words and reading["value"]) or reading["raw"], 32) for reading in (first, last)
        )
        text = f"{names.get(item['link'], item['link'])} {item['identifier']}{name}: {before} -> {after}"
        if text in told:
            continue  # the same module, read by another tester as well
        told.add(text)
        page.text(say("differently.line", what=text, first=first["line"], last=last["line"]), hang=2)


def _is_measured(item: IdentifierDict) -> bool:
    """A value of the moment: an OBD parameter (F400 to F4FF, ISO 14229-1:2020, C.1 (M)), or so many volts."""
    return item["identifier"].startswith("F4") or (item["readings"][-1]["value"] or "").endswith(" V")


def _changed_once(item: IdentifierDict) -> bool:
    """Live values change all the time; an identity changes once."""
    values = [reading["raw"] for reading in item["readings"]]
    return sum(before != after for before, after in pairwise(values)) == 1


def trims(page: Lines, report: ReportDict) -> None:
    """Every trim: what was there, what was written, what came back."""
    if not report["trims"] or wording.changed_nothing(report):
        return
    page.heading(say("trims-and-configuration.heading"))
    names = wording.labels(report)
    number = max(len(say("trims.id")), *(len(item["identifier"]) for item in report["trims"]))
    value = max((page.width - 2 - number - 4 * 2 - wording.WORD_WIDTH) // 3, 5)
    widths = (number, value, value, value, 0)
    said = {proof["what"] for operation in report["operations"] for proof in operation["proof"]}
    doubts = {item["number"]: item["not_as_meant"] for item in report["operations"]}
    for link, group in groupby(report["trims"], key=lambda item: item["link"]):
        items = list(group)
        if all(item["written"] is None for item in items):
            _only_read(page, names.get(link, link), items)
            continue
        page.text(names.get(link, link), colour="strong")
        page.table((say("trims.id"), say("trims.old"), say("trims.written"), say("trims.read-back"), ""), widths)
        about = ""
        for item in items:
            doubt = doubts.get(item["operation"] or 0)
            about = _trim(page, item, doubt, names, said, about)


def _only_read(page: Lines, label: str, items: Sequence[TrimDict]) -> None:
    page.text(say("trims.only-read", who=label), colour="strong")
    page.table((), (max(len(item["identifier"]) for item in items), 0))
    for item in items:
        name = f"  {item['name']}" if item["name"] else ""
        page.row(item["identifier"], f"{short_hex(item['old'] or '-')}{name}")


def _trim(
    page: Lines,
    item: TrimDict,
    doubt: NotAsMeantDict | None,
    names: dict[str, str],
    said: set[str],
    said_above: str,
) -> str:
    """One row, and below it what has not been said yet; gives back what now has been."""
    word = doubt["word"] if doubt is not None else item["word"]
    has_but = doubt is not None and word == item["word"]
    but = Cell(say("trims.but", word=wording.WORD[word]), "doubtful", "unproven")
    said_as = but if has_but else wording.word_cell(word)
    written = say("trims.refused", code=item["refused"]) if item["refused"] else item["written"] or "-"
    page.row(item["identifier"], item["old"] or "-", written, _read_back(item), said_as)
    parts = [item["name"]] if item["name"] else []
    if item["source_link"]:
        parts.append(say("trims.as-in", who=names.get(item["source_link"], item["source_link"])))
    if doubt is not None:
        parts.append(doubt["why"])
    about = "; ".join(parts)
    for text in ("" if about == said_above else about, _difference(item), *item["notes"]):
        if text and text not in said:
            page.note(short_hex(text))
    return about


def _read_back(item: TrimDict) -> str:
    """A shortened value would hide a difference in its middle: so equality is said."""
    if item["read_back"] is None:
        return "-"
    return say("trims.equal") if item["read_back"] == item["written"] else item["read_back"]


def _difference(item: TrimDict) -> str:
    """Where a read-back parts from what was written."""
    written, read_back = item["written"], item["read_back"]
    if written is None or read_back is None or written == read_back or item["refused"]:
        return ""
    if len(written) != len(read_back):
        return say("trims.lengths", written=counted(len(written) // 2, "byte"), read=len(read_back) // 2)
    byte = next(at for at in range(0, len(written), 2) if written[at : at + 2] != read_back[at : at + 2])
    wrote, reads = written[byte : byte + 8], read_back[byte : byte + 8]
    return say("trims.differs", byte=byte // 2 + 1, written=wrote, read=reads)


def the_break(page: Lines, report: ReportDict) -> None:
    """Where a job broke off, who fell silent first, and what may be behind it."""
    post_mortem = report["post_mortem"]
    if post_mortem is None or wording.nothing_attempted(report):
        return
    page.heading(say("where-it-broke.heading"), wording.STAGE[post_mortem["stage"]])
    _break_facts(page, report, post_mortem)
    if not post_mortem["explanations"]:
        page.text(say("broke.no-cause"), mark=say("broke.possible"), hang=2)
    for number, explanation in enumerate(post_mortem["explanations"], start=1):
        _explanation(page, report, number, explanation)


def _break_facts(page: Lines, report: ReportDict, post_mortem: PostMortemDict) -> None:
    steps = (say("broke.last-good"), post_mortem["last_good"]), (say("broke.first-bad"), post_mortem["first_bad"])
    for mark, item in steps:
        if item is not None:
            where = wording.at_lines(item["lines"], item["capture"], len(report["captures"]))
            page.text(say("why.proof", what=item["text"], where=where), mark=mark, hang=2)
    for fact in post_mortem["facts"]:
        _evidence(page, report, [fact])
    page.text(wording.SILENT_FIRST[post_mortem["silent_first"]], mark=say("broke.silent"), hang=2)
    if post_mortem["share_carried"] is not None:
        page.text(say("broke.share", share=post_mortem["share_carried"]), mark=say("broke.carried"), hang=2)
    if post_mortem["supply"]:
        names = wording.labels(report)
        readings = ", ".join(
            say("broke.volts", who=names.get(item["link"], item["link"]), volts=item["volts"], line=item["line"])
            for item in post_mortem["supply"][-6:]
        )
        page.text(readings, mark=say("broke.supply"), hang=2)
        for module in report["modules"]:
            if module["now"] == "silent" and module["link"] in {item["link"] for item in post_mortem["supply"]}:
                label = names.get(module["link"], module["link"])
                page.text(say("broke.supply-unknown", who=label), mark=say("broke.supply"), hang=2)


def _explanation(page: Lines, report: ReportDict, number: int, explanation: ExplanationDict) -> None:
    page.text(explanation["cause"], mark=say("broke.cause", number=number), hang=2)
    _evidence(page, report, explanation["for"], mark=say("broke.for"))
    _evidence(page, report, explanation["against"], mark=say("broke.against"))
    page.text(explanation["settled_by"], indent=4, mark=say("broke.settled"), hang=2)


def what_would_change(page: Lines, report: ReportDict) -> None:
    """The proofs that are missing, part by part."""
    verdict = report["verdict"]
    parts = verdict["parts"]
    named = (
        ("programming", parts["programming"]), ("trims", parts["trims"]), ("vin", parts["vin"]),
        ("fault_memory", parts["fault_memory"]), ("learn", parts["learn"]),
    )  # fmt: skip
    open_parts = [(name, part) for name, part in named if part["would_change"] and part["word"] != "not-shown"]
    if not open_parts or wording.nothing_attempted(report):
        return
    page.heading(say("what-would-change-a-word.heading"))
    for name, part in open_parts:
        for text in part["would_change"]:
            page.text(short_hex(text), mark=f"{wording.PART[name]}: ", hang=2)


def cannot_show(page: Lines, report: ReportDict) -> None:
    """What nobody can know from these captures."""
    items = list(dict.fromkeys(report["verdict"]["cannot_show"]))
    if not items:
        return
    is_one = len(report["captures"]) == 1
    page.heading(say("what-this-capture-cannot-show.heading" if is_one else "what-these-captures-cannot-show.heading"))
    for item in items:
        page.text(item, mark="- ")


def timeline(page: Lines, report: ReportDict) -> None:
    """The operations in order; runs of the same act share a line, and each capture begins anew."""
    if not report["operations"]:
        return
    starts = _starts_ns(report)
    page.heading(say("timeline.heading"), say("timeline.seconds" if starts else "timeline.no-clock"))
    left = _LONGEST_TIMELINE
    for number, operations in groupby(report["operations"], key=lambda item: _capture_of(item, starts)):
        of_capture = list(operations)
        if starts:
            of_capture.sort(key=lambda item: _told_ns(report, item) or 0)
        runs = list(_runs(of_capture))
        if len(report["captures"]) > 1 and starts:
            page.text(report["captures"][number]["name"], mark=f"{number + 1}. ")
        for run in runs[:left]:
            _moment(page, report, run, starts[number] if starts else None)
        if len(runs) > left:
            page.text(say("timeline.more", count=len(runs) - left))
        left = max(left - len(runs), 0)


def _moment(page: Lines, report: ReportDict, run: Sequence[OperationDict], start_ns: int | None) -> None:
    first = run[0]
    who = _who(run, wording.labels(report))
    mark = "" if start_ns is None else f"{wording.seconds(_told_ns(report, first), start_ns):>9}  "
    if len(run) > 1 and _is_unanswered(first):
        until = "" if start_ns is None else wording.seconds(run[-1]["begin_ns"], start_ns)
        key = "timeline.asked-until" if until else "timeline.asked"
        page.text(say(key, who=who, count=len(run), until=until), mark=mark)
        return
    later = say("timeline.later") if first["superseded_by"] and not wording.is_helper(first) else ""
    said = say(
        "timeline.line", who=who, acts=wording.acts(run), took=_took(first), ending=wording.ending(first), later=later
    )
    page.text(said, mark=mark)


def _took(operation: OperationDict) -> str:
    """How long an erase took, where that is worth a word."""
    begin, end = operation["begin_ns"], operation["end_ns"]
    if operation["details"].get("kind") != "erase" or begin is None or end is None or end - begin < SECOND_NS:
        return ""
    return f", {lasting(end - begin)}"


def _told_ns(report: ReportDict, operation: OperationDict) -> int | None:
    """When it began; a download at its request, for its erase has a line of its own."""
    begin, end = operation["begin_ns"], operation["end_ns"]
    if operation["kind"] != "download" or begin is None or end is None:
        return begin
    asked = (
        item["time_ns"]
        for item in report["exchanges"]
        if item["link"] == operation["link"] and item["request"].startswith("34") and item["time_ns"] is not None
    )
    return next((time for time in asked if begin <= time <= end), begin)


def _capture_of(operation: OperationDict, starts: Sequence[int]) -> int:
    """Place of the capture in which an operation begins, as far as one clock tells."""
    begin = operation["begin_ns"]
    return 0 if begin is None or not starts else max(bisect_right(starts, begin) - 1, 0)


def _starts_ns(report: ReportDict) -> list[int]:
    """When each capture begins, if one clock tells which operation is in which; else nothing."""
    starts = [item["first_time_ns"] for item in report["captures"] if item["first_time_ns"] is not None]
    kinds = {item["time_kind"] for item in report["captures"]}
    return starts if len(report["captures"]) == 1 or kinds == {"absolute"} else []


def _runs(operations: Sequence[OperationDict]) -> Iterator[list[OperationDict]]:
    """Neighbouring operations that a person would tell in one breath."""
    run: list[OperationDict] = []
    for operation in operations:
        if run and _same(run[-1], operation):
            run.append(operation)
            continue
        if run:
            yield run
        run = [operation]
    if run:
        yield run


def _same(first: OperationDict, second: OperationDict) -> bool:
    if first["link"] == second["link"] and _is_unanswered(first) and _is_unanswered(second):
        return True
    if _telling(first) != _telling(second):
        return False
    if first["kind"] in wording.ASKING_KINDS or first["kind"] == "clear":
        return True
    return first["link"] == second["link"] and first["kind"] in ("write", "routine") and not wording.is_helper(first)


def _is_unanswered(operation: OperationDict) -> bool:
    """A mere question that found no answer."""
    return operation["kind"] in ("identity", "session") and operation["word"] == "interrupted"


def _telling(operation: OperationDict) -> tuple[str, str, str, bool]:
    return operation["kind"], operation["confidence"], wording.ending(operation), operation["superseded_by"] is None


def transfers(page: Lines, report: ReportDict) -> None:
    """How many messages each link carried, in all captures together."""
    if not report["links"]:
        return
    page.heading(say("who-talked.heading"), say("talked.answer"))
    for key, links in groupby(sorted(report["links"], key=lambda link: link["link"]), key=lambda link: link["link"]):
        of_link = list(links)
        label = f"{of_link[0]['label']}  " if of_link[0]["label"] else ""
        asked = counted(sum(link["requests"] for link in of_link), "request")
        if of_link[0]["functional"] and not any(link["responses"] for link in of_link):
            page.text(say("talked.to-all", who=f"{label}{key}", asked=asked), hang=4)
            continue
        answered = counted(sum(link["responses"] for link in of_link), "answer")
        broken = sum(link["incomplete"] for link in of_link)
        spoken = wording.DIALECT.get(of_link[0]["dialect"], "")
        rest = say("talked.broken", count=broken) if broken else ""
        rest += say("talked.dialect", dialect=spoken) if spoken else ""
        page.text(say("talked.line", who=f"{label}{key}", asked=asked, answered=answered, rest=rest), hang=4)


def how_to_see_more(page: Lines, report: ReportDict, again: Again | None) -> None:
    """The commands that open the next level, ready to be typed; never broken inside a word."""
    page.heading(say("see-more.heading"))
    names = [item["name"] for item in report["captures"]]
    asked = again or Again(names if len(set(names)) == len(names) else ["CAPTURE..."])
    for level in ("exchanges", "messages", "frames"):
        page.text(asked.list_command(level), hang=4)
    page.text(asked.report_command("report.json"), hang=4)


def other_traffic(page: Lines, report: ReportDict) -> None:
    """What else was on the bus, by name, with the signs of it and what it tells."""
    found = [(capture, item) for capture in report["captures"] for item in capture["other_traffic"]]
    if not found:
        return
    page.heading(say("what-else-was-on-the-bus.heading"), say("else.answer"))
    for capture, item in found:
        where = item["channel"]
        if len(report["captures"]) > 1:
            where = say("else.where", channel=where, capture=capture["number"])
        page.text(say("else.line", protocol=item["protocol"], where=where, sure=item["confidence"]), hang=2)
        _evidence(page, report, item["facts"])
        _evidence(page, report, item["signs"], mark=say("else.known"))


SECTIONS = (
    why,
    what_changed,
    trims,
    meanwhile,
    the_break,
    what_would_change,
    cannot_show,
    timeline,
    transfers,
    timing,
    other_traffic,
)
