"""What stands at the other end of a source in these tests: working links, not mocks."""

from __future__ import annotations

import asyncio
import contextlib
import os
import socket
import threading
from collections.abc import AsyncIterator, Callable, Coroutine
from contextlib import asynccontextmanager
from pathlib import Path
from typing import Any, TypeVar

from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.sources.pseudo_terminal import PseudoTerminal

T = TypeVar("T")
PATIENCE_S = 20.0
"""How long a test waits for what must happen before it fails."""


def run(work: Coroutine[Any, Any, T], *, patience_s: float = PATIENCE_S) -> T:
    """Return what `work` gives, or fail when it takes for ever."""

    async def patiently() -> T:
        async with asyncio.timeout(patience_s):
            return await work

    return asyncio.run(patiently())


async def until(reached: Callable[[], bool]) -> None:
    """Let everything else run until it has happened."""
    while not reached():  # noqa: ASYNC110 - what is waited for happens in another thread
        await asyncio.sleep(0)


class SteppingClock:
    """A clock that goes on by a microsecond at each look, and by what is slept at once."""

    start_s = 5000.0

    def __init__(self) -> None:
        self._now_s = self.start_s
        self._lock = threading.Lock()
        self.slept_s: list[float] = []

    def now_s(self) -> float:
        with self._lock:
            self._now_s += 1e-6
            return self._now_s

    async def sleep(self, seconds: float) -> None:
        with self._lock:
            self._now_s += seconds
            self.slept_s.append(seconds)
        await asyncio.sleep(0)


class Log:
    """Reads events as a test needs them, and keeps them all."""

    def __init__(self, events: AsyncIterator[Inbound]) -> None:
        self._events = events
        self.seen: list[Inbound] = []

    async def until(self, reached: Callable[[Log], bool]) -> None:
        while not reached(self):
            self.seen.append(await anext(self._events))

    async def until_state(self, state: LinkState) -> LinkChanged:
        """Read to the next change to `state`, and return it."""
        first = len(self.seen)
        await self.until(lambda log: state in states(log.seen[first:]))
        change = self.seen[-1]
        assert isinstance(change, LinkChanged)
        return change

    async def until_bytes(self, count: int) -> bytes:
        """Read until `count` more bytes have come, and return them."""
        before = len(self.received)
        await self.until(lambda log: len(log.received) >= before + count)
        return self.received[before:]

    async def to_the_end(self) -> None:
        async for event in self._events:
            self.seen.append(event)

    @property
    def received(self) -> bytes:
        return b"".join(event.data for event in self.seen if isinstance(event, BytesReceived))

    @property
    def changes(self) -> list[LinkChanged]:
        return [event for event in self.seen if isinstance(event, LinkChanged)]


def states(events: list[Inbound]) -> list[LinkState]:
    return [event.state for event in events if isinstance(event, LinkChanged)]


class PluggablePort:
    """A serial port that can be pulled out and plugged in again, at a name that stays."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._terminal: PseudoTerminal | None = None

    @property
    def device(self) -> str:
        return str(self.path)

    @property
    def terminal_path(self) -> str:
        """The name that changes."""
        return os.path.realpath(self.path)

    def plug(self) -> None:
        self._terminal = PseudoTerminal()
        os.symlink(self._terminal.path, self.path)

    def pull(self) -> None:
        if self._terminal is not None:
            self.path.unlink()
            self._terminal.close()
            self._terminal = None

    def write(self, data: bytes) -> None:
        assert self._terminal is not None
        self._terminal.write(data)
        assert self._terminal.left_out_bytes == 0


@asynccontextmanager
async def serving(
    greet: Callable[[asyncio.StreamWriter], None], host: str = "127.0.0.1", port: int = 0
) -> AsyncIterator[int]:
    """Serve TCP, and give the port; afterwards hang up on everybody."""
    accepted: list[asyncio.StreamWriter] = []

    def accept(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        accepted.append(writer)
        greet(writer)

    server = await asyncio.start_server(accept, host, port)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        await server.wait_closed()
        for writer in accepted:
            writer.transport.abort()
            with contextlib.suppress(OSError):
                await writer.wait_closed()


def free_port(kind: socket.SocketKind) -> int:
    """Return a port of the loopback address that nobody uses."""
    with socket.socket(socket.AF_INET, kind) as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port
