"""The user's names file: what it says is found again, and what is wrong in it is named with file, line and field."""

import json
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canlog.errors import SheetError
from canlog.names import tables
from canlog.names.tables import (
    CanId,
    IdentifierKind,
    IdentifierName,
    Names,
    RoutineKind,
    StatusWord,
    fits_pattern,
    load_names,
)
from canlog.names.value_layout import NUMBER_TYPES, ValueField

SCHEMA = json.loads((Path(tables.__file__).parent / "names.schema.json").read_text())

GOOD = """\
[[module]]
label = "DUC"
name = "drive unit controller"
link = "18DA2AF1:18DAF12A"
start_message = { id = "18FFB02A", byte = 0, boot = "01", application = "02" }
cyclic = ["0CFF102A"]

[[module]]
label = "VBM"
link = "can1:18DA2BF1>18DAF12B"

[[part]]
modules = ["DUC"]
name = "calibration"
address = "00100000"
size = "1000"
block = "03"

[[part]]
modules = ["DUC"]
name = "driver"
address = "40008000"
driver = true

[[identifier]]
id = "4A10-4A16"
modules = ["DUC", "VBM"]
name = "solenoid characterisation"
kind = "trim"
layout = [ { name = "version", type = "u8" }, { name = "index", type = "u8", range = [1, 7] },
           { name = "serial", type = "bcd", bytes = 4 },
           { name = "pressure", type = "u16", count = 8, scale = 0.5, unit = "kPa" },
           { name = "crc", type = "u16", ignore = true } ]
default = "02 ?? FF*"
order = "1-3-4-2"

[[identifier]]
id = "4C20"
modules = ["DUC"]
name = "output shaft sensor offset"
kind = "trim"
layout = [ { name = "offset", type = "s16", scale = 0.01, unit = "°", range = [-3, 3] } ]
stored_at_power_down = true

[[identifier]]
id = "F1A2"
name = "calibration id"
kind = "identification"
part = "calibration"
layout = [ { name = "id", type = "ascii", bytes = 13 } ]

[[identifier]]
id = "F1A2"
modules = ["VBM"]
name = "set id"

[[routine]]
id = "0312"
modules = ["DUC"]
name = "check block"
kind = "check"
status = { "00" = "good: equal", "05" = "bad: differs", "01" = "running", "0502" = "bad: not erased" }
has_result = true
caution = "Builds pressure, moves clutches."
"""

RECORD = bytes.fromhex("02 01 26 04 11 87 00 0C 00 97 01 97 02 93 03 95 04 94 05 93 06 8F DD 2F")


@pytest.fixture
def load(tmp_path: Path) -> Callable[[str], Names]:
    def read(text: str) -> Names:
        path = tmp_path / "names.toml"
        path.write_text(text, encoding="utf-8")
        return load_names(path)

    return read


@pytest.fixture
def names(load: Callable[[str], Names]) -> Names:
    return load(GOOD)


def solenoid(names: Names) -> IdentifierName:
    found = names.identifier("VBM", 0x4A16)
    assert found is not None
    return found


def test_modules_are_found_by_label_and_by_link(names: Names) -> None:
    module = names.module("DUC")
    assert module is not None
    assert (module.name, module.link_key, module.channel) == ("drive unit controller", "18DA2AF1>18DAF12A", "")
    assert module.cyclic == (CanId(0x0CFF102A, True),)
    assert module.start_message is not None
    assert (module.start_message.can_id, module.start_message.boot) == (CanId(0x18FFB02A, True), 1)
    assert names.module("XYZ") is None
    assert names.label_of("18DA2AF1>18DAF12A") == names.label_of("can7:18da2af1:18daf12a") == "DUC"
    assert names.label_of("can1:18DA2BF1>18DAF12B") == names.label_of("18DA2BF1>18DAF12B") == "VBM"
    assert names.label_of("can0:18DA2BF1>18DAF12B") is None
    assert names.label_of("nonsense") is None


def test_a_module_s_own_name_wins_over_a_general_one(names: Names) -> None:
    found = [names.identifier(label, 0xF1A2) for label in ("VBM", "DUC", None)]
    assert [one.name for one in found if one] == ["set id", "calibration id", "calibration id"]
    assert names.identifier(None, 0x4A10) is None
    assert names.identifier("DUC", 0x4A17) is None


