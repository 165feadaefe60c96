"""The job sheet: what was meant to happen, and what became of it."""
