"""The engine ran while a memory was written.

What is seen: while a module was programmed or a value was written, a cyclic message said that the engine runs.
What it can mean: It was left running or started to charge the battery; or the work asks for a running engine, as
some values do.
How to tell it from look-alikes: a starter that turns the engine; a module that repeats the last speed it saw
What to try: look up in the service information whether the engine has to stand for this step; if so switch it off,
connect a support unit fit for programming, and do the step anew
Caution: a module that is programmed does not control the engine: it may stop, or not be stoppable. Keep hands and
tools away from moving parts and mind the exhaust. The vehicle maker's service information decides.
Evidence: the act and the frames of the signal meanwhile. Source: common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

from analysis.checks.looking.meanwhile import see_meanwhile
from analysis.checks.registry import Context, Seen, check
from analysis.motion import Moved
from analysis.words import Severity


@check("engine-ran", severity=Severity.WARNING)
def find(ctx: Context) -> Iterator[Seen]:
    yield from see_meanwhile(ctx, Moved.RUNNING, "the engine ran", Severity.NOTE)