def test_identifiers_and_routines_may_have_one_byte(load: Callable[[str], Names]) -> None:
    text = '[[identifier]]\nid = "21-23"\nname = "trim"\n[[routine]]\nid = "E1"\nname = "check"\nkind = "check"\n'
    names = load(text)
    found = names.identifier(None, 0x23)
    assert found is not None and (found.first, found.last) == (0x21, 0x23)
    assert names.routine(None, 0xE1) is not None
    assert valid(tomllib.loads(text))


def test_a_later_file_wins_over_an_earlier_one(names: Names, load: Callable[[str], Names]) -> None:
    later = load('[[identifier]]\nid = "4A12"\nmodules = ["DUC"]\nname = "the third"\n')
    merged = names.merge(later)
    found = [merged.identifier("DUC", did) for did in (0x4A11, 0x4A12)]
    assert [one.name for one in found if one] == ["solenoid characterisation", "the third"]
    assert len(merged.files) == 2


def test_parts_are_found_by_address(names: Names) -> None:
    assert [part.name for part in names.parts("DUC")] == ["calibration", "driver"]
    assert names.parts("VBM") == ()
    for address, name in ((0x00100000, "calibration"), (0x00100FFF, "calibration"), (0x40008000, "driver")):
        part = names.part_at("DUC", address)
        assert part is not None
        assert part.name == name
        assert part.driver == (name == "driver")
    assert names.part_at("DUC", 0x00101000) is None
    assert names.part_at("DUC", 0x40008001) is None


def test_a_record_decodes_to_its_values(names: Names) -> None:
    values = solenoid(names).decode(RECORD)
    assert [one.name for one in values] == ["version", "index", "serial", *["pressure"] * 8, "crc"]
    assert [one.index for one in values] == [None, None, None, *range(8), None]
    pressures = [one.value for one in values if one.name == "pressure"]
    assert pressures == [6.0, 75.5, 203.5, 329.5, 458.5, 586.0, 713.5, 839.5]
    assert values[2].value == "26041187"
    assert values[4].text == "75.5 kPa"
    assert values[1].in_range is True
    assert b"".join(one.raw for one in values) == RECORD
    assert solenoid(names).size == 24
    assert solenoid(names).number_of(0x4A12) == 3
    assert solenoid(names).order == (1, 3, 4, 2)
    assert solenoid(names).kind is IdentifierKind.TRIM


def test_a_signed_value_is_scaled_exactly_and_held_against_its_range(names: Names) -> None:
    offset = names.identifier("DUC", 0x4C20)
    assert offset is not None
    assert offset.stored_at_power_down
    assert [(one.value, one.text, one.in_range) for one in offset.decode(b"\xff\xf6")] == [(-0.1, "-0.10 °", True)]
    assert [one.in_range for one in offset.decode(b"\x7f\xff")] == [False]


def test_bytes_that_do_not_fit_a_layout_are_said_and_never_raise(names: Names) -> None:
    record = solenoid(names)
    cut = record.decode(RECORD[:7])
    assert cut[3].text == "cut off: 2 bytes are due, 1 are there"
    assert [one.value for one in cut[3:]] == [None] * 9
    too_long = record.decode(RECORD + b"\x55")
    assert (too_long[-1].name, too_long[-1].value, too_long[-1].in_range) == ("rest", "55", False)
    no_bcd = record.decode(b"\x02\x01\x2a" + RECORD[3:])
    assert (no_bcd[2].value, no_bcd[2].in_range, no_bcd[2].text) == (None, False, "no BCD: 2A041187")


@given(data=st.binary(max_size=40))
def test_any_bytes_decode_and_none_is_lost(data: bytes) -> None:
    layout = tuple(
        ValueField(kind, kind, size, count=2, little_endian=kind.startswith("s")) for kind, size in NUMBER_TYPES.items()
    )
    layout += (ValueField("t", "ascii", 3), ValueField("b", "bcd", 2), ValueField("h", "hex", 2))
    one = IdentifierName(1, 1, "x", layout=layout)
    assert b"".join(value.raw for value in one.decode(data)) == data
    assert one.equal_ignoring(data, data)
    bare = IdentifierName(1, 1, "x").decode(data)
    assert [value.value for value in bare] == ([data.hex().upper()] if data else [])


