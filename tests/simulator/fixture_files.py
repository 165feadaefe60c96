"""The fixtures on disk: written from the sessions, compared with them byte for byte."""

from __future__ import annotations

import json
import platform
from importlib.metadata import version
from pathlib import Path

from . import ethernet, other_buses
from .sessions import NAMES, SEED, play, session

ALL_NAMES = (*NAMES, *ethernet.SESSIONS, *other_buses.BUSES)
FOLDER = Path(__file__).parents[2] / "fixtures"


def contents(name: str) -> dict[str, bytes]:
    """File name: content, of the two files that must come out the same every time."""
    if name in ethernet.SESSIONS:
        return _over_ethernet(name)
    of_a_job = name not in other_buses.BUSES
    lines, truth = session(name, SEED) if of_a_job else other_buses.session(name, SEED)
    return {"capture.log": ("\n".join(lines) + "\n").encode(), "truth.json": _json(truth)}


def _over_ethernet(name: str) -> dict[str, bytes]:
    carried, how = ethernet.SESSIONS[name]
    scene = play(carried, SEED)
    capture = how(scene)
    return {
        "capture.pcap": capture,
        "truth.json": _json(ethernet.truth_of(scene, name, ethernet.n_packets(capture))),
    }


def _json(truth: object) -> bytes:
    return (json.dumps(truth, indent=1) + "\n").encode()


def write(name: str) -> int:
    """Write a fixture; the number of frames in its capture."""
    folder = FOLDER / name
    folder.mkdir(parents=True, exist_ok=True)
    files = contents(name)
    for file, content in files.items():
        (folder / file).write_bytes(content)
    (folder / "made_by.toml").write_text(_made_by(name))
    return int(json.loads(files["truth.json"])["captured"]["frames"])


def differences(name: str) -> list[str]:
    """What of a fixture is not as the simulator makes it now; empty when all is well."""
    problems = []
    for file, content in contents(name).items():
        path = FOLDER / name / file
        if not path.exists():
            problems.append(f"{name}/{file}: missing")
        elif path.read_bytes() != content:
            problems.append(f"{name}/{file}: differs from what the simulator makes")
    return problems


def _made_by(name: str) -> str:
    return f"""generator = "python -m tests.simulator {name}"
seed = {SEED}
licence = "CC0-1.0"
invented = true  # no real vehicle, maker, part or person

[versions]
python = "{platform.python_version()}"
udsoncan = "{version("udsoncan")}"
can-isotp = "{version("can-isotp")}"
{f'scapy = "{version("scapy")}"{chr(10)}' if _uses_scapy(name) else ""}"""


def _uses_scapy(name: str) -> bool:
    """Its messages, or what carries them, are built by scapy."""
    return name in {*ethernet.SESSIONS, *other_buses.BUSES} or name.split("-")[0] in ("kwp", "gmw", "obd", "mixed")
