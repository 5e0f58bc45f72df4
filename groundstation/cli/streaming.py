"""Streams a simulated car in real time to whoever listens: TCP, UDP or a pseudo-terminal."""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Awaitable, Callable
from contextlib import suppress

from groundstation.clock import MonotonicClock
from groundstation.errors import SourceError, UsageError
from groundstation.inbound import BytesReceived
from groundstation.sources.address import TcpAddress, UdpAddress, endpoint, parse_address
from groundstation.sources.base import open_source

Send = Callable[[bytes], Awaitable[None]]


def stream(where: str, scenario: str, seed: int, for_s: float | None) -> int:
    """Stream until the scenario, the time or the user's patience ends; return the exit code.

    Raises:
        UsageError: `where` names no way to stream.
        SourceError: The address or port cannot be used.
    """
    car = f"simulated:{scenario}?seed={seed}"
    address = None if where == "pty" else parse_address(where)
    match address:
        case None:
            job = _to_pseudo_terminal(car)
        case UdpAddress(host, port):
            job = _to_udp(car, host, port)
        case TcpAddress(host, port):
            job = _to_tcp(car, host, port)
        case _:
            raise UsageError(f"cannot stream to {where}", "Use tcp://:PORT, udp://HOST:PORT or pty")
    with suppress(KeyboardInterrupt, asyncio.CancelledError):
        asyncio.run(_for(job, for_s))
    return 0


async def _for(job: Awaitable[None], for_s: float | None) -> None:
    task = asyncio.ensure_future(job)
    with suppress(NotImplementedError):  # Windows
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    with suppress(TimeoutError):
        await asyncio.wait_for(task, for_s)


async def _drive(car: str, send: Send) -> None:
    async with open_source(car, clock=MonotonicClock()) as source:
        async for inbound in source.events():
            if isinstance(inbound, BytesReceived):
                await send(inbound.data)


async def _to_pseudo_terminal(car: str) -> None:
    from groundstation.sources.pseudo_terminal import PseudoTerminal, has_pseudo_terminals

    if not has_pseudo_terminals():
        raise SourceError("this platform has no pseudo-terminals", "Use tcp:// or udp://")
    with PseudoTerminal() as terminal:

        async def send(data: bytes) -> None:
            terminal.write(data)

        print(terminal.path, flush=True)
        await _drive(car, send)


async def _to_udp(car: str, host: str, port: int) -> None:
    loop = asyncio.get_running_loop()
    try:
        transport, _ = await loop.create_datagram_endpoint(
            asyncio.DatagramProtocol, remote_addr=(host, port)
        )
    except OSError as error:
        raise SourceError(f"cannot send to {host}, port {port}: {error.strerror}") from error

    async def send(data: bytes) -> None:
        transport.sendto(data)

    try:
        await _drive(car, send)
    finally:
        transport.close()


async def _to_tcp(car: str, host: str, port: int) -> None:
    """Serve readers one after another; each gets the car from its start."""
    done = asyncio.Event()

    async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        async def send(data: bytes) -> None:
            writer.write(data)
            await writer.drain()

        try:
            await _drive(car, send)
            done.set()
        except ConnectionError:
            pass  # The reader went away; the next one may come.
        finally:
            writer.close()

    try:
        server = await asyncio.start_server(serve, host, port)
    except OSError as error:
        raise SourceError(f"cannot listen at {host}, port {port}: {error.strerror}") from error
    async with server:
        print(f"tcp://{endpoint(host, port)}", flush=True)
        await done.wait()
