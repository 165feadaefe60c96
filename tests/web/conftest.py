"""Fixtures for the tests of the page."""

from conftest_web import site, visitor

__all__ = ["site", "visitor"]
