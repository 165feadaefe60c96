"""Raw captures of a diagnostic bus: bytes, frames, messages, services. Knows standards, not jobs."""

from canlog.read import read_capture, rebuild

__all__ = ["read_capture", "rebuild"]
