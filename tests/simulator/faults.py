"""What can go wrong inside a module: each fault waits for its request and then answers in the service's place.

They are small values, so that a plan can hold several of them and a test can combine them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from .replies import Reply

if TYPE_CHECKING:
    from .module import Module


@dataclass
class Fault:
    """Strikes at requests that begin with ``prefix``, after ``skip`` of them, ``times`` times."""

    prefix: bytes
    skip: int = 0
    times: int = 1
    _seen: int = field(default=0, init=False)

    def strikes(self, request: bytes) -> bool:
        """Counts the requests it is meant for; true when this is one to spoil."""
        if not request.startswith(self.prefix):
            return False
        self._seen += 1
        return self.skip < self._seen <= self.skip + self.times

    def reply(self, module: Module, request: bytes) -> Reply | None:
        """What is answered instead; ``None`` is silence."""
        raise NotImplementedError


@dataclass
class Refuse(Fault):
    """A final negative response, perhaps after pending ones; ``erases`` as a real half-done erase would."""

    code: int = 0x22
    pending_ns: tuple[int, ...] = ()
    take_ns: int = 0
    erases: int | None = None  # number of the block whose content is gone all the same

    def reply(self, module: Module, request: bytes) -> Reply | None:
        if self.erases is not None:
            block = module.block(self.erases)
            if block is not None:
                block.erase()
        return Reply(bytes([0x7F, request[0], self.code]), take_ns=self.take_ns, pending_ns=self.pending_ns)


@dataclass
class Stall(Fault):
    """Pending responses and never a final one; the work is not done."""

    pending_ns: tuple[int, ...] = (40_000_000,)

    def reply(self, module: Module, request: bytes) -> Reply | None:
        return Reply(None, pending_ns=self.pending_ns)


@dataclass
class Answer(Fault):
    """The work is done but the end of the positive answer is ``ending`` (a bad status)."""

    ending: bytes = b""
    undo_valid: int | None = None  # number of a block that is then not valid

    def reply(self, module: Module, request: bytes) -> Reply | None:
        reply = module.serve(module, request)
        if self.undo_valid is not None:
            block = module.block(self.undo_valid)
            if block is not None:
                block.valid = False
        if reply is not None and reply.final is not None:
            reply.final = reply.final[: -len(self.ending)] + self.ending
        return reply


@dataclass
class LoseAnswer(Fault):
    """The work is done and nobody hears of it."""

    def reply(self, module: Module, request: bytes) -> Reply | None:
        reply = module.serve(module, request)
        if reply is not None:
            reply.final, reply.pending_ns = None, ()
        return reply


@dataclass
class Mute(Fault):
    """Falls silent for good when it hears the request."""

    def reply(self, module: Module, request: bytes) -> Reply | None:
        module.mute = True
        return None


@dataclass
class LosePower(Fault):
    """Its supply goes when it hears the request, and comes back after ``away_ns`` (0: never)."""

    away_ns: int = 0

    def reply(self, module: Module, request: bytes) -> Reply | None:
        module.lose_power()
        if self.away_ns:
            module.clock.after(self.away_ns, module.regain_power)
        return None
