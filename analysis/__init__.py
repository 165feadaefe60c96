"""What a capture says about a job: exchanges, operations, verdict, report."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from analysis.job import analyse

__all__ = ["analyse"]


def __getattr__(name: str) -> object:
    """Loaded when asked for: ``canlog --help`` must not wait for numpy."""
    if name == "analyse":
        from analysis.job import analyse

        return analyse
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
