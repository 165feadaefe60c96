"""How modules without a name are called: by their ids, and by the channel only where there are several."""

from __future__ import annotations

from talk import Side, gap, heard, read, tester

from analysis.report.text import render_text


def page(*talk: object) -> str:
    """Without the table of links, which always says the channel."""
    return render_text(heard(*talk).to_dict(), color=False).partition("WHO TALKED")[0]  # type: ignore[arg-type]


def test_a_module_on_the_only_channel_is_called_without_it() -> None:
    text = page(read("F188", b"X"), tester("22 F190"), gap(9), tester("3E 00"), gap(9), read("F188", b"X"))
    assert "7E0>7E8" in text
    assert "can0:" not in text


def test_with_two_channels_both_are_told_apart() -> None:
    text = page(read("F188", b"X"), read("F188", b"Y", on=Side(channel="can1")))
    assert "can0:7E0>7E8" in text
    assert "can1:7E0>7E8" in text
