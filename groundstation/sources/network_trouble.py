"""What can go wrong with a network, each in one plain sentence with what to do."""

from __future__ import annotations

import errno
import os
import socket

from groundstation.errors import SourceError
from groundstation.sources.address import UdpAddress

CHECK_NETWORK = "Check that this computer is in the same network as the receiver"


def connect_trouble(error: Exception, where: str, host: str) -> SourceError:
    """Return why `where`, a port of `host`, cannot be connected to."""
    if isinstance(error, (socket.gaierror, UnicodeError)):
        return _not_found(host)
    if isinstance(error, ConnectionRefusedError):
        return SourceError(
            f"{where} refuses the connection", "Start the sender, or check the number of its port"
        )
    if isinstance(error, TimeoutError):
        return SourceError(f"{where} does not answer", CHECK_NETWORK)
    return SourceError(f"{where} cannot be reached: {reason(error)}", CHECK_NETWORK)


def listen_trouble(error: Exception, where: str, address: UdpAddress) -> SourceError:
    """Return why `address` cannot be listened at."""
    if isinstance(error, (socket.gaierror, UnicodeError)):
        return _not_found(address.host)
    number = error.errno if isinstance(error, OSError) else None
    if number == errno.EADDRINUSE:
        return SourceError(
            f"Port {address.port} is in use by another program",
            "Close that program, or let the sender use another port",
        )
    if number == errno.EADDRNOTAVAIL:
        return SourceError(
            f"{address.host} is no address of this computer",
            f"Write udp://0.0.0.0:{address.port} to listen at all of them",
        )
    if isinstance(error, PermissionError):
        return SourceError(
            f"This user may not listen at port {address.port}", "Use a port from 1024 upward"
        )
    return SourceError(f"Listening at {where} failed: {reason(error)}", CHECK_NETWORK)


def _not_found(host: str) -> SourceError:
    return SourceError(f"No computer named {host} is found", "Check the name, or write its number")


def reason(error: Exception) -> str:
    """Return the system's own words for `error`."""
    number = error.errno if isinstance(error, OSError) else None
    return os.strerror(number) if number is not None else str(error) or type(error).__name__
