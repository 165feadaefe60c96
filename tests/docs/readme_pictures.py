"""The pictures in README.md, taken of the real program by headless Chromium.

``python tests/docs/readme_pictures.py`` takes them again; look at them before you keep them.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

from analysis import analyse
from analysis.report.html_gathered import html_of

ROOT = Path(__file__).parents[2]
PICTURES = Path(__file__).parent / "pictures"
#: Name, width and height in pixels.
SIZES = (("report.png", 1100, 900), ("report-phone.png", 500, 900))


def main() -> None:
    """Render the report of README's example at the size of a desk and of a phone."""
    browser = shutil.which("chromium") or shutil.which("chromium-browser")
    if browser is None:
        sys.exit("no chromium on this machine: apt-get install chromium")
    folder = ROOT / "fixtures" / "coach-erase-low-voltage"
    page = html_of(analyse(folder / "capture.log", names=[ROOT / "fixtures" / "coach_names.toml"]))
    with tempfile.TemporaryDirectory() as work:
        file = Path(work) / "report.html"
        file.write_text(page, encoding="utf-8")
        for name, width, height in SIZES:
            subprocess.run(
                [
                    browser, "--headless=new", "--no-sandbox", "--disable-gpu", "--hide-scrollbars",
                    f"--window-size={width},{height}", f"--screenshot={PICTURES / name}", file.as_uri(),
                ],
                check=True,
                capture_output=True,
            )  # fmt: skip


if __name__ == "__main__":
    main()
