"""How fast and how large: measured on captures made here, in one run (`python -m tests.benchmark`)."""
