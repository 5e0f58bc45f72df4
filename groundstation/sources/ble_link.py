"""One connection to one car over Bluetooth LE: made, watched, and given back.

Rules: every procedure has a bounded time and is given up when the car hangs up. That a connection
stands is not believed: the system's Bluetooth service may die without a word, so a car that falls
silent is lost. One that has never sent yet gets longer, because some firmware begins only
when it is listened to. Disconnecting is bounded too, and never fails.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any

from groundstation.clock import Clock
from groundstation.errors import SourceError
from groundstation.sources.address import BleAddress
from groundstation.sources.ble_scan import Backend, Sighting
from groundstation.sources.ble_service import find_characteristic
from groundstation.sources.ble_stream import NotificationStream
from groundstation.sources.ble_trouble import (
    connect_trouble,
    failures,
    fell_silent,
    hung_up,
    never_sent,
    subscribe_trouble,
)
from groundstation.sources.waiting import within

if TYPE_CHECKING:
    from bleak import BleakClient
    from bleak.backends.characteristic import BleakGATTCharacteristic

CONNECT_S = 10.0
"""To connect and to find the services; a slow system takes five seconds at the first time."""

MEND_S = 2.0
"""A connection that breaks while it is being made may be mended by the library within this."""

SUBSCRIBE_S = 3.0
DISCONNECT_S = 2.0

SILENCE_S = 1.5
"""A car that has sent is lost after this much silence. Cars send 50 times a second and more."""

FIRST_BYTES_S = 5.0
"""A car that has not sent yet is lost after this much silence."""

_ALMOST_S = 1e-6
"""A clock may wake a sleeper this much too early."""


class BleLink:
    """A connection to a car that was sighted."""

    def __init__(
        self, address: BleAddress, sighting: Sighting, *, clock: Clock, backend: Backend
    ) -> None:
        self._address = address
        self._car = address.device
        self._sighting = sighting
        self._clock = clock
        self._backend = backend
        self._client: BleakClient | None = None
        self._hung_up = asyncio.Event()

    async def open(self, take: Callable[[bytes], None]) -> None:
        """Connect and subscribe; `take` gets each notification, possibly before this returns.

        Raises:
            SourceError: It cannot be had now; says why, and what to do.
        """
        from bleak import BleakClient

        try:
            client = self._client = BleakClient(
                self._sighting.device,
                lambda _: self._hung_up.set(),
                timeout=CONNECT_S,
                backend=self._backend.client,
            )
            await self._within(CONNECT_S, client.connect(), pointless=self._stays_broken())
            self._hung_up.clear()
            if not client.is_connected:
                raise ConnectionAbortedError
            characteristic = find_characteristic(client.services, self._address)
        except failures() as error:
            cause = ConnectionAbortedError() if self._hung_up.is_set() else error
            raise connect_trouble(cause, self._car) from error

        def notified(_: BleakGATTCharacteristic, data: bytearray) -> None:
            take(bytes(data))

        try:
            subscribing = client.start_notify(characteristic, notified)
            await self._within(SUBSCRIBE_S, subscribing, pointless=self._hung_up.wait())
        except failures() as error:
            if self._is_broken:
                raise hung_up(self._car) from error
            raise subscribe_trouble(error, self._car) from error

    async def watch(self, stream: NotificationStream, *, silence_s: float) -> SourceError:
        """Return how the connection was lost, once it is."""
        since_s = self._clock.now_s()
        while not self._is_broken:
            if stream.last_s is None:
                due_s, loss = since_s + FIRST_BYTES_S, never_sent(self._car, FIRST_BYTES_S)
            else:
                due_s, loss = stream.last_s + silence_s, fell_silent(self._car, silence_s)
            wait_s = due_s - self._clock.now_s()
            if wait_s < _ALMOST_S:
                return loss
            with contextlib.suppress(TimeoutError):
                # Never longer than the shorter silence, which may begin while this waits.
                await self._within(min(wait_s, silence_s), self._hung_up.wait())
        return hung_up(self._car)

    async def aclose(self) -> None:
        """Disconnect, or give it up."""
        if self._client is not None:
            with contextlib.suppress(*failures()):
                await self._within(DISCONNECT_S, self._client.disconnect())

    @property
    def _is_broken(self) -> bool:
        return self._hung_up.is_set() or self._client is None or not self._client.is_connected

    async def _stays_broken(self) -> None:
        await self._hung_up.wait()
        await self._clock.sleep(MEND_S)

    async def _within(
        self,
        seconds: float,
        procedure: Coroutine[Any, Any, Any],
        *,
        pointless: Coroutine[Any, Any, Any] | None = None,
    ) -> None:
        await within(seconds, procedure, clock=self._clock, pointless=pointless)
