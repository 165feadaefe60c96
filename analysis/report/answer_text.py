"""The first screen: what happened, the module now, the job, what next, whether the capture can be trusted.

It has to be read in ten seconds at a fender; what it leaves out stands below it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import groupby
from typing import Any

from analysis.report import wording
from analysis.report.contract import CaptureDict, ExpectationDict, IdentifierDict, ModuleDict, PartDict, ReportDict
from analysis.report.fault_text import PENDING, PERMANENT, STORED, fault_codes_read, faults_read, said_codes
from analysis.report.lines import Lines, short_hex
from analysis.report.texts import say
from canlog.counting import counted, lasting

#: Acts that make a module one that the report has to speak of by itself.
_TOUCHING = frozenset({"download", "file", "write", "write-memory", "routine", "reset", "unlock"})
#: Room that breaking lines at words costs.
_LOST_BY_WRAPPING = 12
#: Reasons for the trust in a capture; the rest is in the JSON report.
_MOST_REASONS = 3
READ_CODES = {STORED: "read.codes", PENDING: "read.pending-codes", PERMANENT: "read.permanent-codes"}


def headline(page: Lines, report: ReportDict) -> None:
    """One plain sentence: what happened to which module."""
    word = report["verdict"]["overall"]
    colour = "strong" if word == "confirmed" else wording.WORD_COLOUR[word]
    page.text(report["verdict"]["headline"], indent=0, colour=colour, word=word)


def modules_now(page: Lines, report: ReportDict) -> None:
    """The state every module was left in: those of the job first and alone, the others together."""
    are_many = len(report["modules"]) > 1
    page.heading(say("the-modules-now.heading" if are_many else "the-module-now.heading"))
    if not report["modules"]:
        page.text(say("now.nobody"))
        return
    spoken_of = _spoken_of(report)
    others = [module for module in report["modules"] if module not in spoken_of]
    for module in spoken_of:
        is_well = module["now"] == "application"
        may = wording.MAY_RETRY[module["may_retry"]].capitalize()
        key = "now.module" if is_well else "now.module-and-retry"
        said = say(key, who=_label(report, module), now=wording.NOW[module["now"]], may=may)
        page.text(said, colour=wording.NOW_COLOUR[module["now"]], hang=2)
    for now in dict.fromkeys(module["now"] for module in others):
        names = ", ".join(_label(report, module) for module in others if module["now"] == now)
        page.text(say("now.module", who=names, now=wording.NOW[now]), colour=wording.NOW_COLOUR[now], hang=2)


def _spoken_of(report: ReportDict) -> list[ModuleDict]:
    """Modules that the job touched, and those in their boot loader."""
    touched = {item["link"] for item in report["operations"] if item["kind"] in _TOUCHING}
    return [module for module in report["modules"] if module["link"] in touched or module["now"] == "boot"]


def _label(report: ReportDict, module: ModuleDict) -> str:
    return module["label"] or wording.without_channel(report, module["link"])


def the_job(page: Lines, report: ReportDict) -> None:
    """One line for each part, and what the word rests on where it is not well; then the caution."""
    verdict = report["verdict"]
    if wording.nothing_attempted(report):
        page.heading(say("the-job.heading"), _nothing(report))
    else:
        page.heading(
            say("the-job.heading"),
            say("job.overall", word=wording.overall(report), sure=verdict["confidence"]),
            wording.WORD_COLOUR[verdict["overall"]],
            verdict["overall"],
        )
        page.table((), (20, wording.WORD_WIDTH, 17))
        parts = verdict["parts"]
        said = verdict["headline"]
        _part(page, "programming", parts["programming"], said)
        _part(page, "trims", parts["trims"], said)
        _part(page, "vin", parts["vin"], said)
        _part(page, "fault_memory", parts["fault_memory"], said)
        _behind_the_clear(page, report)
        _part(page, "learn", parts["learn"], said)
    _caution(page, report)


def _nothing(report: ReportDict) -> str:
    if not report["links"]:
        return say("job.no-traffic")
    if any(item["word"] == "not-shown" and item["kind"] in _TOUCHING for item in report["operations"]):
        return say("job.one-direction")
    if opened := wording.opening(report):
        return say("job.opened", opened=opened)
    return say("job.only-read") if wording.only_read(report) else say("job.no-part")


def _part(page: Lines, name: str, part: PartDict, said: str) -> None:
    shown = part["word"] != "not-shown"
    sure = say("job.confidence", sure=part["confidence"]) if shown else ""
    page.row(wording.PART[name], wording.word_cell(part["word"], wording.IN_PART if part["lacking"] else ""), sure)
    if (shown or part["lacking"]) and part["word"] != "confirmed":
        reason = _without_module(part["because"][0] if part["because"] else "", said)
        if reason and reason not in said:
            page.note(_in_lines(short_hex(reason), page.width - 4, 2))


def _behind_the_clear(page: Lines, report: ReportDict) -> None:
    """A clear that is confirmed and did not help: the word alone would read as if all were well."""
    names, said = wording.labels(report), report["verdict"]["headline"]
    for item in report["operations"]:
        if item["kind"] == "clear" and item["word"] == "confirmed" and item["superseded_by"] is None:
            details: Mapping[str, Any] = item["details"]
            who = names.get(item["link"], item["link"])
            for key, text in (("returned", "job.came-back"), ("pending", "job.pending")):
                if codes := ", ".join(details.get(key) or ()):
                    page.note(_without_module(say(text, who=who, codes=codes), said))


def _without_module(reason: str, said: str) -> str:
    """A reason without the module that the headline names already."""
    module, colon, rest = reason.partition(": ")
    return rest if colon and module and said.startswith(f"{module}: ") else reason


def _caution(page: Lines, report: ReportDict) -> None:
    """What fits into two lines, whole sentences, the gravest first; all of it stands with the evidence."""
    room = 2 * page.width - len(f"  {say('caution')}") - 4 - _LOST_BY_WRAPPING
    text = ""
    for caution in wording.cautions_on_top(report):
        if not text or len(text) + len(caution) < room:
            text = f"{text} {caution}".strip()
    if text:
        page.text(text, mark=say("caution"), colour="caution", hang=2)


def _in_lines(text: str, width: int, lines: int) -> str:
    """Cut at a word so that it takes no more lines than these."""
    room = width * lines - _LOST_BY_WRAPPING
    return text if len(text) <= room else f"{text[: room - 4].rpartition(' ')[0]} ..."


def the_sheet(page: Lines, report: ReportDict) -> None:
    """Each item of the job sheet: asked, found, word."""
    if not report["expectations"]:
        return
    page.heading(say("the-job-sheet.heading"), say("sheet.answer"))
    page.table((), (wording.WORD_WIDTH, 0))
    for (_, note), run in groupby(report["expectations"], key=lambda item: (item["word"], item["note"])):
        items = list(run)
        for item in items:
            _item(page, item)
        if note:
            text = short_hex(note)
            said = say("sheet.note-of-all", note=text, count=len(items)) if len(items) > 1 else text
            page.note(said, indent=4 + wording.WORD_WIDTH)


def _item(page: Lines, item: ExpectationDict) -> None:
    """One line where the word says it all, two where asked and found differ."""
    asked, found = short_hex(item["asked"]), short_hex(item["found"] or "")
    differs = item["word"] != "confirmed" and bool(found) and not item["asked"].endswith(item["found"] or "")
    whole = say("sheet.found" if found else "sheet.nothing-found", item=item["item"], found=found, asked=asked)
    fits = len(whole) <= page.width - wording.WORD_WIDTH - 4
    page.row(wording.word_cell(item["word"]), whole if fits and not differs else item["item"])
    if differs:
        page.note(say("sheet.differs", asked=asked, found=found), indent=4 + wording.WORD_WIDTH)


def what_was_read(page: Lines, report: ReportDict) -> None:
    """After a mere scan: the values to write down."""
    faults = faults_read(report)
    if not wording.changed_nothing(report):
        fault_codes_read(page, report, faults)
        return
    read = [item for item in report["identifiers"] if item["readings"]]
    if not read and not faults:
        return
    page.heading(say("what-was-read.heading"))
    names = wording.labels(report)
    trims = {(item["link"], item["identifier"]) for item in report["trims"]}
    for link in dict.fromkeys([*(item["link"] for item in read), *faults]):
        page.text(names.get(link, link), colour="strong")
        for item in (item for item in read if item["link"] == link):
            _identifier(page, item, as_bytes=(link, item["identifier"]) in trims)
        for sort, lists in faults.get(link, {}).items():
            page.text(say(READ_CODES[sort], codes=said_codes(lists[-1])), indent=4, hang=2)


def _identifier(page: Lines, item: IdentifierDict, *, as_bytes: bool) -> None:
    """A value to be copied by hand is never cut: its bytes, and what they mean."""
    last = item["readings"][-1]
    name = f" {item['name']}" if item["name"] else ""
    value = last["raw"] if as_bytes else last["value"] or last["raw"]
    page.text(f"{item['identifier']}{name}: {value}", indent=4, hang=2)
    if as_bytes and last["value"]:
        page.text(last["value"], indent=6)
    if (first := item["readings"][0]["raw"]) != last["raw"]:
        page.text(say("read.before", value=short_hex(item["readings"][0]["value"] or first)), indent=6)


def what_next(page: Lines, report: ReportDict) -> None:
    """What to do, in order."""
    steps = report["verdict"]["next_steps"]
    if not steps:
        return
    page.heading(say("what-to-do-next.heading"))
    for number, step in enumerate(steps, start=1):
        page.text(step, mark=f"{number}. ")


def trust(page: Lines, report: ReportDict) -> None:
    """Can these captures be trusted, and why."""
    captures = report["captures"]
    is_one = len(captures) == 1
    question = say("can-this-capture-be-trusted.heading" if is_one else "can-these-captures-be-trusted.heading")
    if is_one:
        fitness = captures[0]["fitness"]
        page.heading(question, fitness, wording.FITNESS_COLOUR[fitness])
        _capture(page, captures[0], indent=2)
        return
    page.heading(question)
    for capture in captures:
        fitness = capture["fitness"]
        text = f"{capture['name']}: {fitness}"
        page.text(text, mark=f"{capture['number']}. ", colour=wording.FITNESS_COLOUR[fitness])
        _capture(page, capture, indent=5)


def _capture(page: Lines, capture: CaptureDict, indent: int) -> None:
    """One paragraph where all is well, else the reasons line by line."""
    recorded = ", ".join(_recorded(capture))
    reasons = capture["fitness_reasons"]
    if capture["fitness"] == "good":
        page.text(f"{'; '.join([recorded, *reasons])}.", indent=indent)
        return
    page.text(f"{recorded}.", indent=indent)
    for reason in reasons[:_MOST_REASONS]:
        page.text(reason, indent=indent, mark="- ")
    if len(reasons) > _MOST_REASONS:
        page.text(say("trust.more", count=len(reasons) - _MOST_REASONS), indent=indent, mark="- ")


def _recorded(capture: CaptureDict) -> Iterator[str]:
    yield counted(capture["frames"], "frame")
    if capture["first_time_ns"] is not None and capture["last_time_ns"] is not None:
        yield lasting(capture["last_time_ns"] - capture["first_time_ns"])
    else:
        yield say("trust.no-clock")
    yield say(
        "trust.channels", channels=counted(len(capture["channels"]), "channel"), names=", ".join(capture["channels"])
    )
    if capture["damaged_lines"]:
        yield counted(capture["damaged_lines"], say("trust.unreadable"))
    if capture["logger_drops"]:
        yield say("trust.dropped", frames=counted(capture["logger_drops"], "frame"))
    if capture["error_frames"]:
        yield counted(capture["error_frames"], say("trust.errors"))


SECTIONS = (headline, modules_now, the_job, what_next, trust)
DETAILS = (the_sheet, what_was_read)
