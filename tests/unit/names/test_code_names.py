"""Names of fault codes, refusals and routine statuses, from TOML and ODX. Outside opinion: odxtools.

A text says what a status is called and never that it is good.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from odxtools.database import Database

from analysis import analyse
from analysis.exchange_words import tell
from canlog.errors import SheetError
from canlog.names.files import read_all, read_names
from canlog.names.tables import Names, RoutineKind, StatusWord

FIXTURES = Path(__file__).parents[3] / "fixtures"
ODX = FIXTURES / "names" / "pump.odx-d"
TOML = FIXTURES / "uds11_names.toml"
GOOD = """\
[[fault]]
code = "P1B23"
name = "elements not calibrated"

[[fault]]
code = "p1b23-54"
modules = ["PCU"]
name = "no calibration stored"

[[refusal]]
code = "72"
text = "look into the manual"

[[refusal]]
code = "72"
request = "31 01 FF 00"
text = "the erase gave up"

[[routine]]
id = "0266"
name = "check block"
kind = "check"
status = { "00" = "says: done" }
"""


def written(path: Path, content: str) -> Path:
    (path / "names.toml").write_text(content)
    return path / "names.toml"


def test_the_closest_name_of_a_code_wins(tmp_path: Path) -> None:
    names = read_names(written(tmp_path, GOOD))
    assert names.fault("PCU", "P1B23-54") == "no calibration stored"
    assert names.fault("PCU", "P1B23-16") == names.fault(None, "P1B23") == "elements not calibrated"
    assert names.fault("PCU", "P1B24-54") == ""
    assert names.refusal("PCU", b"\x31\x01\xff\x00\x00", 0x72) == "the erase gave up"
    assert names.refusal("PCU", b"\x36\x01", 0x72) == "look into the manual"
    assert names.refusal("PCU", b"\x36\x01", 0x22) == ""


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ('[[fault]]\ncode = "X0143"\nname = "x"\n', 2, "fault[0].code: 'X0143' is not a fault code like P0143-16"),
        ('[[fault]]\ncode = "P0143-00"\n', 1, "fault[0].name: missing"),
        ('[[fault]]\ncode = "P0143"\nname = "x"\nlamp = true\n', 4, "fault[0].lamp: not known here"),
        ('[[refusal]]\ncode = "722"\ntext = "x"\n', 2, "refusal[0].code: '722' is not one byte in hex"),
        ('[[refusal]]\ncode = "72"\ntext = ""\n', 3, "refusal[0].text: is empty"),
        ('[[refusal]]\ncode = "72"\nrequest = "3"\ntext = "x"\n', 3, "refusal[0].request: '3' is not the bytes"),
    ],
)  # fmt: skip
def test_a_mistake_names_file_line_and_field(text: str, line: int, said: str, tmp_path: Path) -> None:
    path = written(tmp_path, text)
    with pytest.raises(SheetError) as error:
        read_names(path)
    assert str(error.value).startswith(f"{path}:{line}: {said}")


def test_fault_texts_are_those_of_odxtools() -> None:
    database = Database()
    database.add_odx_file(ODX)
    database.refresh()
    dop = database.base_variants[0].diag_data_dictionary_spec.dtc_dops.dtc
    names = read_names(ODX)
    assert {one.name for one in names.faults} == {str(one.text) for one in dop.dtcs}
    assert names.fault("PCU", "P1B23-54") == str(dop.dtcs[0].text)
    assert names.fault("PCU", "U0155-00") == "panel not heard"
    assert names.fault("PMU", "U0155-00") == ""


def test_status_and_refusal_texts_are_those_that_odxtools_decodes() -> None:
    database = Database()
    database.add_odx_file(ODX)
    database.refresh()
    services = database.base_variants[0].services
    names = read_names(ODX)
    routine = names.routine("PCU", 0x0266)
    assert routine is not None
    for status in (0, 5):
        theirs = services.check_block.positive_responses[0].decode(bytes([0x71, 0x01, 0x02, 0x66, status]))
        assert routine.judge(bytes([status])) == (StatusWord.SAYS, theirs["status"])
    assert routine.judge(b"\x01") is None
    theirs = services.erase.negative_responses[0].decode(b"\x7f\x31\x72")
    assert names.refusal("PCU", b"\x31\x01\xff\x00\x00\x44", 0x72) == theirs["code"]
    assert names.refusal("PCU", b"\x31\x01\x02\x66", 0x72) == ""
    assert names.refusal("PCU", b"\x31\x01\xff\x00", 0x22) == ""  # only the standard's own name


def test_long_and_hostile_texts_become_one_short_line(tmp_path: Path) -> None:
    text = ODX.read_text().replace("panel not heard", "a&#10;b &#133; " + "x" * 5000)
    (tmp_path / "names").write_text(text)
    name = read_names(tmp_path / "names").fault("PCU", "U0155-00")
    assert name.startswith("a b x") and len(name) == 200 and name.isprintable()


def test_an_entity_in_a_fault_text_is_refused(tmp_path: Path) -> None:
    hostile = '<!DOCTYPE ODX [<!ENTITY x SYSTEM "file:///etc/passwd">]>\n<ODX'
    (tmp_path / "names").write_text(ODX.read_text().replace("<ODX", hostile, 1).replace("panel not heard", "&x;"))
    with pytest.raises(SheetError, match="DOCTYPE: not allowed"):
        read_names(tmp_path / "names")


def test_what_a_person_wrote_for_all_modules_wins_over_a_description_of_one(tmp_path: Path) -> None:
    own = written(
        tmp_path,
        GOOD.replace('"says: done"', '"bad: differs"').replace('modules = ["PCU"]\n', "")
        + '[[identifier]]\nid = "3A01"\nname = "mine"\nkind = "trim"\n',
    )
    for order in ([ODX, own], [own, ODX]):
        names = read_all(order, Names())
        routine, identifier = names.routine("PCU", 0x0266), names.identifier("PCU", 0x3A01)
        assert routine is not None and identifier is not None
        assert (routine.kind, routine.judge(b"\x00")) == (RoutineKind.CHECK, (StatusWord.BAD, "differs"))
        assert routine.judge(b"\x05") == (StatusWord.SAYS, "block differs")
        assert identifier.name == "mine"
        assert names.fault("PCU", "P1B23-54") == "no calibration stored"
        assert names.refusal("PCU", b"\x31\x01\xff\x00", 0x72) == "the erase gave up"


# -- in the report


def test_a_text_of_a_status_confirms_nothing() -> None:
    capture = FIXTURES / "uds11-all-good" / "capture.log"
    plain, described = analyse(capture), analyse(capture, names=[ODX])
    words = [(one.kind, one.outcome.word) for one in plain.operations]
    assert [(one.kind, one.outcome.word) for one in described.operations] == words


def test_refusal_and_fault_are_told_with_their_names(tmp_path: Path) -> None:
    refused = analyse(FIXTURES / "uds11-erase-refused" / "capture.log", names=[TOML, ODX])
    exchange = next(one for one in refused.record.exchanges if one.nrc == 0x72)
    assert '"flash driver gave up"' in tell(exchange, "PCU", refused.record)
    assert '"flash driver gave up"' in " ".join(refused.to_text().split())
    back = analyse(FIXTURES / "uds11-dtc-returns" / "capture.log", names=[TOML, ODX])
    text = " ".join(back.to_text().split())
    assert "P1B23-54 (pump elements not calibrated)" in text
    codes = [one for item in back.operations if item.kind == "read-faults" for one in item.details["codes"]]
    assert {one["name"] for one in codes} == {"pump elements not calibrated"}
