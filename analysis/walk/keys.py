"""The walk on a terminal: one page at a time, by keys."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

CLEAR = "\033[2J\033[H"
NEXT, BACK, OPEN, QUIT, FIRST, LAST, GO, RUB_OUT = "n", "p", "o", "q", "first", "last", "go", "rub out"
DOWN, UP = "down", "up"
#: What terminals send for the arrows, page keys, Home, End, space, Enter and backspace (ECMA-48, and what xterm adds).
SAME_AS = {
    "\x1b[C": NEXT, "\x1b[B": DOWN, "\x1b[6~": DOWN, " ": DOWN, "\x1b[D": BACK, "\x1b[A": UP, "\x1b[5~": UP,
    "\x1bOC": NEXT, "\x1bOB": DOWN, "\x1bOD": BACK, "\x1bOA": UP,
    "\x1b[H": FIRST, "\x1b[1~": FIRST, "\x1bOH": FIRST, "\x1b[F": LAST, "\x1b[4~": LAST, "\x1bOF": LAST,
    "\r": GO, "\n": GO, "\x7f": RUB_OUT, "\x08": RUB_OUT, "\x03": QUIT, "\x04": QUIT, "": QUIT,
}  # fmt: skip
HELP = "n next   p back   o answer   a number and Enter: that step   q end"
MORE = "... more below: space ..."
MOST_DIGITS = 6
#: Lines that are not the page: where it is, what the keys do, the cursor; and lines seen twice while scrolling.
AROUND, OVERLAP = 4, 2


@dataclass(frozen=True, slots=True)
class Pages:
    """What there is to turn: ``steps`` are the numbers of the steps on the pages."""

    closed: Sequence[str]  # without answers
    opened: Sequence[str]  # the same with them
    steps: Sequence[int]
    width: int = 80
    height: int = 1000


@dataclass(frozen=True, slots=True)
class At:
    """Where the user is; ``typed`` are digits of a step that was not asked for yet."""

    page: int = 0
    is_open: bool = False
    typed: str = ""
    top: int = 0  # first line of the page that is seen


def walk_by_keys(pages: Pages, read_key: Callable[[], str], write: Callable[[str], None]) -> None:
    """Turn pages until the user ends it.

    Args:
        pages: what is shown.
        read_key: waits for a key; an empty text is the end of input.
        write: puts text on the terminal.
    """
    at = At()
    while True:
        lines = _lines(pages, at)
        seen = lines[at.top : at.top + _room(pages)]
        typed = f"   step {at.typed}" if at.typed else ""
        below = MORE if at.top + len(seen) < len(lines) else ""
        page = "\n".join(seen)
        write(f"{CLEAR}{you_are_here(pages, at.page)}\n{page}\n{below}\n{HELP}{typed}\n")
        key = read_key()
        key = SAME_AS.get(key, key)
        if key == QUIT:
            return
        at = turned(pages, at, key)


def turned(pages: Pages, at: At, key: str) -> At:
    """Where a key leads; any other key leads nowhere."""
    last = len(pages.closed) - 1
    if key.isdecimal():
        return replace(at, typed=(at.typed + key)[:MOST_DIGITS])
    if key == RUB_OUT:
        return replace(at, typed=at.typed[:-1])
    if key == GO and at.typed:
        found = next((place for place, step in enumerate(pages.steps) if step == int(at.typed)), at.page)
        return At(found, at.is_open and found == at.page)
    if key == OPEN:
        return At(at.page, not at.is_open)
    if key == DOWN and at.top + _room(pages) < len(_lines(pages, at)):
        return replace(at, typed="", top=at.top + _room(pages) - OVERLAP)
    if key == UP and at.top:
        return replace(at, typed="", top=max(at.top - _room(pages) + OVERLAP, 0))
    forward = {NEXT: 1, GO: 1, DOWN: 1, BACK: -1, UP: -1}.get(key, 0)
    wanted = min(max({FIRST: 0, LAST: last}.get(key, at.page + forward), 0), last)
    return At(wanted) if wanted != at.page else replace(at, typed="")


def _lines(pages: Pages, at: At) -> list[str]:
    return (pages.opened if at.is_open else pages.closed)[at.page].rstrip("\n").split("\n")


def _room(pages: Pages) -> int:
    return max(pages.height - AROUND, OVERLAP + 1)


def you_are_here(pages: Pages, page: int) -> str:
    """The whole session on one line: ``step 34  ------O-------  92``."""
    step, last = pages.steps[page], pages.steps[-1]
    head, tail = f"step {step}  ", f"  {last}"
    room = max(pages.width - len(head) - len(tail), 3)
    behind = room - 1
    place = behind * page // max(len(pages.steps) - 1, 1)
    return f"{head}{'-' * place}O{'-' * (behind - place)}{tail}"
