"""The walk on a terminal: one page at a time, by keys."""

from __future__ import annotations

from collections.abc import Callable, Sequence

CLEAR = "\033[2J\033[H"
NEXT, BACK, OPEN, QUIT = "n", "p", "o", "q"
#: What terminals send for the arrows, space and Enter (ECMA-48).
SAME_AS = {
    "\x1b[C": NEXT, "\x1b[B": NEXT, " ": NEXT, "\r": NEXT, "\n": NEXT, "\x1b[D": BACK, "\x1b[A": BACK, "\x03": QUIT,
    "\x04": QUIT, "": QUIT,
}  # fmt: skip
HELP = "n next   p back   o answer   q end"


def walk_by_keys(
    closed: Sequence[str], opened: Sequence[str], read_key: Callable[[], str], write: Callable[[str], None]
) -> None:
    """Turn pages until the user ends it.

    Args:
        closed: the pages without answers.
        opened: the same with them.
        read_key: waits for a key; an empty text is the end of input.
        write: puts text on the terminal.
    """
    at, is_open = 0, False
    while True:
        page = (opened if is_open else closed)[at]
        write(f"{CLEAR}{page}\n{HELP}   ({at + 1} of {len(closed)})\n")
        key = read_key()
        match SAME_AS.get(key, key):
            case "q":
                return
            case "o":
                is_open = not is_open
            case "n" if at + 1 < len(closed):
                at, is_open = at + 1, False
            case "p" if at:
                at, is_open = at - 1, False
