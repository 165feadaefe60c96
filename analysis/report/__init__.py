"""The report model and its media."""
