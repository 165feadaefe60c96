"""Opens the port, says where the page is, and serves until it is told to stop."""

from __future__ import annotations

import os
import socket
import sys
from pathlib import Path

import uvicorn

from analysis.serve.app import make_app, open_site
from canlog.errors import CanlogError

LOOPBACK = "127.0.0.1"
#: Nothing is sent there (TEST-NET-1, RFC 5737); the system only says from which address it would be.
_ELSEWHERE = ("192.0.2.1", 9)


def default_data() -> Path:
    """The folder of this user (XDG Base Directory Specification 0.8)."""
    base = os.environ.get("XDG_DATA_HOME", "")
    return (Path(base) if Path(base).is_absolute() else Path.home() / ".local" / "share") / "canlog"


def serve(data: Path, port: int, *, lan: bool) -> None:
    """Serve until Ctrl-C.

    Raises:
        CanlogError: the port or the folder cannot be used.
    """
    listening = _listen("0.0.0.0" if lan else LOOPBACK, port)
    site = open_site(data, lan=lan)
    port = listening.getsockname()[1]
    if lan:
        _say_lan(f"http://{_own_address()}:{port}", site.access.once(), data / "access_key")
    else:
        _say(f"canlog serve: http://{LOOPBACK}:{port}/  (this machine only; Ctrl-C ends it)")
    _say(f"Captures and reports are kept in {data}")
    config = uvicorn.Config(
        make_app(site), log_level="warning", access_log=False, server_header=False, proxy_headers=False,
        timeout_keep_alive=30, h11_max_incomplete_event_size=64 * 1024, timeout_graceful_shutdown=5,
    )  # fmt: skip
    uvicorn.Server(config).run(sockets=[listening])


def _listen(host: str, port: int) -> socket.socket:
    listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listening.bind((host, port))
        listening.listen()  # from now on visitors wait for the first answer instead of being refused
    except (OSError, OverflowError) as error:
        listening.close()
        raise CanlogError(f"port {port} cannot be opened ({error})", hint="choose another one with --port") from error
    return listening


def _own_address() -> str:
    """The address by which others on the network reach this machine."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(_ELSEWHERE)
        except OSError:  # no network
            return LOOPBACK
        return str(asked.getsockname()[0])


def _say_lan(base: str, once: str, key_file: Path) -> None:
    import segno

    address = f"{base}/enter/{once}"
    _say(f"canlog serve: everybody on this network who has the access key can read it: {base}/")
    _say(f"This address lets in one device, once: {address}")
    if sys.stdout.isatty():
        segno.make(address, error="l").terminal(compact=True)
    _say(f"Access key for further devices: {key_file.read_text(encoding='ascii').strip()}  (kept in {key_file})")
    _say("The connection is not encrypted: use it on a network that you trust. Ctrl-C ends it.")


def _say(line: str) -> None:
    sys.stdout.write(line + "\n")
    sys.stdout.flush()
