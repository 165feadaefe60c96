"""How the upload page bears what it is built for: ``python -m tests.page_numbers load``.

``load``   fifty captures of 1 MB sent at once while somebody reads an earlier report (``--uploads``)
``large``  from the drop to the words for 2.5 million frames, beside ``canlog report`` (``--frames``, ``--rounds``)

The exit code is 1 if something was lost, refused or slower than it may be. Nothing else should be running.
"""

from __future__ import annotations

import argparse
import os
import statistics
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "web"))

from large import ALLOWED, large
from load import load

READER_MAY_WAIT_S = 0.1


def main() -> int:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("load", "large"))
    parser.add_argument("--uploads", type=int, default=50)
    parser.add_argument("--frames", type=int, default=2_500_000)
    parser.add_argument("--rounds", type=int, default=5)
    asked = parser.parse_args()
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # modules may be kept compiled, as in the benchmark
    with tempfile.TemporaryDirectory(prefix="canlog-page-") as folder:
        if asked.what == "load":
            loaded = load(Path(folder), asked.uploads)
            lines, good = loaded.lines(), not loaded.wrong and statistics.median(loaded.reading) < READER_MAY_WAIT_S
        else:
            timed = large(Path(folder), asked.frames, asked.rounds)
            lines, good = timed.lines(), timed.ratio <= ALLOWED
    sys.stdout.write("\n".join(lines) + "\n")
    return int(not good)


if __name__ == "__main__":
    sys.exit(main())
