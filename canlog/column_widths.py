"""How wide the columns of a table may be so that its page is kept."""

from __future__ import annotations

from collections.abc import Callable, Sequence


def fit_widths(
    rows: Sequence[Sequence[str]], room: int, narrowest: int, measure: Callable[[str], int] = len
) -> list[int]:
    """Widths of the columns: as wide as their content, the widest cut first until they fit.

    Words are broken only where there is no room for the longest ones: names are to be searched for.

    Args:
        rows: cells, head included; all of one length.
        room: for all columns together, without the gaps.
        narrowest: no column is cut below this.
        measure: columns that a text takes on the page.

    Returns:
        A width for each column; their sum is above ``room`` where even that is not enough.
    """
    columns = list(zip(*rows, strict=True))
    widths = [max(map(measure, column)) for column in columns]
    words = [max((measure(word) for cell in column for word in cell.split()), default=0) for column in columns]
    for floors in (words, [min(one, narrowest) for one in words]):
        while sum(widths) > room:
            wide = [at for at, floor in enumerate(floors) if widths[at] > floor]
            if not wide:
                break
            widths[max(wide, key=widths.__getitem__)] -= 1
    return widths
