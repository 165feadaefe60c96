"""Values of a single unit: found, written down, printed."""
