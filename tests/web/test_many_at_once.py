"""A small edition of ``python -m tests.page_numbers load``: nothing is lost or refused. Nothing is timed here."""

from __future__ import annotations

from pathlib import Path

from load import load


def test_uploads_at_once_are_all_kept_and_read(tmp_path: Path) -> None:
    found = load(tmp_path, uploads=3, frames=2_000)
    assert found.wrong == [] and len(found.uploading) == 3
