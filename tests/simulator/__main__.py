"""``python -m tests.simulator [--check] [NAMES...]``: write the fixtures, or compare them with a new run."""

from __future__ import annotations

import argparse
import sys

from .fixture_files import ALL_NAMES, differences, write


def main() -> int:
    """0: all written or all equal; 1: something differs."""
    parser = argparse.ArgumentParser(prog="python -m tests.simulator", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing, say what differs")
    parser.add_argument("names", nargs="*", metavar="NAMES", help="fixtures (default: all)")
    arguments = parser.parse_args()
    unknown = set(arguments.names) - set(ALL_NAMES)
    if unknown:
        parser.error(f"no fixture called {', '.join(sorted(unknown))}; there are {', '.join(ALL_NAMES)}")
    problems = 0
    for name in arguments.names or ALL_NAMES:
        if arguments.check:
            found = differences(name)
            problems += len(found)
            sys.stdout.writelines(line + "\n" for line in found)
        else:
            sys.stdout.write(f"{name}: {write(name)} frames\n")
    return 1 if problems else 0


if __name__ == "__main__":
    sys.exit(main())
