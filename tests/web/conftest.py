"""Fixtures for the tests of the page."""

from __future__ import annotations

import os
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest
from browser import CHROMIUM
from conftest_web import site, visitor

if TYPE_CHECKING:
    from playwright.sync_api import Browser

__all__ = ["browser", "site", "visitor"]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for the tests of a file; those that ask for it are skipped where none is installed."""
    from playwright.sync_api import sync_playwright

    sandbox = [] if os.getuid() else ["--no-sandbox"]  # Chromium refuses its sandbox to root
    with sync_playwright() as driver:
        started = driver.chromium.launch(executable_path=CHROMIUM, args=sandbox)
        yield started
        started.close()
