"""A computer and cars in the same air, and what they say to each other."""

from __future__ import annotations

from groundstation.clock import Clock
from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.sources.address import BleAddress
from groundstation.sources.ble import BleSource
from protocol import FrameEvent, Receiver, Sender, standard_table
from tests.ble.air import Air
from tests.ble.bumble_backend import Computer, virtual_bluetooth
from tests.ble.peripheral import VirtualCar


class Trackside:
    """A computer, and the car that it is there for; both still alone."""

    def __init__(self, *, mtu: int = 247) -> None:
        self.air = Air()
        self.computer = Computer(self.air)
        self.backend = virtual_bluetooth(self.computer)
        self.car = VirtualCar(self.air, mtu=mtu)
        self._sender = Sender(standard_table(), vehicle=1)

    def source(
        self,
        address: BleAddress | None = None,
        *,
        clock: Clock,
        backoff_s: tuple[float, float] = (0, 0),
    ) -> BleSource:
        """Return a source for the car, by its address where nothing else is said."""
        return BleSource(
            address or BleAddress(self.car.address),
            clock=clock,
            backoff_s=backoff_s,
            backend=self.backend,
        )

    def frame(self) -> bytes:
        """Return the next frame of the car, each of another speed."""
        count = self._sender.sequence
        speed_mps = 0.01 * (count % 6000)
        return self._sender.encode("motion", {"speed_mps": speed_mps}, 10_000 * count)


def decode(events: list[Inbound]) -> list[FrameEvent]:
    """Return the frames in what a source gave, as whoever reads it would find them."""
    receiver = Receiver()
    frames: list[FrameEvent] = []
    for event in events:
        if isinstance(event, LinkChanged) and event.state is LinkState.CONNECTED:
            receiver.link_restarted()
        if isinstance(event, BytesReceived):
            frames += receiver.receive_data(event.data, event.at_s)
    return frames
