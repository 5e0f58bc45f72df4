"""TCP and UDP: a server that is connected to, and a port of this computer that is listened at.

Rules: connections are made address by address, so that a failure always has one reason; what a
slow reader leaves is held up in the system's buffers, never in ours. A TCP peer that vanished
without a word is found by keep-alive probes. Datagrams are taken from any sender, in the order in
which they come.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import socket
from typing import Any

from groundstation.clock import Clock
from groundstation.errors import SourceError
from groundstation.sources.address import TcpAddress, UdpAddress, endpoint
from groundstation.sources.network_trouble import (
    CHECK_NETWORK,
    connect_trouble,
    listen_trouble,
    reason,
)
from groundstation.sources.reconnecting import BACKOFF_S, Connection, ReconnectingSource

MAX_READ_BYTES = 65536
"""No datagram is longer, so that none is cut."""

CONNECT_TIMEOUT_S = 5.0
"""Far above any round trip at the trackside; systems wait for minutes."""

_KEEPALIVE_S = {"TCP_KEEPIDLE": 5, "TCP_KEEPINTVL": 2, "TCP_KEEPCNT": 3}
"""A silent peer is asked after 5 s, every 2 s, and given up after 3 questions."""


class TcpSource(ReconnectingSource):
    """Bytes from a TCP server."""

    def __init__(
        self, address: TcpAddress, *, clock: Clock, backoff_s: tuple[float, float] = BACKOFF_S
    ) -> None:
        super().__init__(str(address), clock=clock, backoff_s=backoff_s)
        self._address = address
        self._trying = f"Connecting to {endpoint(address.host, address.port)} again"

    async def _connect(self) -> Connection:
        where = endpoint(self._address.host, self._address.port)
        try:
            async with asyncio.timeout(CONNECT_TIMEOUT_S):
                connected = await _connected_socket(self._address)
                reader, writer = await asyncio.open_connection(sock=connected)
        except (OSError, UnicodeError) as error:  # TimeoutError is an OSError
            raise connect_trouble(error, where, self._address.host) from error
        return _TcpConnection(where, reader, writer)


class _TcpConnection:
    def __init__(
        self, where: str, reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        self.detail = f"connected to {where}"
        self._where = where
        self._reader = reader
        self._writer = writer

    async def receive(self) -> bytes:
        try:
            data = await self._reader.read(MAX_READ_BYTES)
        except OSError as error:
            raise SourceError(
                f"The connection to {self._where} broke: {reason(error)}", CHECK_NETWORK
            ) from error
        if not data:
            raise SourceError(
                f"{self._where} closed the connection", "See whether the sender still runs"
            )
        return data

    async def aclose(self) -> None:
        self._writer.transport.abort()  # nothing was written that could wait to be sent
        with contextlib.suppress(OSError):
            await self._writer.wait_closed()


class UdpSource(ReconnectingSource):
    """Datagrams from any sender to one port."""

    def __init__(
        self, address: UdpAddress, *, clock: Clock, backoff_s: tuple[float, float] = BACKOFF_S
    ) -> None:
        super().__init__(str(address), clock=clock, backoff_s=backoff_s)
        self._address = address
        self._trying = f"Listening at {endpoint(address.host, address.port)} again"

    async def _connect(self) -> Connection:
        where = endpoint(self._address.host, self._address.port)
        try:
            return _UdpConnection(where, await _bound_socket(self._address))
        except (OSError, UnicodeError) as error:
            raise listen_trouble(error, where, self._address) from error


class _UdpConnection:
    def __init__(self, where: str, listening: socket.socket) -> None:
        self.detail = f"listening at {where}"
        self._where = where
        self._socket = listening

    async def receive(self) -> bytes:
        loop = asyncio.get_running_loop()
        try:
            while not (data := await loop.sock_recv(self._socket, MAX_READ_BYTES)):
                pass  # an empty datagram
        except OSError as error:
            raise SourceError(
                f"Listening at {self._where} failed: {reason(error)}", CHECK_NETWORK
            ) from error
        return data

    async def aclose(self) -> None:
        self._socket.close()


async def _resolve(
    host: str, port: int, kind: socket.SocketKind
) -> list[tuple[int, int, int, tuple[Any, ...]]]:
    """Return family, kind, protocol and socket address of each way to `host`.

    A host that is a number needs nobody to be asked, and so no thread that waits for an answer.
    """
    try:
        ways = socket.getaddrinfo(host, port, type=kind, flags=socket.AI_NUMERICHOST)
    except socket.gaierror:
        ways = await asyncio.get_running_loop().getaddrinfo(host, port, type=kind)
    return [(family, kind, protocol, address) for family, kind, protocol, _, address in ways]


async def _connected_socket(address: TcpAddress) -> socket.socket:
    loop = asyncio.get_running_loop()
    failure: OSError = OSError(errno.EHOSTUNREACH, os.strerror(errno.EHOSTUNREACH))
    for family, kind, protocol, peer in await _resolve(
        address.host, address.port, socket.SOCK_STREAM
    ):
        connecting = socket.socket(family, kind, protocol)
        try:
            connecting.setblocking(False)
            await loop.sock_connect(connecting, peer)
            _keep_alive(connecting)
        except OSError as error:
            connecting.close()
            failure = error
        except BaseException:
            connecting.close()
            raise
        else:
            return connecting
    raise failure


async def _bound_socket(address: UdpAddress) -> socket.socket:
    family, kind, protocol, own = (await _resolve(address.host, address.port, socket.SOCK_DGRAM))[0]
    listening = socket.socket(family, kind, protocol)
    try:
        listening.setblocking(False)
        if hasattr(socket, "SO_EXCLUSIVEADDRUSE"):  # Windows would share the port otherwise
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        listening.bind(own)
    except BaseException:
        listening.close()
        raise
    return listening


def _keep_alive(connected: socket.socket) -> None:
    """Have the system find out that a silent peer is gone."""
    connected.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in _KEEPALIVE_S.items():
        if hasattr(socket, name):  # systems differ in which of them they have
            connected.setsockopt(socket.IPPROTO_TCP, getattr(socket, name), value)
