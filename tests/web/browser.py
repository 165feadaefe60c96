"""Debian's Chromium, driven by Playwright (PyPI, Apache-2.0).

Nothing is fetched: Playwright starts the browser that is installed. Where there is none the tests are skipped.
"""

from __future__ import annotations

import shutil

CHROMIUM = shutil.which("chromium") or ""
WHY_SKIPPED = "no chromium is installed (Debian: apt-get install chromium)"
