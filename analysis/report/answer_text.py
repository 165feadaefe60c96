"""The first screen: what happened, the module now, the job, what next, whether the capture can be trusted.

It has to be read in ten seconds at a fender; what it leaves out stands below it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import groupby

from analysis.report import wording
from analysis.report.contract import CaptureDict, ExpectationDict, IdentifierDict, ModuleDict, PartDict, ReportDict
from analysis.report.fault_text import fault_codes_read, faults_read, said_codes
from analysis.report.lines import Lines, short_hex
from canlog.counting import counted, lasting

#: Acts that make a module one that the report has to speak of by itself.
_TOUCHING = frozenset({"download", "file", "write", "write-memory", "routine", "reset", "unlock"})
#: Room that breaking lines at words costs.
_LOST_BY_WRAPPING = 12
#: Reasons for the trust in a capture; the rest is in the JSON report.
_MOST_REASONS = 3


def headline(page: Lines, report: ReportDict) -> None:
    """One plain sentence: what happened to which module."""
    word = report["verdict"]["overall"]
    colour = "strong" if word == "confirmed" else wording.WORD_COLOUR[word]
    page.text(report["verdict"]["headline"], indent=0, colour=colour, word=word)


def modules_now(page: Lines, report: ReportDict) -> None:
    """The state every module was left in: those of the job first and alone, the others together."""
    page.heading("The module now" if len(report["modules"]) < 2 else "The modules now")
    if not report["modules"]:
        page.text("No module answered in this capture.")
        return
    spoken_of = _spoken_of(report)
    others = [module for module in report["modules"] if module not in spoken_of]
    for module in spoken_of:
        retry = (
            ""
            if module["now"] == "application"
            else f" May it be tried again? {wording.MAY_RETRY[module['may_retry']].capitalize()}."
        )
        said = f"{_label(report, module)}: {wording.NOW[module['now']]}.{retry}"
        page.text(said, colour=wording.NOW_COLOUR[module["now"]], hang=2)
    for now in dict.fromkeys(module["now"] for module in others):
        names = ", ".join(_label(report, module) for module in others if module["now"] == now)
        page.text(f"{names}: {wording.NOW[now]}.", colour=wording.NOW_COLOUR[now], hang=2)


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
        page.heading("The job", _nothing(report))
    else:
        page.heading(
            "The job",
            f"{wording.WORD[verdict['overall']]} (confidence {verdict['confidence']})",
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
        _part(page, "learn", parts["learn"], said)
    _caution(page, report)


def _nothing(report: ReportDict) -> str:
    if not report["links"]:
        return "nothing was attempted, no diagnostic traffic was found"
    if any(item["word"] == "not-shown" and item["kind"] in _TOUCHING for item in report["operations"]):
        return "not shown: only one direction was recorded"
    if opened := wording.opening(report):
        return f"{opened} asked for, nothing was changed"
    return "read only, nothing was attempted" if wording.only_read(report) else "no part of the job was attempted"


def _part(page: Lines, name: str, part: PartDict, said: str) -> None:
    shown = part["word"] != "not-shown"
    page.row(wording.PART[name], wording.word_cell(part["word"]), f"confidence {part['confidence']}" if shown else "")
    if shown and part["word"] != "confirmed":
        reason = _without_module(part["because"][0] if part["because"] else "", said)
        if reason and reason not in said:
            page.note(_in_lines(short_hex(reason), page.width - 4, 2))


def _without_module(reason: str, said: str) -> str:
    """A reason without the module that the headline names already."""
    module, colon, rest = reason.partition(": ")
    return rest if colon and module and said.startswith(f"{module}: ") else reason


def _caution(page: Lines, report: ReportDict) -> None:
    """What fits into two lines, whole sentences, the gravest first; all of it stands with the evidence."""
    room = 2 * page.width - len("  Caution: ") - 4 - _LOST_BY_WRAPPING
    text = ""
    for caution in wording.cautions_on_top(report):
        if not text or len(text) + len(caution) < room:
            text = f"{text} {caution}".strip()
    if text:
        page.text(text, mark="Caution: ", colour="caution", hang=2)


def _in_lines(text: str, width: int, lines: int) -> str:
    """Cut at a word so that it takes no more lines than these."""
    room = width * lines - _LOST_BY_WRAPPING
    return text if len(text) <= room else f"{text[: room - 4].rpartition(' ')[0]} ..."


def the_sheet(page: Lines, report: ReportDict) -> None:
    """Each item of the job sheet: asked, found, word."""
    if not report["expectations"]:
        return
    page.heading("The job sheet", "asked and found")
    page.table((), (wording.WORD_WIDTH, 0))
    for (_, note), run in groupby(report["expectations"], key=lambda item: (item["word"], item["note"])):
        items = list(run)
        for item in items:
            _item(page, item)
        if note:
            of_all = f" (the {len(items)} above)" if len(items) > 1 else ""
            page.note(f"{short_hex(note)}{of_all}", indent=4 + wording.WORD_WIDTH)


def _item(page: Lines, item: ExpectationDict) -> None:
    """One line where the word says it all, two where asked and found differ."""
    asked, found = short_hex(item["asked"]), short_hex(item["found"] or "")
    differs = item["word"] != "confirmed" and bool(found) and not item["asked"].endswith(item["found"] or "")
    whole = f"{item['item']}: {found or f'asked {asked}, nothing found'}"
    fits = len(whole) <= page.width - wording.WORD_WIDTH - 4
    page.row(wording.word_cell(item["word"]), whole if fits and not differs else item["item"])
    if differs:
        page.note(f"asked {asked}, found {found}", indent=4 + wording.WORD_WIDTH)


def what_was_read(page: Lines, report: ReportDict) -> None:
    """After a mere scan: the values to write down."""
    faults = faults_read(report)
    if not wording.changed_nothing(report):
        fault_codes_read(page, report, faults)
        return
    read = [item for item in report["identifiers"] if item["readings"]]
    if not read and not faults:
        return
    page.heading("What was read")
    names = wording.labels(report)
    trims = {(item["link"], item["identifier"]) for item in report["trims"]}
    for link in dict.fromkeys([*(item["link"] for item in read), *faults]):
        page.text(names.get(link, link), colour="strong")
        for item in (item for item in read if item["link"] == link):
            _identifier(page, item, as_bytes=(link, item["identifier"]) in trims)
        if link in faults:
            page.text(f"fault codes: {said_codes(faults[link][-1])}", indent=4, hang=2)


def _identifier(page: Lines, item: IdentifierDict, *, as_bytes: bool) -> None:
    """A value to be copied by hand is never cut: its bytes, and what they mean."""
    last = item["readings"][-1]
    name = f" {item['name']}" if item["name"] else ""
    value = last["raw"] if as_bytes else last["value"] or last["raw"]
    page.text(f"{item['identifier']}{name}: {value}", indent=4, hang=2)
    if as_bytes and last["value"]:
        page.text(last["value"], indent=6)
    if (first := item["readings"][0]["raw"]) != last["raw"]:
        page.text(f"read before as {short_hex(item['readings'][0]['value'] or first)}", indent=6)


def what_next(page: Lines, report: ReportDict) -> None:
    """What to do, in order."""
    steps = report["verdict"]["next_steps"]
    if not steps:
        return
    page.heading("What to do next")
    for number, step in enumerate(steps, start=1):
        page.text(step, mark=f"{number}. ")


def trust(page: Lines, report: ReportDict) -> None:
    """Can these captures be trusted, and why."""
    captures = report["captures"]
    question = "Can this capture be trusted?" if len(captures) == 1 else "Can these captures be trusted?"
    if len(captures) == 1:
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
        page.text(f"and {len(reasons) - _MOST_REASONS} more: all are in the JSON report", indent=indent, mark="- ")


def _recorded(capture: CaptureDict) -> Iterator[str]:
    yield counted(capture["frames"], "frame")
    if capture["first_time_ns"] is not None and capture["last_time_ns"] is not None:
        yield lasting(capture["last_time_ns"] - capture["first_time_ns"])
    else:
        yield "no clock"
    yield f"{counted(len(capture['channels']), 'channel')} ({', '.join(capture['channels'])})"
    if capture["damaged_lines"]:
        yield counted(capture["damaged_lines"], "unreadable line")
    if capture["logger_drops"]:
        yield f"{counted(capture['logger_drops'], 'frame')} dropped by the logger"
    if capture["error_frames"]:
        yield counted(capture["error_frames"], "error frame")


SECTIONS = (headline, modules_now, the_job, what_next, trust)
DETAILS = (the_sheet, what_was_read)
