"""No walk of any shipped session tells a whole VIN, a seed or a key, and no class sheet how the job ended."""

from __future__ import annotations

import re

import pytest
from sessions import FIXTURES

from analysis import analyse
from analysis.walk.as_html import walk_html
from analysis.walk.audience import Audience
from analysis.walk.lesson import whole_session
from analysis.walk.steps import walk_through

CAPTURES = sorted(FIXTURES.glob("*/capture.*"))
VIN = re.compile(rb"[A-HJ-NPR-Z0-9]{17}")  # ISO 3779: no I, O, Q
VERDICT = re.compile(r"\b(confirmed|not proven|interrupted|not shown|failed)\b", re.IGNORECASE)
TAGS = re.compile(r"\s|<[^>]*>")
MAKER, OPEN = 3, 2


@pytest.mark.parametrize("group", range(4))
def test_neither_pages_nor_sheets_tell_what_is_masked(group: int) -> None:
    checked = 0
    for capture in CAPTURES[group::4]:
        names = FIXTURES / f"{capture.parent.name.partition('-')[0]}_names.toml"
        walk = walk_through(analyse(capture, names=[names] if names.exists() else []))
        messages = [one.data for each in walk.report.record.captures for one in each.messages]
        vins = {vin[0][MAKER:] for data in messages if data[0] not in (0x36, 0x76) for vin in VIN.finditer(data)}
        keys = {data[OPEN:] for data in messages if data[0] in (0x27, 0x67) and any(data[OPEN:]) and len(data) > 4}
        hidden = {one.hex().upper() for one in vins | keys} | {one.decode() for one in vins}
        page = walk_html(walk, whole_session(walk), Audience.TRAINER)  # with all answers: the most that is ever told
        sheet = walk_html(walk, whole_session(walk), Audience.SHEET)
        for text in (page, sheet):
            flat = TAGS.sub("", text)
            assert not [one for one in hidden if one in flat], capture
        assert not VERDICT.search(sheet), capture
        checked += len(hidden)
    assert checked
