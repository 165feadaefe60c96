"""What a wrong trim can do, by what names call it: the caution fits the kind of part.

Only where every value concerned is of a kind known here; else the caution stays general. Which word tells which
part, and what a wrong value of it does: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from analysis.checks.registry import Context
from analysis.operations.write import identifier_written
from analysis.words import Evidence
from canlog.services.traits import identifier_asked

#: What the cautions of the checks say of any trim.
GENERAL = "Depending on the part, a wrong one can damage engine or gearbox, or move the vehicle the wrong way."
#: Words of names, and what a wrong value of such a part can do.
HARMS = (
    (("injector", "fuel", "rail", "turbo"), "damage the engine"),
    (("solenoid", "clutch", "gearbox", "transmission"), "damage the gearbox"),
    (("rotor", "resolver", "electric machine"), "move the vehicle the wrong way"),
    (("heater",), "damage the heater or what stands round it"),
)


def fitted(caution: str, evidence: Iterable[Evidence], ctx: Context) -> str:
    """The caution of a check with the harm that the values in its evidence can do."""
    if GENERAL not in caution:
        return caution
    harms = [_harm(name) for name in _names(evidence, ctx)]
    if not harms or not all(harms):
        return caution
    return caution.replace(GENERAL, f"A wrong one can {', or '.join(dict.fromkeys(harms))}.")


def _harm(name: str) -> str:
    words = name.lower()
    return next((harm for called, harm in HARMS if any(word in words for word in called)), "")


def _names(evidence: Iterable[Evidence], ctx: Context) -> Iterator[str]:
    """What names call the values read or written there, else their module; empty for one they do not know."""
    labels = {story.link.key: story.label for story in ctx.record.stories}
    for one in evidence:
        exchange = ctx.record.exchange_at((one.capture, one.lines[0]))
        if exchange is None:
            continue
        written = identifier_written(exchange)
        identifier = written if written is not None else identifier_asked(exchange.asked, exchange.dialect)
        if identifier is not None:
            label = labels.get(exchange.link.key, "")
            name = ctx.record.names.identifier(label, identifier)
            yield f"{name.name if name else ''} {label}".strip()
