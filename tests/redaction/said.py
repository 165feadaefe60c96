"""What a report says of a capture, without the values that a copy has others of."""

from __future__ import annotations

from typing import Any


def said(report: Any) -> tuple[Any, ...]:
    parts = {name: (part["word"], part["confidence"]) for name, part in report["verdict"]["parts"].items()}
    items = [(item["word"], item["confidence"]) for item in report["expectations"]]
    found = sorted((one["id"], one["confidence"]) for one in report["findings"])
    return report["verdict"]["overall"], report["verdict"]["confidence"], parts, items, found
