"""Every number that a judgement rests on, with its reason: one table, read by code and help text.

None of them decides a *confirmed* alone. A number that a module announces itself beats a default.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import NamedTuple

from canlog.errors import SheetError

SECOND_NS = 1_000_000_000
MS_NS = 1_000_000


class Limit(NamedTuple):
    """One limit as documentation."""

    name: str
    default: int
    reason: str


@dataclass(frozen=True, slots=True)
class Limits:
    """The limits in force. Times in ns, sizes in bytes."""

    p2_client_ns: int = 5 * SECOND_NS
    p2_star_client_ns: int = 6 * SECOND_NS
    neighbourhood_ns: int = 1 * SECOND_NS
    capture_end_ns: int = 200 * MS_NS
    module_silent_ns: int = 1 * SECOND_NS
    tester_silent_ns: int = 5 * SECOND_NS
    s3_server_ns: int = 5 * SECOND_NS
    reset_return_ns: int = 30 * SECOND_NS
    restart_least_ns: int = 20 * MS_NS
    clock_step_ns: int = 500 * MS_NS
    driver_max_bytes: int = 65_536
    copy_min_bytes: int = 4
    doubled_percent: int = 90
    copied_request_ns: int = 20 * MS_NS
    supply_low_12v_mv: int = 12_000
    supply_low_24v_mv: int = 24_000
    supply_24v_from_mv: int = 17_000
    supply_fall_mv: int = 300
    vehicle_moves_kmh: int = 3
    engine_runs_per_min: int = 400

    def changed(self) -> list[str]:
        """``name=value`` of every limit that is not the default."""
        return [
            f"{item.name}={getattr(self, item.name)}"
            for item in fields(self)
            if getattr(self, item.name) != item.default
        ]

    def with_changes(self, changes: dict[str, int]) -> Limits:
        """A copy with some limits set.

        Raises:
            SheetError: a name that is no limit.
        """
        unknown = sorted(set(changes) - {item.name for item in fields(self)})
        if unknown:
            raise SheetError(f"{unknown[0]} is not a limit", hint="the limits are listed in DEVELOPERS.md")
        return replace(self, **changes)


#: Why each default is what it is.
REASONS: dict[str, str] = {
    "p2_client_ns": "how long an answer may take before a request counts as unanswered; far above P2 50 ms, "
    "because late answers are still answers (ISO 14229-2, M)",
    "p2_star_client_ns": "the same after a pending response: P2* 5 s plus travel (ISO 14229-2, M); "
    "an announced P2* that is longer wins",
    "neighbourhood_ns": "losses this close to an act or its proof count as inside (our choice)",
    "capture_end_ns": "a record that stops this soon after the last diagnostic frame says nothing about who fell "
    "silent (common practice, no source)",
    "module_silent_ns": "a module counts as silent when the tester asked this long after its last frame "
    "(common practice, no source)",
    "tester_silent_ns": "the tester counts as silent when the bus went on this long without it "
    "(S3 5 s, ISO 14229-2, M)",
    "s3_server_ns": "a module falls back to its default session after this long without a request (S3, ISO 14229-2, M)",
    "restart_least_ns": "no module starts anew faster than this: an answer sooner than this behind that to a reset is "
    "still from the program that took the reset (common practice, no source)",
    "reset_return_ns": "a module is expected back this soon after a reset (common practice, no source)",
    "clock_step_ns": "a backward step at least this large is a clock that was set; smaller ones are frames out of "
    "order (our choice)",
    "driver_max_bytes": "a helper program for the RAM is not larger than this (common practice, no source)",
    "copy_min_bytes": "equal bytes read from one module and written to another count as a copy from this length on "
    "(two random values of 4 bytes are equal once in 4.3e9)",
    "doubled_percent": "share of frames standing twice from which a capture counts as recorded twice",
    "copied_request_ns": "a request on a second channel is a copy of the same one on the first when it comes this "
    "soon; a gateway passes it on within a few milliseconds (common practice, no source)",
    "supply_low_12v_mv": "below this a 12 V system should not be programmed (common practice, no source)",
    "supply_low_24v_mv": "below this a 24 V system should not be programmed (common practice, no source)",
    "supply_24v_from_mv": "a first reading above this means a 24 V system (common practice, no source)",
    "supply_fall_mv": "readings that sink by more than this are a falling supply (common practice, no source)",
    "vehicle_moves_kmh": "from this speed on a vehicle moves; sensors at a stand say less (common practice, no source)",
    "engine_runs_per_min": "from this speed on an engine runs by itself; a starter turns it slower "
    "(common practice, no source)",
}


def table() -> list[Limit]:
    """All limits with default and reason."""
    return [Limit(item.name, int(str(item.default)), REASONS[item.name]) for item in fields(Limits)]
