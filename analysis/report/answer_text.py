"""The first screen: the module now, the job, what next, whether the capture can be trusted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from analysis.report import wording
from analysis.report.contract import CaptureDict, ExpectationDict, IdentifierDict, ModuleDict, Now, PartDict, ReportDict
from analysis.report.lines import Lines, short_hex

#: Acts that make a module one that the report has to speak of by itself.
_TOUCHING = frozenset({"download", "file", "write", "routine", "reset"})


def modules_now(page: Lines, report: ReportDict) -> None:
    """The state every module was left in: those of the job first and alone, the others together."""
    page.heading("The module now" if len(report["modules"]) < 2 else "The modules now")
    if not report["modules"]:
        page.text("No module answered in this capture.")
        return
    touched = {item["link"] for item in report["operations"] if item["kind"] in _TOUCHING}
    spoken_of = [module for module in report["modules"] if module["link"] in touched or module["now"] == "boot"]
    others = [module for module in report["modules"] if module not in spoken_of]
    is_well = report["verdict"]["overall"] == "confirmed"
    for module in spoken_of:
        _state(page, [module], module["now"])
        if not (is_well and module["now"] == "application"):
            _retry(page, report, module)
    _cautions(page, spoken_of)
    for now in dict.fromkeys(module["now"] for module in others):
        _state(page, [module for module in others if module["now"] == now], now)
    if not spoken_of:
        _cautions(page, others)


def _cautions(page: Lines, modules: Sequence[ModuleDict]) -> None:
    cautions = " ".join(_unique(caution for module in modules for caution in module["cautions"]))
    if cautions:
        page.text(cautions, mark="Caution: ", colour="caution", hang=2)


def _state(page: Lines, modules: Sequence[ModuleDict], now: Now) -> None:
    names = ", ".join(_label(module) for module in modules)
    page.text(f"{names}: {wording.NOW[now]}.", colour=wording.NOW_COLOUR[now], hang=2)


def _retry(page: Lines, report: ReportDict, module: ModuleDict) -> None:
    is_said_below = any(module["advice"] in step for step in report["verdict"]["next_steps"])
    advice = "" if is_said_below else module["advice"]
    retry = f"May it be tried again? {wording.MAY_RETRY[module['may_retry']].capitalize()}."
    page.text(f"{retry} {advice}".rstrip(), indent=4)


def _label(module: ModuleDict) -> str:
    return module["label"] or module["link"]


def the_job(page: Lines, report: ReportDict) -> None:
    """One line for each part, with what the word rests on and what would change it."""
    verdict = report["verdict"]
    if wording.nothing_attempted(report) and not report["links"]:
        page.heading("The job", "nothing was attempted, no diagnostic traffic was found")
        return
    if wording.nothing_attempted(report):
        only_read = wording.only_read(report)
        answer = "read only, nothing was attempted" if only_read else "no part of the job was attempted"
        page.heading("The job", answer)
        if not only_read:
            page.text("Nothing was programmed, written, cleared or learned in this capture.")
        return
    word = verdict["overall"]
    answer = f"{wording.WORD[word]} (confidence {verdict['confidence']})"
    page.heading("The job", answer, wording.WORD_COLOUR[word])
    parts = verdict["parts"]
    has_sheet = bool(report["expectations"])
    _part(page, "programming", parts["programming"], has_sheet=has_sheet)
    _part(page, "trims", parts["trims"], has_sheet=has_sheet)
    _part(page, "vin", parts["vin"], has_sheet=has_sheet)
    _part(page, "fault_memory", parts["fault_memory"], has_sheet=has_sheet)
    _part(page, "learn", parts["learn"], has_sheet=has_sheet)


def _part(page: Lines, name: str, part: PartDict, *, has_sheet: bool) -> None:
    shown = part["word"] != "not-shown"
    page.columns(
        (wording.PART[name], wording.WORD[part["word"]], f"confidence {part['confidence']}" if shown else ""),
        (20, wording.WORD_WIDTH, 17),
        ("plain", wording.WORD_COLOUR[part["word"]]),
    )
    if shown and not (has_sheet and part["word"] == "confirmed"):  # the sheet says it item by item
        for reason in part["because"][:2]:
            page.text(short_hex(reason), indent=4)
    if part["word"] != "confirmed" and (shown or part["because"]):
        for change in _first_two(part["would_change"]):
            page.text(change, indent=4, mark="Would change it: ", hang=2)


def _first_two(texts: Sequence[str]) -> list[str]:
    """Two of them, and how many there are besides: the rest is in the steps below."""
    more = f" (and {len(texts) - 2} more)" if len(texts) > 2 else ""
    return [*texts[:1], *(f"{text}{more}" for text in texts[1:2])]


def the_sheet(page: Lines, report: ReportDict) -> None:
    """Each item of the job sheet: asked, found, word."""
    if not report["expectations"]:
        return
    page.heading("The job sheet", "asked and found")
    for item in report["expectations"]:
        _item(page, item)


def _item(page: Lines, item: ExpectationDict) -> None:
    """One line where the word says it all, two where asked and found differ."""
    asked, found = short_hex(item["asked"]), short_hex(item["found"] or "")
    differs = item["word"] != "confirmed" and bool(found)
    whole = f"{item['item']}: {found or f'asked {asked}, nothing found'}"
    fits = len(whole) <= page.width - wording.WORD_WIDTH - 4
    page.columns(
        (wording.WORD[item["word"]], whole if fits and not differs else item["item"]),
        (wording.WORD_WIDTH, 0),
        (wording.WORD_COLOUR[item["word"]],),
    )
    if differs:
        page.text(f"asked {asked}, found {found}", indent=4 + wording.WORD_WIDTH)


def what_was_read(page: Lines, report: ReportDict) -> None:
    """After a mere scan: the values to write down."""
    if not wording.nothing_attempted(report) or not report["identifiers"]:
        return
    page.heading("What was read")
    names = wording.labels(report)
    trims = {(item["link"], item["identifier"]) for item in report["trims"]}
    read = (item for item in report["identifiers"] if item["readings"])
    for link, items in groupby(read, key=lambda item: item["link"]):
        page.text(names.get(link, link), colour="strong")
        for item in items:
            _identifier(page, item, as_bytes=(link, item["identifier"]) in trims)


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
    page.text(f"{', '.join(_recorded(capture))}.", indent=indent)
    for reason in capture["fitness_reasons"]:
        page.text(reason, indent=indent, mark="- ")


def _recorded(capture: CaptureDict) -> Iterator[str]:
    yield wording.counted(capture["frames"], "frame")
    if capture["first_time_ns"] is not None and capture["last_time_ns"] is not None:
        yield f"{wording.seconds(capture['last_time_ns'], capture['first_time_ns'])} s"
    else:
        yield "no clock"
    yield f"{wording.counted(len(capture['channels']), 'channel')} ({', '.join(capture['channels'])})"
    if capture["damaged_lines"]:
        yield wording.counted(capture["damaged_lines"], "unreadable line")
    if capture["logger_drops"]:
        yield f"{wording.counted(capture['logger_drops'], 'frame')} dropped by the logger"
    if capture["error_frames"]:
        yield wording.counted(capture["error_frames"], "error frame")


def _unique(texts: Iterable[str]) -> Iterator[str]:
    return iter(dict.fromkeys(texts))


SECTIONS = (modules_now, the_job, the_sheet, what_was_read, what_next, trust)
