"""The Bluetooth LE devices that this computer hears now."""

from __future__ import annotations

from dataclasses import dataclass

from groundstation.clock import Clock
from groundstation.errors import SourceError
from groundstation.sources.ble_names import UART_SERVICE
from groundstation.sources.ble_scan import SYSTEM, Backend, Sighting, scanning
from groundstation.wording import printable


@dataclass(frozen=True, slots=True)
class FoundPeripheral:
    """A device that advertises."""

    name: str
    """Made printable; empty where it gives none."""
    address: str
    rssi_dbm: float | None
    """Of its latest advertisement; None where the system does not tell."""
    has_uart_service: bool
    """Whether it advertises the widespread UART-like service; not every car does."""


@dataclass(frozen=True, slots=True)
class BleListing:
    """What a scan came to."""

    peripherals: tuple[FoundPeripheral, ...] = ()
    """Those with the UART-like service first, then by strength."""
    trouble: str = ""
    """Why there could be no scan, and what to do; empty where there was one."""


async def list_ble(seconds: float, *, clock: Clock, backend: Backend = SYSTEM) -> BleListing:
    """Return what is heard in so many seconds; never raises for what is wrong with Bluetooth."""
    heard: dict[str, Sighting] = {}

    def hear(sighting: Sighting) -> None:
        heard[sighting.address] = sighting

    try:
        async with scanning(hear, clock=clock, backend=backend):
            await clock.sleep(seconds)
    except SourceError as reason:
        return BleListing(trouble=str(reason))
    found = [
        FoundPeripheral(
            name=printable(each.name),
            address=each.address,
            rssi_dbm=each.rssi_dbm,
            has_uart_service=UART_SERVICE in each.services,
        )
        for each in sorted(heard.values(), key=lambda each: -each.strength_dbm)
    ]
    found.sort(key=lambda each: not each.has_uart_service)
    return BleListing(tuple(found))