def test_byte_order_and_sign_of_numbers() -> None:
    raw = b"\xff\xf6\x01"
    both = [ValueField("n", kind, 3, little_endian=little).decode(raw)[0].value
            for kind in ("u24", "s24") for little in (False, True)]  # fmt: skip
    assert both == [0xFFF601, 0x01F6FF, 0xFFF601 - (1 << 24), 0x01F6FF]


def test_text_loses_its_fill_and_foreign_bytes_show() -> None:
    field = ValueField("t", "ascii", 6)
    assert field.decode(b"AB12\x00\x00")[0].value == "AB12"
    assert field.decode(b"  AB\xff\xff")[0].text == "AB"
    assert field.decode(b"AB\x80CDE")[0].in_range is False
    assert field.decode(b"AB\nCDE")[0].in_range is False


def test_ignored_fields_do_not_count_when_records_are_compared(names: Names) -> None:
    record = solenoid(names)
    other_crc = RECORD[:-2] + b"\x00\x00"
    other_pressure = RECORD[:7] + b"\x0d" + RECORD[8:]
    assert record.equal_ignoring(RECORD, other_crc)
    assert not record.equal_ignoring(RECORD, other_pressure)
    assert not record.equal_ignoring(RECORD, RECORD[:-1])
    assert not IdentifierName(1, 1, "x").equal_ignoring(b"\x01", b"\x02")


def test_a_default_is_known_by_its_pattern(names: Names) -> None:
    record = solenoid(names)
    assert record.is_default(b"\x02\x05" + b"\xff" * 22)
    assert not record.is_default(RECORD)
    assert not record.is_default(b"\x02\x05")
    assert not record.is_default(b"")
    assert not IdentifierName(1, 1, "x").is_default(b"\xff\xff")
    assert fits_pattern("FFFF", b"\xff\xff")
    assert not fits_pattern("FFFF", b"\xff\xff\xff")
    assert fits_pattern("?1", b"\xf1")
    assert not fits_pattern("?1", b"\xf2")
    assert fits_pattern("01FF*", b"\x01\xff")


def test_a_status_means_what_the_user_says_and_nothing_else(names: Names) -> None:
    routine = names.routine("DUC", 0x0312)
    assert routine is not None
    assert (routine.kind, routine.has_result, routine.caution[:6]) == (RoutineKind.CHECK, True, "Builds")
    judged = [routine.judge(bytes.fromhex(text)) for text in ("00", "00 12", "05", "05 02", "01")]
    assert [(one.word, one.text) for one in judged if one] == [
        (StatusWord.GOOD, "equal"), (StatusWord.GOOD, "equal"), (StatusWord.BAD, "differs"),
        (StatusWord.BAD, "not erased"), (StatusWord.RUNNING, ""),
    ]  # fmt: skip
    assert routine.judge(b"\x02") is None
    assert routine.judge(b"") is None
    assert names.routine("VBM", 0x0312) is None


def test_labels_and_parts_that_nobody_describes_are_loose_ends(load: Callable[[str], Names]) -> None:
    assert load(GOOD).loose_ends() == ()
    loose = load('[[identifier]]\nid = "4A10"\nname = "x"\nmodules = ["DUB"]\npart = "calibratoin"\n').loose_ends()
    assert loose == ("x: no module 'DUB'", "x: no part 'calibratoin'")


