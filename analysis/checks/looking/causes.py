"""What can be behind a finding, said as possible and never as seen; of a refusal only what its own code says.

Source: ISO 14229-1:2020, annex A.1 (M) for the codes; the rest is common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterable

from analysis.exchanges import Exchange
from canlog.names.nrc import NRCS, nrcs
from canlog.services.traits import Act

LABEL = "Possible causes (not shown here): "
#: What each code leaves as a cause, whatever was asked.
BY_CODE = {
    0x13: "the request is longer or shorter than this module knows it",
    0x22: "the ignition, the session, the supply or the order of steps is not what this step asks for",
    0x24: "a step that has to come before is missing",
    0x31: "the address, the size or the value is not one that this module takes; the file is for other hardware",
    0x33: "access was not unlocked",
    0x70: "the memory was not erased; the helper program is missing; a fault locks it",
    0x71: "more or fewer bytes than asked for; a block whose check is wrong",
    0x72: "the supply sank under the load; the memory was not erased; the memory is worn",
    0x7E: "another session is open than the one this step asks for",
    0x7F: "another session is open than the one this step asks for",
    0x92: "the supply was too high",
    0x93: "the supply was too low",
}
#: The same where the act says more.
BY_ACT = {
    (Act.ROUTINE, 0x72): "the supply sank under the load; the memory is worn",
    (Act.ROUTINE, 0x31): "this module does not know the routine; a wrong block or address",
    (Act.WRITE, 0x31): "the value is out of range; the identifier is missing in this variant; some modules say 31 when "
    "they are locked",
    (Act.WRITE, 0x72): "the supply sank under the load; the memory is worn",
    (Act.EXIT, 0x72): "the supply sank under the load; the memory is worn",
    (Act.EXIT, 0x31): "the check value sent with it is wrong",
    (Act.EXIT, 0x24): "bytes are missing for the module",
}


def causes_of(refused: Iterable[Exchange]) -> str:
    """What the codes of these refusals leave, parted by ";"; empty where one of them has no row here."""
    found: dict[str, None] = {}
    for exchange in refused:
        code = exchange.nrc or 0
        is_uds = nrcs(exchange.dialect)[code].name == NRCS[code].name  # older dialects: another meaning
        text = (BY_ACT.get((exchange.act, code)) or BY_CODE.get(code)) if is_uds else None
        if text is None:
            return ""
        found.update(dict.fromkeys(text.split("; ")))
    return "; ".join(found)


def in_words(text: str) -> str:
    """Causes ("a", "a; b" or "A, or b") behind the words that they are not shown; other sentences as they are."""
    first, stop, rest = text.partition(". ")
    if "; " not in first and ", or " not in first and not first[:1].islower():
        return text
    items = [item.removeprefix("or ") for item in first.rstrip(".").split("; ")]
    said = "; ".join(map(_inside, items[:-1])) + "; or " * (len(items) > 1) + _inside(items[-1])
    return f"{LABEL}{said}.{f' {rest}' if stop else ''}"


def _inside(text: str) -> str:
    """Inside a sentence; abbreviations keep their capitals."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]
