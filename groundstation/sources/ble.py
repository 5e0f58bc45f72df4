"""A car heard over Bluetooth LE: by a service that notifies of bytes, as UARTs do.

Rules: a scan goes before each connection, because an address that was good a minute ago may be
good no more. The strength is that of the advertisement, told once for each connection: no system
tells the strength of a connection that stands. A loss is told before anything is done about it. Any
size of notification will do; the bytes are one stream.
"""

from __future__ import annotations

from groundstation.clock import Clock
from groundstation.errors import SourceError
from groundstation.inbound import TelemetrySignal
from groundstation.sources.address import BleAddress
from groundstation.sources.ble_choice import Choice, KnownCar, find
from groundstation.sources.ble_link import SILENCE_S, BleLink
from groundstation.sources.ble_names import is_address
from groundstation.sources.ble_scan import SYSTEM, Backend, Sighting
from groundstation.sources.ble_stream import NotificationStream
from groundstation.sources.reconnecting import BACKOFF_S, RetryingSource


class BleSource(RetryingSource):
    """Bytes that a car notifies of."""

    def __init__(
        self,
        address: BleAddress,
        *,
        clock: Clock,
        backoff_s: tuple[float, float] = BACKOFF_S,
        silence_s: float = SILENCE_S,
        backend: Backend = SYSTEM,
    ) -> None:
        super().__init__(str(address), clock=clock, backoff_s=backoff_s)
        self.address = address
        self._silence_s = silence_s
        self._backend = backend
        self._known: KnownCar | None = None

    async def _attempt(self) -> None:
        try:
            choice = await find(self.address, self._known, clock=self._clock, backend=self._backend)
        except SourceError as reason:
            await self._tell(self._story.failed(str(reason)))
            return
        if choice.sighting.rssi_dbm is not None:
            signal = TelemetrySignal(self._clock.now_s(), choice.sighting.rssi_dbm)
            await self._handover.put(signal)
        await self._stream(choice)

    async def _stream(self, choice: Choice) -> None:
        """Hand over what the car notifies of until it is lost; tell of that."""
        stream = NotificationStream(
            self._handover, self._story, clock=self._clock, detail=self._connected_to(choice)
        )
        link = BleLink(self.address, choice.sighting, clock=self._clock, backend=self._backend)
        try:
            loss = await self._listen(link, stream, choice)
            stream.end()
            if stream.began:
                await self._tell(self._story.lost(str(loss), self._trying))
            else:
                await self._tell(self._story.failed(str(loss)))
        finally:
            stream.end()
            await link.aclose()
        if stream.last_s is not None:
            self._backoff.begin_anew()

    async def _listen(
        self, link: BleLink, stream: NotificationStream, choice: Choice
    ) -> SourceError:
        """Return how the car was lost, or why it could not be had."""
        try:
            await link.open(stream.take)
        except SourceError as reason:
            return reason
        self._remember(choice)
        stream.begin()
        return await link.watch(stream, silence_s=self._silence_s)

    def _remember(self, choice: Choice) -> None:
        strangers = frozenset(other.address for other in choice.others)
        if self._known is not None:
            strangers |= self._known.strangers
        self._known = KnownCar(choice.sighting.address, strangers)

    @property
    def _trying(self) -> str:
        return f"Listening for {self.address.device} again"

    def _connected_to(self, choice: Choice) -> str:
        """Return what is connected; of several cars with one name, which, and how to choose."""
        device, ours = self.address.device, choice.sighting.address
        if is_address(device):
            return f"connected to {device}"
        detail = f"connected to {device} at {ours}"
        if self._known is not None:
            moved = f", which was at {self._known.address}" * (self._known.address != ours)
            return detail + moved
        if not choice.others:
            return detail
        others = " and ".join(_where(other) for other in choice.others)
        strength = _where(choice.sighting).removeprefix(ours)
        return (
            f"{detail}{strength}, the strongest of {len(choice.others) + 1} cars of that name; "
            f"not to {others}: to choose, write for example ble:{choice.others[0].address}"
        )


def _where(sighting: Sighting) -> str:
    if sighting.rssi_dbm is None:
        return sighting.address
    return f"{sighting.address} ({sighting.rssi_dbm:g} dBm)"
