"""Questions on values: numbers in two bytes, the largest of several, and what has to be written down."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations
from typing import Literal

from analysis.exchanges import Exchange
from analysis.readings import Reading, read_values_of
from analysis.walk.question import COMPUTE, JUDGE, READ_OFF, Question
from analysis.walk.steps import Step, Walk
from canlog.counting import counted
from canlog.names.tables import IdentifierName
from canlog.names.value_layout import NUMBER_TYPES, Value, ValueField
from canlog.services.traits import Act, item_written

#: Fewer values of a kind are neither compared nor all alike by accident.
LEAST_SEVERAL = 3


def scaled_value(walk: Walk, step: Step) -> Iterator[Question]:
    """A number from its bytes, by the scale that names give."""
    for name, raw in _records(walk, step):
        found = _number(name, raw, step.number)
        if found is None or step.act is not Act.READ:
            continue
        one, value = found
        count = int.from_bytes(value.raw, _order(one), signed=one.type.startswith("s"))
        other = int.from_bytes(value.raw[::-1], _order(one), signed=one.type.startswith("s"))
        swapped = f"the bytes the wrong way round give {other:,} counts" if other != count else ""
        yield Question(
            "scaled-value", COMPUTE,
            f"{_bytes(value.raw)} is the {_called(value)}, {_scale_said(one)}. What is the value?",
            value.text, f"0x{value.raw.hex().upper()} = {count:,} counts; × {one.scale}{_offset_said(one)}",
            step.lines, value.text, swapped,
        )  # fmt: skip
        return


def as_bytes(walk: Walk, step: Step) -> Iterator[Question]:
    """A number as bytes, the other way round: what the tester had to send."""
    for name, raw in _records(walk, step):
        found = _number(name, raw, step.number)
        if found is None or step.act is not Act.WRITE:
            continue
        one, value = found
        count = int.from_bytes(value.raw, _order(one), signed=one.type.startswith("s"))
        wrong = f"{_bytes(abs(count).to_bytes(one.size, _order(one)))} has lost the sign" if count < 0 else ""
        yield Question(
            "as-bytes", COMPUTE,
            f"The {_called(value)} is to be {value.text}, {_scale_said(one)}. Which bytes must be sent?",
            _bytes(value.raw), f"{value.text} is {count:,} counts"
            f"{': a negative number is taken from 1 00 00' if count < 0 and one.size == 2 else ''}",
            step.lines, value.raw.hex().upper(), wrong,
        )  # fmt: skip
        return


def largest_value(walk: Walk, step: Step) -> Iterator[Question]:
    """Of several values of a kind the largest, and the two that differ most: within a record, or over a run of alike
    records where the last of them is read."""
    if step.act is not Act.READ:
        return
    for what, named in (*_in_a_record(walk, step), *_over_a_run(walk, step)):
        numbers = {name: one for name, one in named.items() if isinstance(one.value, int | float)}
        values = [float(one.value) for one in numbers.values() if isinstance(one.value, int | float)]
        if (
            len(numbers) < LEAST_SEVERAL
            or len(numbers) < len(named)
            or values in (sorted(values), sorted(values)[::-1])
        ):
            continue
        names = list(numbers)
        top = names[values.index(max(values))]
        if values.count(max(values)) == 1:
            yield Question(
                "largest-value", READ_OFF, f"{what}: which one is the largest?", f"{top}: {numbers[top].text}",
                f"{_bytes(numbers[top].raw)}; compare them byte by byte from the left", step.lines, top,
            )  # fmt: skip
        ordered = sorted(combinations(names, 2), key=lambda two: _apart(numbers, two), reverse=True)
        first, second = ordered[0]
        if _apart(numbers, ordered[0]) > _apart(numbers, ordered[1]):
            yield Question(
                "differ-most", COMPUTE, f"{what}: which two differ most?",
                f"{first} ({numbers[first].text}) and {second} ({numbers[second].text})",
                "the largest and the smallest: no two others can be further apart", step.lines, f"{first} {second}",
                "two neighbours, because their difference is easily seen",
            )  # fmt: skip


def _apart(numbers: Mapping[str, Value], two: tuple[str, str]) -> float:
    one, other = (numbers[name].value for name in two)
    return abs(one - other) if isinstance(one, int | float) and isinstance(other, int | float) else 0.0


def _in_a_record(walk: Walk, step: Step) -> Iterator[tuple[str, dict[str, Value]]]:
    for name, raw in _records(walk, step):
        for field in _repeated(name):
            values = [one for one in name.decode(raw) if one.name == field]
            named = {f"number {at}": one for at, one in enumerate(values, start=1)}
            yield f"The record holds {counted(len(values), 'value')} of {field}", named


def _over_a_run(walk: Walk, step: Step) -> Iterator[tuple[str, dict[str, Value]]]:
    """The last value of a repeated field, or a single scaled one, in each record of a run such as 4A10-4A16."""
    for now in readings_of(walk, step.first):
        if now.name is None or now.identifier != now.name.last or now.name.first == now.name.last:
            continue
        field = next(iter(_repeated(now.name)), next((one.name for one in now.name.layout if _is_scaled(one)), ""))
        named: dict[str, Value] = {}
        for earlier in walk.steps[: step.number]:
            if earlier.first.link.key == step.first.link.key:
                named |= {
                    one.number: value
                    for one in readings_of(walk, earlier.first)
                    if one.name is now.name and not one.name.is_default(one.raw)
                    for value in one.name.decode(one.raw)
                    if value.name == field
                }
        yield f"The last {field} of each of the {counted(len(named), 'record')} {', '.join(named)}", named


def _repeated(name: IdentifierName) -> list[str]:
    return [one.name for one in name.layout if one.count >= LEAST_SEVERAL and one.type in NUMBER_TYPES]


def values_to_keep(walk: Walk, step: Step) -> Iterator[Question]:
    """How much has to be written down before a module leaves: asked where the last of its trims is read."""
    if step.act is not Act.READ or not step.first.positive:
        return
    key, keep = step.first.link.key, ("trim", "configuration", "learned")
    read: list[Reading] = []
    later = False
    for other in walk.steps:
        own = [one for each in other.exchanges if each.link.key == key for one in readings_of(walk, each)]
        kept = [one for one in own if one.kind in keep and not _is_empty(one)]
        if other.number <= step.number:
            read += kept
        later = later or (other.number > step.number and bool(kept) and not _wrote_between(walk, step, other, key))
    here = [one for one in read if one.exchange in step.exchanges]
    if later or not here or len({one.key for one in read}) < 2:
        return
    records = {one.key: one for one in read}
    values = sum(max(len(one.name.layout), 1) if one.name is not None else 1 for one in records.values())
    yield Question(
        "values-to-keep", JUDGE,
        "If this module were to leave the vehicle: how many records read so far would leave with it?",
        f"{counted(len(records), 'record')} of {counted(values, 'field')}: "
        f"{', '.join(one.number for one in records.values())}",
        "what belongs to the single part is in no file; write it down before the module leaves",
        step.lines, str(len(records)), "none, because the new software brings them: software brings defaults only",
    )  # fmt: skip


def _is_empty(one: Reading) -> bool:
    return one.name is not None and (one.name.is_default(one.raw) or one.name.is_blank(one.raw))


def _wrote_between(walk: Walk, step: Step, other: Step, key: str) -> bool:
    between = walk.steps[step.number : other.number]
    return any(one.act in (Act.WRITE, Act.DOWNLOAD) and one.first.link.key == key for one in between)


def readings_of(walk: Walk, exchange: Exchange) -> list[Reading]:
    """The values in one answer."""
    return list(read_values_of(exchange, walk.labels.get(exchange.link.key, ""), walk.report.record.names))


def _records(walk: Walk, step: Step) -> Iterator[tuple[IdentifierName, bytes]]:
    """What a step read or wrote, as far as names lay it out."""
    first = step.first
    label, names = walk.labels.get(first.link.key, ""), walk.report.record.names
    item = item_written(first.asked, first.dialect) if step.act is Act.WRITE else None
    if item is not None:
        pairs = [(names.identifier(label, item.identifier), item.data)]
    else:
        pairs = [(one.name, one.raw) for one in read_values_of(first, label, names)]
    for name, raw in pairs:
        if name is not None and name.layout and not name.is_blank(raw) and not name.is_default(raw):
            yield name, raw


def _number(name: IdentifierName, raw: bytes, turn: int) -> tuple[ValueField, Value] | None:
    """A number of two bytes or more with a unit or a scale; of several another one at each ``turn``."""
    fields = {one.name: one for one in name.layout}
    found = [
        (fields[value.name], value)
        for value in name.decode(raw)
        if value.name in fields and value.value is not None and _is_scaled(fields[value.name])
    ]
    return found[turn % len(found)] if found else None


def _is_scaled(one: ValueField) -> bool:
    return one.type in NUMBER_TYPES and one.size > 1 and bool(one.unit or one.scale != 1)


def _called(value: Value) -> str:
    return value.name if value.index is None else f"{value.name} {value.index + 1}"


def _order(one: ValueField) -> Literal["little", "big"]:
    return "little" if one.little_endian else "big"


def _bytes(raw: bytes) -> str:
    return raw.hex(" ").upper()


def _scale_said(one: ValueField) -> str:
    sign = "signed, " if one.type.startswith("s") else ""
    end = ", lower byte first" if one.little_endian else ""
    return f"{sign}{one.scale}{f' {one.unit}' if one.unit else ''} a count{_offset_said(one)}{end}"


def _offset_said(one: ValueField) -> str:
    return f", then {'+' if one.offset > 0 else '−'} {abs(one.offset)}" if one.offset else ""
