"""Raw captures of a diagnostic bus: bytes, frames, messages, services. Knows standards, not jobs."""
