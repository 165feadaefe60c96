"""The fixtures on disk: written from the sessions, compared with them byte for byte."""

from __future__ import annotations

import json
import platform
from importlib.metadata import version
from pathlib import Path

from .sessions import SEED, session

FOLDER = Path(__file__).parents[2] / "fixtures"


def contents(name: str) -> dict[str, str]:
    """File name: text, of the two files that must come out the same every time."""
    lines, truth = session(name, SEED)
    return {
        "capture.log": "\n".join(lines) + "\n",
        "truth.json": json.dumps(truth, indent=1) + "\n",
    }


def write(name: str) -> int:
    """Write a fixture; the number of lines of its capture."""
    folder = FOLDER / name
    folder.mkdir(parents=True, exist_ok=True)
    files = contents(name)
    for file, text in files.items():
        (folder / file).write_bytes(text.encode())
    (folder / "made_by.toml").write_text(_made_by(name))
    return files["capture.log"].count("\n")


def differences(name: str) -> list[str]:
    """What of a fixture is not as the simulator makes it now; empty when all is well."""
    problems = []
    for file, text in contents(name).items():
        path = FOLDER / name / file
        if not path.exists():
            problems.append(f"{name}/{file}: missing")
        elif path.read_bytes() != text.encode():
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
"""
