from typing import Any

def parse(
    text: bytes, first_line: int, position: int, arrays: tuple[Any, ...], /
) -> tuple[int, int, int, tuple[bytes, ...]]: ...
