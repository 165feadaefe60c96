"""One reading in a child process: its files laid out, the process watched, what it left taken up."""

from __future__ import annotations

import json
import shutil
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

from analysis.serve.children import Child, Children
from analysis.serve.limits import ServeLimits
from analysis.serve.names import plain_name
from analysis.serve.store import Store, StoredFile
from analysis.serve.task import OUTCOME, Task

_LOOK_EVERY_S = 0.1
#: Above the limit of processor time: a reading that waits is ended too.
_GRACE_S = 5
LATE: Final = "late"
ENDED: Final = "ended"
Files = Sequence[StoredFile]


@contextmanager
def folder_of(store: Store) -> Iterator[Path]:
    """A folder for one reading, gone afterwards."""
    folder = Path(tempfile.mkdtemp(dir=store.work))
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def lay_out(store: Store, limits: ServeLimits, kind: str, files: Files, others: Files, folder: Path) -> None:
    """Links to the originals under the names that their owner knows, each in a folder of its own; and the task."""
    places = [_links(store, limits, some, folder / side) for side, some in (("one", files), ("other", others))]
    one, other = places
    Task(
        kind, one["capture"], next(iter(one["sheet"]), None), one["names"], other["capture"], other["names"],
        limits.analysis_s, limits.analysis_memory_bytes, limits.analysis_file_bytes,
    ).write(folder)  # fmt: skip


def _links(store: Store, limits: ServeLimits, files: Files, folder: Path) -> dict[str, list[str]]:
    places: dict[str, list[str]] = {"capture": [], "sheet": [], "names": []}
    for one in files:
        place = folder / str(one.number)
        place.mkdir(parents=True)
        link = place / plain_name(one.name, limits.name_chars)
        link.symlink_to(store.originals.path(one.sha256).resolve())
        places[one.role].append(str(link))
    return places


def run(children: Children, folder: Path, limits: ServeLimits, ended_by: Callable[[], str]) -> str:
    """Run a child until it ends, is late, or ``ended_by`` says why it is wanted no more; says which."""
    with children.start(folder) as child:
        drain = threading.Thread(target=_last_words, args=(child, folder), daemon=True)
        drain.start()
        why = _wait(child, limits, ended_by)
        child.kill()
        drain.join()
    return why


def _wait(child: Child, limits: ServeLimits, ended_by: Callable[[], str]) -> str:
    ends = time.monotonic() + limits.analysis_s + _GRACE_S
    while True:
        try:
            child.wait(_LOOK_EVERY_S)
        except subprocess.TimeoutExpired:
            if time.monotonic() > ends:
                return LATE
            if why := ended_by():
                return why
            continue
        return ENDED


def outcome_of(folder: Path, why: str, limits: ServeLimits) -> dict[str, Any]:
    """What a child that ended, or was late, has to say: its result, or ``problem`` and ``hint``."""
    if why == LATE:
        return {
            "problem": f"the analysis took longer than {limits.analysis_s} s and was ended",
            "hint": "send a shorter part of the recording, or read it with `canlog report`",
        }
    try:
        return dict(json.loads((folder / OUTCOME).read_text(encoding="utf-8")))
    except OSError:
        return {
            "problem": "the analysis broke off: it used more memory or time than it may, or there is a mistake "
            "in canlog",
            "hint": "read the captures with `canlog report`, which says more",
        }


def _last_words(child: Child, folder: Path) -> None:
    """Keep the pipe empty, and tell whoever runs the page what a broken child said."""
    said = child.stderr.read() if child.stderr is not None else b""
    if said and not (folder / OUTCOME).exists():
        sys.stderr.write(f"canlog serve: an analysis broke off: {said[-2000:].decode('utf-8', 'replace')}\n")
