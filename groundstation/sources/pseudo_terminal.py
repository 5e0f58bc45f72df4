"""A serial port that ends in this program: a pseudo-terminal, and a simulated car behind it.

For the demonstration, which thereby reads through the very source that a real receiver uses.
Rules: bytes pass unchanged, 0x00 and 0x0A among them; writing never blocks. Like a radio, it does
not care whether anybody listens: what is not read in time is left out, so that whoever opens
the port hears the present.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import struct
from collections.abc import AsyncIterator, Iterable
from types import TracebackType
from typing import Self

from groundstation.clock import Clock
from groundstation.sources.simulated import Emission, in_real_time

MAX_UNREAD_BYTES = 2048
"""Half of what the terminal buffers: all that is unread is then in the part which a reader
empties when it opens the port."""


def has_pseudo_terminals() -> bool:
    """Return whether this system has them; Windows has none that a program could open."""
    return hasattr(os, "openpty")


class PseudoTerminal:
    """A pair of ends: `write` at one, whoever opens `path` reads at the other."""

    def __init__(self) -> None:
        import tty

        self._ours, self._theirs = os.openpty()
        # Their end stays open here too, so that what is set below holds and a reader may
        # come and go.
        tty.setraw(self._theirs)
        os.set_blocking(self._ours, False)
        self.path = os.ttyname(self._theirs)
        """What to open to read."""
        self.left_out_bytes = 0
        """Not written, because nobody read in time."""

    def write(self, data: bytes) -> None:
        """Pass `data` on, or leave it out where nobody reads; never wait."""
        written = 0
        if self._unread_bytes() < MAX_UNREAD_BYTES:
            with contextlib.suppress(BlockingIOError):
                written = os.write(self._ours, data)
        self.left_out_bytes += len(data) - written

    def close(self) -> None:
        """Remove the port; whoever reads it finds it unplugged. May be called more than once."""
        for descriptor in {self._ours, self._theirs} - {-1}:
            os.close(descriptor)
        self._ours = self._theirs = -1

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def _unread_bytes(self) -> int:
        import fcntl
        import termios

        (count,) = struct.unpack("i", fcntl.ioctl(self._theirs, termios.FIONREAD, bytes(4)))
        return int(count)


@contextlib.asynccontextmanager
async def car_at(
    terminal: PseudoTerminal, emissions: Iterable[Emission], *, clock: Clock
) -> AsyncIterator[None]:
    """Let a simulated car be heard at a port in real time, as long as the context lasts."""
    sending = asyncio.create_task(_send(emissions, terminal, clock), name="simulated car")
    try:
        yield
    finally:
        sending.cancel()
        await asyncio.wait({sending})
        if not sending.cancelled():
            sending.result()  # an error in the simulation is not kept quiet


async def _send(emissions: Iterable[Emission], terminal: PseudoTerminal, clock: Clock) -> None:
    async for data in in_real_time(emissions, clock):
        terminal.write(data)
