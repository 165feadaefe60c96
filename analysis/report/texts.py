"""Every fixed text of the report, in one place, so that it can be read through, corrected and translated as a whole.

A key names the part of the report and what is said there. Braces are places for values, by name. What single words
mean (the five words, parts, states, kinds of acts) stands in wording.py; what checks, operations and the verdict say
comes in the contract and is written where it is decided.

What stands before ``.heading`` is the id of the section on the page: style sheet and links stay when words change.
"""

from __future__ import annotations

from typing import Final

TEXTS: Final[dict[str, str]] = {
    # the first screen
    "the-module-now.heading": "The module now",
    "the-modules-now.heading": "The modules now",
    "now.nobody": "No module answered in this capture.",
    "now.module": "{who}: {now}.",
    "now.module-and-retry": "{who}: {now}. May it be tried again? {may}.",
    "the-job.heading": "The job",
    "job.overall": "{word} (confidence {sure})",
    "job.confidence": "confidence {sure}",
    "job.came-back": "{who}: cleared, and {codes} came back",
    "job.pending": "{who}: cleared, and listed as pending behind it: {codes}",
    "job.no-traffic": "nothing was attempted, no diagnostic traffic was found",
    "job.one-direction": "not shown: only one direction was recorded",
    "job.opened": "{opened} asked for, nothing was changed",
    "job.only-read": "read only, nothing was attempted",
    "job.no-part": "no part of the job was attempted",
    "caution": "Caution: ",
    "what-to-do-next.heading": "What to do next",
    "can-this-capture-be-trusted.heading": "Can this capture be trusted?",
    "can-these-captures-be-trusted.heading": "Can these captures be trusted?",
    "trust.more": "and {count} more: all are in the JSON report",
    "trust.no-clock": "no clock",
    "trust.channels": "{channels} ({names})",
    "trust.unreadable": "unreadable line",
    "trust.dropped": "{frames} dropped by the logger",
    "trust.errors": "error frame",
    "the-job-sheet.heading": "The job sheet",
    "sheet.answer": "asked and found",
    "sheet.note-of-all": "{note} (the {count} above)",
    "sheet.nothing-found": "{item}: asked {asked}, nothing found",
    "sheet.found": "{item}: {found}",
    "sheet.differs": "asked {asked}, found {found}",
    "what-was-read.heading": "What was read",
    "read.codes": "fault codes: {codes}",
    "read.pending-codes": "pending codes: {codes}",
    "read.permanent-codes": "permanent codes: {codes}",
    "read.before": "read before as {value}",
    # why
    "why.heading": "Why",
    "why.module": "{who}: {now}",
    "why.finding": "{title} (confidence {sure})",
    "why.try": "Try: ",
    "why.proof": "{what} ({where})",
    "what-reads-differently-now.heading": "What reads differently now",
    "differently.line": "{what} (lines {first} and {last})",
    # trims
    "trims-and-configuration.heading": "Trims and configuration",
    "trims.only-read": "{who}, only read",
    "trims.id": "id",
    "trims.old": "old",
    "trims.written": "written",
    "trims.read-back": "read back",
    "trims.but": "{word}, but",
    "trims.refused": "refused ({code})",
    "trims.as-in": "the same bytes as in {who}",
    "trims.equal": "equal",
    "trims.lengths": "{written} written, {read} read back",
    "trims.differs": "differs from byte {byte} on: {written} written, {read} read back",
    # where it broke
    "where-it-broke.heading": "Where it broke",
    "broke.no-cause": "not enough to say: no cause has more than a weak sign for it",
    "broke.possible": "Possible cause: ",
    "broke.cause": "Possible cause {number}: ",
    "broke.last-good": "Last good step: ",
    "broke.first-bad": "First bad thing: ",
    "broke.silent": "Fell silent first: ",
    "broke.share": "{share:.1%} of the bytes were answered",
    "broke.carried": "Carried: ",
    "broke.volts": "{who} {volts:.1f} V (line {line})",
    "broke.supply": "Supply: ",
    "broke.supply-unknown": "of {who} itself after it fell silent: not known",
    "broke.for": "for: ",
    "broke.against": "against: ",
    "broke.settled": "settled by: ",
    # what is open, and what nobody can know
    "what-would-change-a-word.heading": "What would change a word",
    "what-this-capture-cannot-show.heading": "What this capture cannot show",
    "what-these-captures-cannot-show.heading": "What these captures cannot show",
    # the timeline
    "timeline.heading": "Timeline",
    "timeline.seconds": "seconds from the start",
    "timeline.no-clock": "in order, no common clock",
    "timeline.more": "and {count} more: see the JSON report",
    "timeline.asked": "{who}: asked {count} times, no answer",
    "timeline.asked-until": "{who}: asked {count} times until {until} s, no answer",
    "timeline.later": ", tried again later",
    "timeline.line": "{who}: {acts}{took}{ending}{later}",
    # who talked, how soon they answered, what else was there, and how to go on
    "who-talked.heading": "Who talked",
    "talked.answer": "messages rebuilt on each link",
    "talked.to-all": "{who}  {asked} to all modules; the answers are counted at each module",
    "talked.line": "{who}  {asked}, {answered}{rest}",
    "talked.broken": ", {count} not whole",
    "talked.dialect": ", in {dialect}",
    "how-soon-they-answered.heading": "How soon they answered",
    "soon.answer": "end of a request to begin of its answer",
    "soon.answers": "answers",
    "soon.least": "least",
    "soon.half": "half",
    "soon.most": "most",
    "soon.longest": "{time}, line {line}",
    "soon.later": "{count} later",
    "soon.kept": "kept",
    "soon.announced": "announced {p2}, {p2_star} after a wait answer (line {line}): {kept}",
    "soon.waited": "at most {longest} after a wait answer (line {line})",
    "soon.steps": "stamps in steps of {step}",
    "what-else-was-on-the-bus.heading": "What else was on the bus",
    "else.answer": "named, not read further",
    "else.line": "{protocol} on {where} (confidence {sure})",
    "else.where": "{channel}, capture {capture}",
    "else.known": "known by: ",
    "see-more.heading": "See more",
    # the picture of the session
    "the-session-in-one-picture.heading": "The session in one picture",
    "picture.label": "The session as a timeline; the words below say the same",
    "picture.axis": "seconds from the first act",
    "picture.mark": "{who}: {act}, {word}",
    "picture.lane": "{who}: {acts}, {words}",
    "picture.words": "{number} {word}",
    "picture.key": (
        "{lanes}. Green: confirmed; amber, striped: not proven; red, crossed: failed; red, dotted: interrupted."
    ),
    # fault codes
    "fault-codes-that-were-read.heading": "Fault codes that were read",
    "faults.line": "{who}, {when}: {codes}",
    "faults.first": "first",
    "faults.last": "last",
    "faults.once": "read once",
    "faults.pending-ones": "{who}, pending",
    "faults.permanent-ones": "{who}, permanent",
    "faults.some-ones": "{who}, asked for some codes only",
    "faults.permanent-stay": "Permanent codes stay by design: a clear does not take them away. Each goes when its own "
    "monitor has passed (SAE J1979 (M)).",
    "faults.before-programming": "{when}, before the programming",
    "faults.code": "{code}, status {status}",
    "faults.code-in-words": "{code}, status {status} ({words})",
    "faults.named": "{code} ({name})",
    "faults.none": "no codes",
    "faults.none-under-mask": "no codes under mask {mask}",
    "faults.now": "failed now",
    "faults.pending": "pending",
    "faults.confirmed": "confirmed",
    "faults.not-tested": "not tested since the clear",
    "faults.lamp": "lamp on",
    # vehicle and engine during the programming and the writes
    "vehicle-and-engine-meanwhile.heading": "Vehicle and engine meanwhile",
    "meanwhile.line": "{who}, {what}: {said} ({signal}, {where})",
    "meanwhile.line-with-values": "{who}, {what}: {said} ({signal} {values} {unit}, {where})",
    "meanwhile.from-to": "{low} to {high}",
    "meanwhile.programming": "programming",
    "meanwhile.moving": "the vehicle moved",
    "meanwhile.standing": "the vehicle stood",
    "meanwhile.running": "the engine ran",
    "meanwhile.stopped": "the engine stood, so battery and support unit carried the supply alone",
    # what only the page has: steps, frames, where it comes from, room to sign on paper
    "step-by-step.heading": "Step by step",
    "steps.count": "{count:,} rows",
    "steps.about": "Each request with its answer, in order, tester present left out. Open one to see its bytes.",
    "steps.line": "line {first}",
    "steps.lines": "lines {first}-{last}",
    "steps.folded": "{count:,} more blocks, all accepted (lines {first}-{last})",
    "steps.all-modules": "{link} all modules",
    "frames-of-the-evidence.heading": "Frames of the evidence",
    "frames.count": "{count:,} frames",
    "frames.about": "A line number leads back to its step.",
    "frames.left-out": "{count:,} more lie between these; `canlog list --level frames` has them all.",
    "frames.line": "line",
    "frames.time": "time",
    "frames.channel": "channel",
    "frames.id": "id",
    "frames.data": "data",
    "how-this-was-made.heading": "How this was made",
    "made.by": "canlog {version}; limits changed: {limits}",
    "made.no-limits": "none",
    "made.capture": "{name} ({format}): SHA-256 {digest}",
    "made.sheet": "job sheet: SHA-256 {digest}",
    "made.names": "names: SHA-256 {digest}",
    "made.caution": (
        "This report is evidence, not permission. The vehicle maker's service information, local rules and licences "
        "come first."
    ),
    "notes.heading": "Notes",
    "sign.vehicle": "Vehicle, order",
    "sign.name": "Name",
    "sign.date": "Date, signature",
}


def say(key: str, **parts: object) -> str:
    """The text of a key with its places filled; a key or place that is not there is a bug (KeyError)."""
    return TEXTS[key].format(**parts)


def section_of(heading: str) -> str:
    """The id of the section under a heading of the catalogue; empty for a heading that was made elsewhere."""
    ids = (key.removesuffix(".heading") for key, text in TEXTS.items() if key.endswith(".heading") and text == heading)
    return next(ids, "")
