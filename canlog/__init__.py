"""Raw captures of a diagnostic bus: bytes, frames, messages, services. Knows standards, not jobs."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from canlog.read import read_capture, rebuild

__all__ = ["read_capture", "rebuild"]

#: Here and not asked of the installation: that would load the mail library, a tenth of a short report.
__version__ = "0.1.0"


def __getattr__(name: str) -> object:
    """Loaded when asked for: ``canlog --help`` must not wait for numpy."""
    if name in __all__:
        from canlog import read

        return getattr(read, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
