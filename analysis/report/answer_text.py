"""The first screen: the module now, the job, what next, whether the capture can be trusted."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from analysis.report import wording
from analysis.report.contract import CaptureDict, IdentifierDict, ModuleDict, PartDict, ReportDict
from analysis.report.lines import Lines, short_hex, shorten_middle

#: Acts that make a module one that the report has to speak of by itself.
_TOUCHING = frozenset({"download", "file", "write", "routine", "reset"})


def modules_now(page: Lines, report: ReportDict) -> None:
    """The state every module was left in; those that nothing was done to share one line."""
    page.heading("The module now" if len(report["modules"]) < 2 else "The modules now")
    if not report["modules"]:
        page.text("No module answered in this capture.")
        return
    touched = {item["link"] for item in report["operations"] if item["kind"] in _TOUCHING}
    quiet = [module for module in report["modules"] if _is_quiet(module, touched)]
    spoken_of = [module for module in report["modules"] if module not in quiet]
    all_well = report["verdict"]["overall"] == "confirmed" or wording.only_read(report)
    for module in spoken_of:
        _module(page, report, module, ask=not all_well or module["now"] != "application")
    cautions = " ".join(_unique(caution for module in spoken_of for caution in module["cautions"]))
    if cautions:
        page.text(cautions, mark="Caution: ", colour="caution", hang=2)
    if quiet:
        names = ", ".join(_label(module) for module in quiet)
        mark = "Others: " if spoken_of else ""
        page.text(f"{names} {'runs its' if len(quiet) == 1 else 'run their'} application.", mark=mark)


def _is_quiet(module: ModuleDict, touched: set[str]) -> bool:
    return module["now"] == "application" and not module["cautions"] and module["link"] not in touched


def _module(page: Lines, report: ReportDict, module: ModuleDict, *, ask: bool) -> None:
    page.text(f"{_label(module)} {wording.NOW[module['now']]}.", colour=wording.NOW_COLOUR[module["now"]])
    if not ask:
        return
    is_said_below = any(module["advice"] in step for step in report["verdict"]["next_steps"])
    advice = "" if is_said_below else module["advice"]
    retry = f"May it be tried again? {wording.MAY_RETRY[module['may_retry']].capitalize()}."
    page.text(f"{retry} {advice}".rstrip(), indent=4)


def _label(module: ModuleDict) -> str:
    return module["label"] or module["link"]


def the_job(page: Lines, report: ReportDict) -> None:
    """One line for each part, with what the word rests on and what would change it."""
    verdict = report["verdict"]
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
        for change in part["would_change"][:2]:
            page.text(change, indent=4, mark="Would change it: ")


def the_sheet(page: Lines, report: ReportDict) -> None:
    """Each item of the job sheet: asked, found, word."""
    if not report["expectations"]:
        return
    page.heading("The job sheet", "asked and found")
    for item in report["expectations"]:
        found = short_hex(item["found"]) if item["found"] is not None else "nothing"
        is_plain = item["word"] == "confirmed"
        whole = f"{item['item']}: {found}"
        fits = is_plain and len(whole) <= page.width - wording.WORD_WIDTH - 4
        page.columns(
            (wording.WORD[item["word"]], whole if fits else item["item"]),
            (wording.WORD_WIDTH, 0),
            (wording.WORD_COLOUR[item["word"]],),
        )
        if not is_plain:
            page.text(f"asked {short_hex(item['asked'])}, found {found}", indent=4 + wording.WORD_WIDTH)


def what_was_read(page: Lines, report: ReportDict) -> None:
    """After a mere scan: the values to write down."""
    if not wording.nothing_attempted(report) or not report["identifiers"]:
        return
    page.heading("What was read")
    names = wording.labels(report)
    link = None
    for item in report["identifiers"]:
        if not item["readings"]:
            continue
        if item["link"] != link:
            link = item["link"]
            page.text(names.get(link, link), colour="strong")
        _identifier(page, item)


def _identifier(page: Lines, item: IdentifierDict) -> None:
    values = list(_unique(reading["value"] or reading["raw"] for reading in item["readings"]))
    name = f" {item['name']}" if item["name"] else ""
    page.text(f"{item['identifier']}{name}: {_long_value(values[-1], page.width)}", indent=4, hang=2)
    if len(values) > 1:
        page.text(f"read before as {_long_value(values[0], page.width)}", indent=6)


def _long_value(text: str, width: int) -> str:
    """A value to be copied by hand is never cut; only what no one can copy is."""
    return shorten_middle(text, 4 * width)


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
