"""One file per question asked of a capture."""
