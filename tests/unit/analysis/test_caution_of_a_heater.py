"""The caution about trims fits the module, where names call it by what it is."""

from __future__ import annotations

import pytest
from talk import heard, read, reset, write

NAMES = """
[[module]]
label = "{label}"
link = "7E0:7E8"
[[identifier]]
id = "3A01"
name = "pump correction"
modules = ["{label}"]
kind = "trim"
"""


@pytest.mark.parametrize(("label", "is_general"), [("auxiliary heater", False), ("PCU", True)])
def test_the_label_of_a_module_tells_the_harm(label: str, is_general: bool) -> None:
    blank = "FF FF FF FF FF FF"
    report = heard(write("3A01", blank), reset(), read("3A01", blank), names=NAMES.format(label=label))
    (found,) = [one for one in report.findings if one.id == "trims-default"]
    assert ("engine or gearbox" in found.cautions[0]) is is_general
    assert ("damage the heater" in found.cautions[0]) is not is_general