WRONG = [
    ('[[module]]\nname = "x"\n', 1, "module[0].label: missing"),
    ('[[module]]\nlabel = "A"\nlink = "7E0"\n', 3, "module[0].link: '7E0' is not a link"),
    ('[[module]]\nlabel = "A"\n[[module]]\nlabel = "A"\n', 2, "module[0].label: 'A' is used twice"),
    ('[[module]]\nlabel = ""\n', 2, "module[0].label: is empty"),
    ('[[module]]\nlabel = 5\n', 2, "module[0].label: 5 is not a text in quotes"),
    ('[[module]]\nlabel = "A"\ncyclic = ["FFF"]\n', 3, "module[0].cyclic: must be ids"),
    ('[[module]]\nlabel = "A"\ncyclic = "0F1"\n', 3, "module[0].cyclic: '0F1' is not a list"),
    ('[[module]]\nlabel = "A"\nstart_message = { id = "0F1", byte = 64, boot = "01", application = "02" }\n', 3,
     "module[0].start_message.byte: 64 is not within 0 to 63"),
    ('[[module]]\nlabel = "A"\nstart_message = { id = "0F1", byte = 0, boot = "1", application = "02" }\n', 3,
     "module[0].start_message.boot: '1' is not one byte in hex"),
    ('[[module]]\nlabel = "A"\n\nlabl = "B"\n', 4, "module[0].labl: not known here"),
    ('[[part]]\nname = "p"\naddress = "0x10"\n', 3, "part[0].address: '0x10' is not an address in hex"),
    ('[[part]]\nname = "p"\ndriver = "yes"\n', 3, "part[0].driver: 'yes' is not true or false"),
    ('[[part]]\nname = "p"\nblock = "3"\n', 3, "part[0].block: '3' is not bytes in hex"),
    ('[[identifier]]\nid = "4A1"\nname = "x"\n', 2, "identifier[0].id: '4A1' is not an identifier of 4 hex digits"),
    ('[[identifier]]\nid = "4A16-4A10"\nname = "x"\n', 2, "identifier[0].id"),
    ('[[identifier]]\nid = "21-2123"\nname = "x"\n', 2, "identifier[0].id: '21-2123' is not"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\n[[identifier]]\nid = "4A11"\nname = "y"\nkind = "trimm"\n', 7,
     "identifier[1].kind: 'trimm' is not one of trim, configuration"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "u64" } ]\n', 4,
     "identifier[0].layout[0].type: 'u64' is not one of u8"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [\n { name = "a", type = "u8" },\n'
     ' { name = "b", type = "ascii" } ]\n',
     6, "identifier[0].layout[1].bytes: missing"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [\n { name = "a", type = "u8" },\n'
     ' { name = "b", type = "u9" } ]\n',
     6, "identifier[0].layout[1].type: 'u9' is not one of u8"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "ascii", bytes = 2, scale = 2 } ]\n', 4,
     "identifier[0].layout[0].scale: not known here"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "u8", range = [7, 1] } ]\n', 4,
     "identifier[0].layout[0].range: 7 to 1 is no range"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "u8", range = [nan, 1] } ]\n', 4,
     "identifier[0].layout[0].range"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "u8", scale = 1e400 } ]\n', 4,
     "identifier[0].layout[0].scale"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\nlayout = [ { name = "a", type = "u8", scale = true } ]\n', 4,
     "identifier[0].layout[0].scale: True is not a number"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\ndefault = "F"\n', 4, "identifier[0].default: 'F' is not hex with ?"),
    ('[[identifier]]\nid = "4A10"\nname = "x"\norder = "1-3-3"\n', 4, "identifier[0].order"),
    ('[[routine]]\nid = "0312"\nname = "x"\nstatus = { "00" = "fine" }\n', 4,
     "routine[0].status: 'fine' does not begin with good, bad, running or says"),
    ('[[routine]]\nid = "0312"\nname = "x"\nstatus = { "0" = "good" }\n', 4, "routine[0].status: '0' is not bytes"),
    ('[[routine]]\nid = "0312"\nname = "x"\nkind = "wipe"\n', 4, "routine[0].kind: 'wipe' is not one of erase"),
    ('[[routines]]\nid = "0312"\n', 1,
     "routines: not known; there are module, part, identifier, routine, fault, refusal"),
    ('module = 5\n', 1, "module: must be written as [[module]] tables"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "line", "message"), WRONG, ids=[message[:40] for _, _, message in WRONG])
def test_a_mistake_is_named_with_file_line_and_field(
    load: Callable[[str], Names], text: str, line: int, message: str
) -> None:
    with pytest.raises(SheetError) as caught:
        load(text)
    place, _, rest = str(caught.value).partition(": ")
    assert place.endswith(f"names.toml:{line}")
    assert rest.startswith(message)
    assert caught.value.hint


