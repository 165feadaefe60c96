"""Binary forms and several captures: the same form, the same words, no secret left."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

import pytest
from click.testing import CliRunner
from redaction.search import unpacked

from analysis import analyse
from analysis.cli import main
from analysis.redact.redact import redact
from canlog.read import read_capture, rebuild

FORMATS = Path(__file__).parents[3] / "fixtures" / "formats"
FIXTURES = Path(__file__).parents[3] / "fixtures"
BINARY = ("session.blf", "session.pcap", "session.pcapng", "session.db")
VIN = b"E0VLK3P06SM018931"


def said(report: object) -> str:
    """Words, proofs with their lines, findings: all but bytes that may have been replaced."""
    data = report.to_dict()  # type: ignore[attr-defined]
    words = {part: (item["word"], item["confidence"]) for part, item in data["verdict"]["parts"].items()}
    acts = [(item["kind"], item["word"], [one["lines"] for one in item["proof"]]) for item in data["operations"]]
    return str(
        (words, acts, [(item["id"], item["evidence"]) for item in data["findings"]], data["captures"][0]["format"])
    )


def secrets_of(path: Path) -> set[bytes]:
    """Seeds, keys, carried memory and the VIN of a session, by hand from its messages."""
    found = {VIN}
    for message in rebuild(read_capture(path)):
        data = message.data
        if data[:1] in (b"\x27", b"\x67") and len(data) >= 6:
            found.add(data[2:])
        if data[:1] == b"\x36" and len(set(data[2:])) > 8:
            found |= {data[at : at + 7] for at in range(2, len(data) - 7, 7) if len(set(data[at : at + 7])) > 3}
    return found


@pytest.mark.parametrize("kind", ["clean", "damaged"])
@pytest.mark.parametrize("name", BINARY)
def test_a_binary_form_is_copied_in_its_own_form(kind: str, name: str, tmp_path: Path) -> None:
    original = FORMATS / kind / name
    found = redact(original)
    copy = tmp_path / name
    copy.write_bytes(found.capture)
    assert sum(count for *_, count in found.listed) >= 8
    assert said(analyse(original)) == said(analyse(copy))
    page = unpacked(copy.read_bytes()) + b"".join(message.data for message in rebuild(read_capture(copy)))
    for secret in secrets_of(original):
        assert secret not in page, secret.hex()


@pytest.mark.parametrize("name", BINARY)
def test_the_search_finds_the_secrets_in_the_originals(name: str) -> None:
    original = FORMATS / "clean" / name
    page = unpacked(original.read_bytes()) + b"".join(message.data for message in rebuild(read_capture(original)))
    secrets = secrets_of(original)
    assert len(secrets) > 4
    assert sum(secret in page for secret in secrets) == len(secrets)


def test_a_vin_in_a_comment_of_a_packet_capture_is_replaced(tmp_path: Path) -> None:
    """Option 1 of a section header is a comment (draft-ietf-opsawg-pcapng)."""
    original = tmp_path / "named.pcapng"
    raw = (FORMATS / "clean" / "session.pcapng").read_bytes()
    order: Literal["little", "big"] = "little" if raw[8:12] == b"\x4d\x3c\x2b\x1a" else "big"
    comment = (1).to_bytes(2, order) + len(VIN).to_bytes(2, order) + VIN + bytes(-len(VIN) % 4) + bytes(4)
    size = (28 + len(comment)).to_bytes(4, order)
    original.write_bytes(raw[:4] + size + raw[8:24] + comment + size + raw[int.from_bytes(raw[4:8], order) :])
    assert VIN in original.read_bytes()
    assert VIN not in redact(original).capture


def parts_of(path: Path, into: Path) -> list[Path]:
    """A capture cut in three, as a logger that changes files does."""
    lines = path.read_bytes().splitlines(keepends=True)
    third = len(lines) // 3
    found = []
    for number, at in enumerate((0, third, 2 * third), start=1):
        part = into / f"{VIN.decode()}-{number}.log"
        part.write_bytes(b"".join(lines[at : at + third + (2 if number == 3 else 0)]))
        found.append(part)
    return found


def test_several_captures_of_a_job_get_the_same_replacements(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "out").mkdir()
    originals = parts_of(FIXTURES / "uds11-all-good" / "capture.log", tmp_path / "in")
    found = redact(originals)
    copies = []
    for name, content in zip(found.names, found.captures, strict=True):
        assert VIN.decode() not in name
        copies.append(tmp_path / "out" / name)
        copies[-1].write_bytes(content)
    assert said(analyse(originals)) == said(analyse(copies))
    whole = b"".join(message.data for copy in copies for message in rebuild(read_capture(copy)))
    assert VIN not in whole


def test_the_command_writes_several_copies_into_a_folder(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    originals = [str(one) for one in parts_of(FIXTURES / "uds11-all-good" / "capture.log", tmp_path / "in")]
    refused = CliRunner().invoke(main, ["redact", *originals, "--output", str(tmp_path / "out")])
    assert refused.exit_code == 2
    assert not (tmp_path / "out").exists()
    (tmp_path / "out").mkdir()
    result = CliRunner().invoke(main, ["redact", *originals, "--output", str(tmp_path / "out")])
    assert result.exit_code == 0, result.output
    assert len(list((tmp_path / "out").iterdir())) == 3
    onto = CliRunner().invoke(main, ["redact", *originals, "--output", str(tmp_path / "in")])
    assert onto.exit_code in (0, 2)
    assert all(VIN.decode() in one for one in originals) and all(Path(one).exists() for one in originals)
