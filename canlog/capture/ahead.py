"""Reading ahead in a thread: while one table is worked on the next ones are read.

It pays because the compiled reader, numpy and the file leave the interpreter free.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Generator, Iterator
from typing import Final, TypeVar

T = TypeVar("T")

TABLES_AHEAD: Final = 2


def read_ahead(items: Iterator[T]) -> Generator[T, None, None]:
    """The same items in the same order; what is raised on the way is raised here."""
    from concurrent.futures import ThreadPoolExecutor

    with ThreadPoolExecutor(max_workers=1, thread_name_prefix="canlog-reads") as pool:
        waiting = deque(pool.submit(next, items, None) for _ in range(TABLES_AHEAD))
        while (item := waiting.popleft().result()) is not None:
            waiting.append(pool.submit(next, items, None))
            yield item
