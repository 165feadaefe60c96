"""Every fixed text of the report, in one place, so that it can be read through, corrected and translated as a whole.

A key names the part of the report and what is said there. Braces are places for values, by name. What single words
mean (the five words, parts, states, kinds of acts) stands in wording.py; what checks, operations and the verdict say
comes in the contract and is written where it is decided.

What stands before ``.heading`` is the id of the section on the page: style sheet and links stay when words change.
"""

from __future__ import annotations

from typing import Final

TEXTS: Final[dict[str, str]] = {
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
