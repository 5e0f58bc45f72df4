"""Streams a simulated car in real time to whoever listens: TCP, UDP or a pseudo-terminal."""

from __future__ import annotations

import asyncio
import os
import signal
from collections.abc import Awaitable, Callable
from contextlib import suppress

from groundstation.clock import MonotonicClock
from groundstation.errors import SourceError, UsageError
from groundstation.inbound import BytesReceived
from groundstation.sources.address import split_host_port
from groundstation.sources.base import open_source

Send = Callable[[bytes], Awaitable[None]]


def stream(where: str, scenario: str, seed: int, for_s: float | None) -> int:
    """Stream until the scenario, the time or the user's patience ends; return the exit code.

    Raises:
        UsageError: `where` names no way to stream.
        SourceError: The address or port cannot be used.
    """
    address = f"simulated:{scenario}?seed={seed}"
    if where == "pty":
        job = _to_pseudo_terminal(address)
    elif where.startswith("udp://"):
        job = _to_udp(address, *split_host_port(where, "udp://"))
    elif where.startswith("tcp://"):
        job = _to_tcp(address, *split_host_port(where, "tcp://"))
    else:
        raise UsageError(f"cannot stream to {where!r}", "use tcp://:PORT, udp://HOST:PORT or pty")
    with suppress(KeyboardInterrupt, asyncio.CancelledError):
        asyncio.run(_for(job, for_s))
    return 0


async def _for(job: Awaitable[None], for_s: float | None) -> None:
    task = asyncio.ensure_future(job)
    with suppress(NotImplementedError):  # Windows
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    with suppress(TimeoutError):
        await asyncio.wait_for(task, for_s)


async def _drive(address: str, send: Send) -> None:
    async with open_source(address, clock=MonotonicClock()) as car:
        async for inbound in car.events():
            if isinstance(inbound, BytesReceived):
                await send(inbound.data)


async def _to_pseudo_terminal(address: str) -> None:
    from groundstation.sources.pseudo_terminal import PseudoTerminalCar, have_pseudo_terminals

    if not have_pseudo_terminals():
        raise SourceError("this platform has no pseudo-terminals", "use tcp:// or udp://")
    with PseudoTerminalCar(address, clock=MonotonicClock()) as car:
        print(car.path, flush=True)
        await asyncio.Event().wait()


async def _to_udp(address: str, host: str, port: int) -> None:
    loop = asyncio.get_running_loop()
    try:
        transport, _ = await loop.create_datagram_endpoint(
            asyncio.DatagramProtocol, remote_addr=(host, port)
        )
    except OSError as error:
        raise SourceError(
            f"cannot send to {host}:{port}: {os.strerror(error.errno or 0)}"
        ) from error

    async def send(data: bytes) -> None:
        transport.sendto(data)

    try:
        await _drive(address, send)
    finally:
        transport.close()


async def _to_tcp(address: str, host: str, port: int) -> None:
    """Serve readers one after another; each gets the car from its start."""
    done = asyncio.Event()

    async def serve(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def send(data: bytes) -> None:
            writer.write(data)
            await writer.drain()

        try:
            await _drive(address, send)
            done.set()
        except ConnectionError:
            pass  # The reader went away; the next one may come.
        finally:
            writer.close()

    try:
        server = await asyncio.start_server(serve, host, port)
    except OSError as error:
        raise SourceError(f"cannot listen at {host}:{port}: {error.strerror}") from error
    async with server:
        print(f"tcp://{host}:{server.sockets[0].getsockname()[1]}", flush=True)
        await done.wait()
