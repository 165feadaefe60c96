"""Names files and links that fit nothing in the recording are said; those that fit, and silent modules, are not."""

from __future__ import annotations

import pytest
from talk import NAMES, Talk, gap, heard, read, tester

ELSEWHERE = NAMES.replace("7E0:7E8", "7A0:7A8")
FOR_ALL = '[[identifier]]\nid = "3A20"\nname = "pump curve"\nkind = "trim"\n'


@pytest.mark.parametrize(
    ("talk", "names", "links", "said"),
    [
        (read("F188", b"PCU-SW-1204"), NAMES, ["7E0:7E8"], ""),
        (read("F188", b"PCU-SW-1204"), FOR_ALL, [], ""),
        (read("F188", b"PCU-SW-1204"), ELSEWHERE, [], "No module of names.toml is in the recording."),
        (read("F188", b"PCU-SW-1204"), "", ["7A0:7A8"], "Nothing was said on the link 7A0>7A8."),
        (read("F188", b"PCU-SW-1204"), "", ["can3:7E0:7E8"], "Nothing was said on the link can3:7E0>7E8."),
        ([tester("22 F188"), gap(9)], NAMES, ["7E0:7E8"], ""),
    ],
)
def test_what_fits_nothing_is_said(talk: Talk, names: str, links: list[str], said: str) -> None:
    report = heard(talk, names=names, links=links)
    found = [one.case for one in report.findings if one.id == "given-fits-nothing"]
    assert found == ([said] if said else [])