def test_a_file_that_is_no_toml_or_not_there_is_named(load: Callable[[str], Names], tmp_path: Path) -> None:
    with pytest.raises(SheetError, match=r"names\.toml: .*line 1"):
        load("[[module\n")
    with pytest.raises(SheetError, match=r"none\.toml"):
        load_names(tmp_path / "none.toml")
    (tmp_path / "bytes.toml").write_bytes(b"\xff\xfe")
    with pytest.raises(SheetError, match="UTF-8"):
        load_names(tmp_path / "bytes.toml")


def test_a_blank_record_has_no_values_whatever_its_layout_says(names: Names) -> None:
    """Erased flash reads FF (common practice, no source)."""
    for blank in (b"\xff" * len(RECORD), b"\x02\x01" + b"\xff" * (len(RECORD) - 2)):
        values = solenoid(names).decode(blank)
        assert [(one.value, one.text, one.in_range) for one in values] == [(None, "blank", None)]
    almost = solenoid(names).decode(b"\xff" * (len(RECORD) - 1) + b"\xfe")
    assert len(almost) > 1
    short = IdentifierName(1, 1, "x", layout=(ValueField("offset", "s16", 2),))
    assert short.decode(b"\xff\xff")[0].value == -1, "so few bytes can be a value"


# --- the JSON Schema for editors says the same as the loader ---------------------------------------------------

#: Mistakes that a schema cannot say, with the reason.
BEYOND_THE_SCHEMA = {
    "module[0].label: 'A' is used twice": "uniqueness of one field",
    "identifier[0].id": "the order of the two ends",
    "identifier[0].layout[0].range: 7 to 1 is no range": "the order of two numbers",
    "identifier[0].layout[0].range": "nan is no JSON number",
    "identifier[0].layout[0].scale": "infinity is no JSON number",
    "identifier[0].order": "a permutation",
}


def valid(values: dict[str, Any]) -> bool:
    return jsonschema.Draft202012Validator(SCHEMA).is_valid(values)


def test_the_schema_is_a_schema_and_takes_what_the_loader_takes() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    assert valid(tomllib.loads(GOOD))
    assert valid({})


@pytest.mark.parametrize(("text", "message"), [(text, message) for text, _, message in WRONG])
def test_the_schema_refuses_what_the_loader_refuses(text: str, message: str) -> None:
    assert valid(tomllib.loads(text)) == (message in BEYOND_THE_SCHEMA)


def test_the_schema_lists_the_same_words_and_types() -> None:
    defs = SCHEMA["$defs"]
    assert defs["identifier"]["properties"]["kind"]["enum"] == list(IdentifierKind)
    assert defs["routine"]["properties"]["kind"]["enum"] == [kind for kind in RoutineKind if kind]
    assert sorted(defs["value"]["properties"]["type"]["enum"]) == sorted([*NUMBER_TYPES, "ascii", "bcd", "hex"])


any_text = st.sampled_from(["DUC", "", "x y", "00", "4A10", "4A10-4A12", "7E0:7E8", "02FF*", "good: a", "1-2"])
any_value = st.one_of(any_text, st.booleans(), st.integers(-2, 5), st.lists(any_text, max_size=2))


def as_toml(value: Any) -> str:
    return json.dumps(value)


@given(kind=st.sampled_from(["module", "part", "identifier", "routine"]), data=st.data())
def test_loader_and_schema_agree_on_random_tables(
    kind: str, data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    properties = SCHEMA["$defs"][kind]["properties"]
    keys = data.draw(st.lists(st.sampled_from([*properties, "other"]), unique=True))
    table = {key: data.draw(any_value, label=key) for key in {*keys, *SCHEMA["$defs"][kind]["required"]}}
    text = f"[[{kind}]]\n" + "".join(f"{key} = {as_toml(value)}\n" for key, value in table.items())
    path = tmp_path_factory.mktemp("names") / "n.toml"
    path.write_text(text, encoding="utf-8")
    try:
        load_names(path)
        accepted = True
    except SheetError:
        accepted = False
    assert accepted == valid(tomllib.loads(text)), text
