"""What a source is, and the table by which one is found.

A source gives `Inbound` events stamped at reception. It must never take the program down:
what goes wrong with a connection is a `LinkChanged` with one plain sentence, and the source
tries again by itself, without end, with backoff. Back-ends are named as strings and imported
on use, so that the program starts without the libraries of ports it does not open.
"""

from __future__ import annotations

import importlib
from abc import ABC, abstractmethod
from collections.abc import AsyncIterator
from types import TracebackType
from typing import Self, cast

from groundstation.clock import Clock
from groundstation.inbound import Inbound
from groundstation.sources.address import DEFAULT_BAUD, parse_address

_BACK_ENDS = {
    "serial": "groundstation.sources.serial_port:SerialSource",
    "ble": "groundstation.sources.ble:BleSource",
    "tcp": "groundstation.sources.network:TcpSource",
    "udp": "groundstation.sources.network:UdpSource",
    "simulated": "groundstation.sources.simulated:SimulatedSource",
}
"""Scheme of an address -> the class that takes it, and a clock."""


class Source(ABC):
    """A stream of inbound events.

    Must: `events`, `aclose`, and `name`. The iterator ends only where the source itself is
    finite or has been closed.
    """

    name: str
    """How the user would write it: `serial:/dev/ttyUSB0`."""

    @abstractmethod
    def events(self) -> AsyncIterator[Inbound]:
        """Connect, and yield what comes in; call once.

        Each (re)connection yields `LinkChanged(CONNECTED)` before its first bytes; each loss
        `LinkChanged(LOST)`, then `LinkChanged(RETRYING)` while it tries again. `at_s` is
        the clock's reading at reception.
        """

    @abstractmethod
    async def aclose(self) -> None:
        """Release the port and end the iterator; may be called more than once."""

    async def __aenter__(self) -> Self:
        return self

    async def __aexit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        await self.aclose()


def open_source(text: str, *, clock: Clock, baud: int = DEFAULT_BAUD) -> Source:
    """Return the source that `text` names; it connects when its events are read.

    Args:
        text: As the user wrote it: `serial:/dev/ttyUSB0`, `COM3`, `tcp://192.168.4.1:5000`, ...
        clock: Stamps what comes in.
        baud: Speed of a serial port whose address does not say.

    Raises:
        UnknownSourceError: It names nothing, or not completely.
    """
    address = parse_address(text, baud=baud)
    module, _, name = _BACK_ENDS[address.scheme].partition(":")
    back_end = getattr(importlib.import_module(module), name)
    return cast("Source", back_end(address, clock=clock))
