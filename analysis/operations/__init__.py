"""One file per kind of operation."""
