"""Who may ask: hosts, keys, sessions, tokens against forged forms, rates and sizes.

Sessions are not stored: a cookie carries a random number, what it was given for and until when, under a signature.
"""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import os
import secrets
import socket
import time
from collections import deque
from pathlib import Path
from typing import Final, NamedTuple

COOKIE: Final = "canlog_session"
_MINUTE_S = 60


class Session(NamedTuple):
    """A visitor; ``entered`` once the access key was shown."""

    number: str
    entered: bool
    ends: int


class Access:
    """The rules of one running page. ``key`` is None on loopback, where whoever is at the machine may read."""

    def __init__(self, secret: bytes, key: str | None, session_s: int) -> None:
        # Another key makes all cookies of the old one worthless, and cookies of loopback mean nothing on the network.
        self._secret = hmac.digest(secret, b"lan:" + key.encode() if key else b"loopback", "sha256")
        self._key = key
        self._session_s = session_s
        self._once: set[str] = set()
        self.needs_key = key is not None

    def is_key(self, shown: str) -> bool:
        """Compared in the same time whatever is wrong with it."""
        return self._key is not None and _same(shown.strip(), self._key)

    def once(self) -> str:
        """A new secret that lets in one visitor, once."""
        token = secrets.token_urlsafe(24)
        self._once.add(token)
        return token

    def knows_once(self, token: str) -> bool:
        """Whether it would still let somebody in."""
        return token in self._once

    def use_once(self, token: str) -> bool:
        """True the first time."""
        if token not in self._once:
            return False
        self._once.remove(token)
        return True

    # sessions

    def new_session(self, *, entered: bool) -> Session:
        """For a visitor without one."""
        return Session(secrets.token_urlsafe(18), entered or not self.needs_key, int(time.time()) + self._session_s)

    def cookie(self, session: Session) -> str:
        """What the browser keeps."""
        text = f"{session.number}.{int(session.entered)}.{session.ends}"
        return f"{text}.{self._sign('session', text)}"

    def session(self, cookie: str | None) -> Session | None:
        """The session of a cookie that we signed and that has not ended."""
        number, entered, ends, signature = ([*(cookie or "").split("."), "", "", "", ""])[:4]
        if not _same(signature, self._sign("session", f"{number}.{entered}.{ends}")) or int(ends) < time.time():
            return None
        return Session(number, entered == "1", int(ends))

    def token(self, session: Session) -> str:
        """Stands in every form of this session."""
        return self._sign("form", session.number)

    def is_token(self, session: Session, shown: str) -> bool:
        """Whether a form came from a page of this session."""
        return _same(shown, self.token(session))

    def _sign(self, purpose: str, text: str) -> str:
        return hmac.new(self._secret, f"{purpose}:{text}".encode(), hashlib.sha256).hexdigest()


class Rates:
    """How often each address did something within the last minute."""

    def __init__(self) -> None:
        self._times: dict[tuple[str, str], deque[float]] = {}

    def allows(self, what: str, address: str, per_minute: int) -> bool:
        """Count one more, unless that is too many."""
        now = time.monotonic()
        if len(self._times) > 10_000:  # as many addresses as want to be remembered
            self._times = {key: times for key, times in self._times.items() if times[-1] > now - _MINUTE_S}
        times = self._times.setdefault((what, address), deque())
        while times and times[0] <= now - _MINUTE_S:
            times.popleft()
        if len(times) >= per_minute:
            return False
        times.append(now)
        return True


def is_own_host(host: str, *, lan: bool) -> bool:
    """Whether a Host header names this machine and not somebody's name that was made to point at it.

    An address in digits cannot be rebound; of names only those that are always this machine's are taken.
    """
    name = host.rpartition("]")[0].lstrip("[") if host.startswith("[") else host.partition(":")[0]
    names = {"localhost"} | ({own_name(), f"{own_name()}.local"} if lan else set())
    if name.lower() in names:
        return True
    try:
        address = ipaddress.ip_address(name)
    except ValueError:
        return False
    return lan or address.is_loopback


def own_name() -> str:
    """What this machine calls itself."""
    return socket.gethostname().lower()


def kept_secret(path: Path) -> str:
    """A random secret that only this account can read; made when it is not there."""
    try:
        return path.read_text(encoding="ascii").strip()
    except FileNotFoundError:
        made = secrets.token_urlsafe(18)
        handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(handle, "w", encoding="ascii") as out:
            out.write(made + "\n")
        return made


def _same(one: str, other: str) -> bool:
    return hmac.compare_digest(one.encode(), other.encode())
