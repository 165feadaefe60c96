"""The parts of README.md and DEVELOPERS.md that the program itself writes.

``python tests/docs/readme_example.py`` puts them in again; look at the difference before you keep it.
"""

from __future__ import annotations

import os
import re
import shlex
from pathlib import Path

from click.testing import CliRunner

ROOT = Path(__file__).parents[2]
README = ROOT / "README.md"
DEVELOPERS = ROOT / "DEVELOPERS.md"
#: The example ends before this heading; the rest of the output is described in words.
ENDS_BEFORE = "\nWHY\n"


def example_command(readme: str) -> list[str]:
    """The report of README's first command, without the installation in front of it."""
    block = re.search(r"^```sh\n(.*?)$", readme, re.M)
    assert block
    return shlex.split(block[1].rpartition("/canlog ")[2])


def example_output(readme: str) -> str:
    """What that command prints on a terminal of 80 columns, up to the evidence. Runs in the project's folder."""
    from analysis.cli import main

    result = CliRunner(env={"COLUMNS": "80", "NO_COLOR": "1"}).invoke(main, example_command(readme))
    assert result.exit_code == 0, result.output
    return result.stdout.partition(ENDS_BEFORE)[0]


def format_table() -> str:
    """The formats that can be read."""
    from canlog.capture.registry import FORMATS

    rows = [
        f"| `{item.NAME}` | {item.ABOUT.replace('|', ' ')} | {item.EVIDENCE.replace('|', ' ')} | {item.CANNOT_TELL} |"
        for item in FORMATS
    ]
    return "\n".join(["| format | what it is | known by | cannot tell |", "|---|---|---|---|", *rows])


def written_again(readme: str) -> str:
    """README with its example and its table of formats as the program gives them now."""
    readme = re.sub(
        r"(^```text\n).*?(^```$)", lambda m: f"{m[1]}{example_output(readme)}{m[2]}", readme, flags=re.M | re.S
    )
    return re.sub(
        r"(^## Formats\n.*?\n\n)(?:FORMATS|\|.*?)(?=\n\n## )",
        lambda match: f"{match[1]}{format_table()}",
        readme,
        flags=re.M | re.S,
    )


def limits_table() -> str:
    """Every limit with its default and reason."""
    from analysis.limits import table

    rows = [f"| `{item.name}` | {item.default:,} | {item.reason} |" for item in table()]
    return "\n".join(["| limit | default | why |", "|---|---|---|", *rows])


def limits_written_again(developers: str) -> str:
    """DEVELOPERS with its table of limits as the program has them now."""
    return re.sub(
        r"(^## Limits\n.*?\n\n)(?:LIMITS|\|.*?)(?=\n\n## )",
        lambda match: f"{match[1]}{limits_table()}",
        developers,
        flags=re.M | re.S,
    )


if __name__ == "__main__":
    os.chdir(ROOT)
    README.write_text(written_again(README.read_text(encoding="utf-8")), encoding="utf-8")
    DEVELOPERS.write_text(limits_written_again(DEVELOPERS.read_text(encoding="utf-8")), encoding="utf-8")
