"""All sessions by name, and plans for more: ``session(name_or_plan, seed)``."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress

from . import bench, coach_sessions, emission, older_bench, three_dialects, van
from .bench import Plan
from .scene import Scene
from .tester import RecordingEnds

#: Name of a fixture: makes its scene and its script.
SESSIONS: dict[str, Callable[[int], tuple[Scene, Callable[[], None]]]] = {
    **coach_sessions.SESSIONS,
    **van.SESSIONS,
    **bench.SESSIONS,
    **older_bench.SESSIONS,
    **emission.SESSIONS,
    **three_dialects.SESSIONS,
}
NAMES = tuple(SESSIONS)
SEED = 17  # of all fixtures


def play(name_or_plan: str | Plan, seed: int = SEED) -> Scene:
    """The scene after its session."""
    if isinstance(name_or_plan, Plan):
        scene, script = bench.make(name_or_plan, seed)
    else:
        scene, script = SESSIONS[name_or_plan](seed)
    with suppress(RecordingEnds):
        script()
    return scene


def session(name_or_plan: str | Plan, seed: int = SEED) -> tuple[list[str], dict[str, object]]:
    """The lines of the recording and the truth about it; the same for the same seed, byte for byte."""
    scene = play(name_or_plan, seed)
    return scene.lines(), scene.truth()
