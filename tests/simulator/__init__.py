"""A simulated vehicle: modules with memory, a tester, a bus, a logger, and a clock that costs no time.

It shares no code with the product, so that the two cannot share a mistake. ``session(name_or_plan, seed)`` makes
one recording and the truth about it; ``python -m tests.simulator`` writes all fixtures.
"""

from .sessions import NAMES, Plan, session

__all__ = ["NAMES", "Plan", "session"]
