"""Many trials, outside CI: ``python -m tests.long_run faults --trials 5000 --seed 1``.

``faults``    faults planted on good sessions: no *confirmed* without its proof, none that a fault made better
``cuts``      good sessions cut behind every line (``--session``, repeatable): the same
``sessions``  random sessions: kinds of outcome in turn, and any mix of acts and faults: the words against what the
              module really holds
``transport`` clean sessions that can-isotp plays in every addressing: the same messages to it and to us
``kills``     a served page killed at random moments while it receives and reads: nothing acknowledged is lost
``fuzz``      lines of rubbish in good captures: a report or a CanlogError

Each prints every wrong word, and every exception, at once and with the seed that makes it again, and at the end how
many trials of each kind it made, after Ctrl-C too; the exit code is 1 if anything was wrong. Two processes unless
``--processes`` says otherwise; what is found does not depend on it.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "oracles"))
sys.path.insert(0, str(Path(__file__).parent / "web"))

from isotp_bus import ALL_ADDRESSES, CLASSIC, FD, differences
from kills import Kills
from planting.faults import FAULTS
from planting.fuzz import fuzz
from planting.many import Found, run
from planting.outcomes import kinds, play_kind
from planting.sessions import play_random
from planting.trial import COACH, MORE_SETTINGS, Setting, Trial, cut_at, cut_lines

KILLS = 10  # on one data folder; ``--trials`` counts kills
SETS = {"bench": MORE_SETTINGS, "coach": COACH}  # sessions to plant faults on


def _fault(task: tuple[Setting, str, int]) -> Found:
    setting, fault, seed = task
    trial = Trial(setting, fault, seed).run(_place())
    return (fault,), [f"{fault} {seed} on {setting}: {one.rule}: {one.word}" for one in trial.wrong]


def _cut(task: tuple[Setting, int]) -> Found:
    setting, line = task
    return (str(setting.session),), [f"{setting} cut at {line}: {one}" for one in cut_at(setting, line, _place())]


def _session(seed: int) -> Found:
    """By turns a kind of the table and any mix."""
    if seed % 2:
        mixed = play_random(seed // 2, _place())
        return ("any mix",), [f"mix of seed {seed // 2}: {one}" for one in mixed.wrong]
    kind = kinds()[seed // 2 % len(kinds())]
    return (kind.name,), [f"{kind.name}, seed {seed}: {one}" for one in play_kind(kind, seed, _place()).wrong]


def _fuzz(seed: int) -> Found:
    return ("fuzz",), [f"seed {seed}: {one}" for one in fuzz(seed, _place())]


def _transport(seed: int) -> Found:
    """Each addressing with each kind of frame in turn."""
    addresses = ALL_ADDRESSES[seed % len(ALL_ADDRESSES)]
    params = (*CLASSIC, *FD)[seed // len(ALL_ADDRESSES) % len((*CLASSIC, *FD))]
    found = differences(addresses, params, seed)
    return (addresses.key,), [f"seed {seed}, {addresses.key}, {params}: {one} differs" for one in found]


def _kills(seed: int) -> Found:
    """Ten kills on one data folder, then every report."""
    with tempfile.TemporaryDirectory(prefix="canlog-kills-") as folder:
        kills = Kills(Path(folder) / "data", seed)
        for _ in range(KILLS):
            kills.kill_once()
        kills.finish(600)
    counted = ("kill",) * KILLS + ("upload acknowledged",) * len(kills.acknowledged)
    return counted, [f"seed {seed}: {one}" for one in kills.wrong]


def _place() -> Path:
    folder = Path(tempfile.gettempdir()) / f"canlog-long-run-{os.getuid()}"
    folder.mkdir(exist_ok=True)
    return folder / f"{os.getpid()}.log"


def _fault_tasks(trials: int, seed: int, only: list[str], sessions: str) -> Iterator[tuple[Setting, str, int]]:
    """Each fault on each session in turn."""
    kinds, settings = only or list(FAULTS), SETS[sessions]
    for number in range(trials):
        kind = kinds[number // len(settings) % len(kinds)]
        yield settings[number % len(settings)], kind, seed * 1_000_000 + number


def main() -> int:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("what", choices=("faults", "cuts", "sessions", "transport", "fuzz", "kills"))
    parser.add_argument("--trials", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--session", action="append", help="of cuts: uds11-all-good-short, coach-all-good ...")
    parser.add_argument("--step", type=int, default=1, help="of cuts: only every so many lines")
    parser.add_argument("--fault", action="append", choices=sorted(FAULTS), help="of faults: only this kind")
    parser.add_argument("--on", choices=sorted(SETS), default="bench", help="of faults: on which good sessions")
    parser.add_argument("--processes", type=int, default=2)
    asked = parser.parse_args()
    if asked.what == "faults":
        tasks = _fault_tasks(asked.trials, asked.seed, asked.fault or [], asked.on)
        return run(_fault, tasks, asked.processes)
    if asked.what == "cuts":
        settings = [Setting(name, names) for name in asked.session or ["uds11-all-good"] for names in (False, True)]
        return run(_cut, ((one, at) for one in settings for at in cut_lines(one)[:: asked.step]), asked.processes)
    if asked.what == "kills":
        return run(_kills, range(asked.seed * 1000, asked.seed * 1000 + -(-asked.trials // KILLS)), asked.processes)
    seeds = range(asked.seed * 1_000_000, asked.seed * 1_000_000 + asked.trials)
    work = {"sessions": _session, "transport": _transport, "fuzz": _fuzz}[asked.what]
    return run(work, seeds, asked.processes)


if __name__ == "__main__":
    sys.exit(main())
