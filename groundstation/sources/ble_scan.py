"""Listening for what advertises over Bluetooth LE.

Owns one scan, and how a sighting is read. Rules: a scan begins and ends within a bounded time;
what comes from the air is kept as it is and made printable by whoever shows it.
"""

from __future__ import annotations

import contextlib
from collections.abc import AsyncIterator, Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from groundstation.clock import Clock
from groundstation.sources.ble_trouble import bluetooth_trouble, failures
from groundstation.sources.waiting import within

if TYPE_CHECKING:
    from bleak.backends.client import BaseBleakClient
    from bleak.backends.device import BLEDevice
    from bleak.backends.scanner import AdvertisementData, BaseBleakScanner

SCANNER_S = 4.0
"""How long the system may take to begin a scan, and to end it."""

_UNKNOWN_RSSI_DBM = (-127, 127)
"""What stands for a strength that is not known: in bleak under Linux, and in the Bluetooth Core
Specification (Vol 4, Part E, 7.7.65.2)."""


@dataclass(frozen=True, slots=True)
class Backend:
    """What drives the Bluetooth of this computer; None is what belongs to the system."""

    scanner: type[BaseBleakScanner] | None = None
    client: type[BaseBleakClient] | None = None


SYSTEM = Backend()
"""The Bluetooth of this computer."""


@dataclass(frozen=True, slots=True)
class Sighting:
    """A device that advertised."""

    device: BLEDevice
    """What to connect to."""
    address: str
    name: str
    rssi_dbm: float | None
    """None where the system does not tell, or only remembers the device."""
    services: frozenset[str]
    """UUIDs of the services that it advertises."""

    @property
    def strength_dbm(self) -> float:
        """The strength to sort by: unknown is weakest."""
        return float("-inf") if self.rssi_dbm is None else self.rssi_dbm


@contextlib.asynccontextmanager
async def scanning(
    hear: Callable[[Sighting], None], *, clock: Clock, backend: Backend
) -> AsyncIterator[None]:
    """Scan as long as the context lasts; `hear` is told of each advertisement.

    Raises:
        SourceError: The Bluetooth of this computer does not work; says why, and what to do.
    """
    from bleak import BleakScanner

    def heard(device: BLEDevice, data: AdvertisementData) -> None:
        hear(_sighting(device, data))

    try:
        scanner = BleakScanner(heard, backend=backend.scanner)
        await within(SCANNER_S, scanner.start(), clock=clock)
    except failures() as error:
        raise bluetooth_trouble(error) from error
    try:
        yield
    finally:
        with contextlib.suppress(*failures()):
            await within(SCANNER_S, scanner.stop(), clock=clock)


def _sighting(device: BLEDevice, data: AdvertisementData) -> Sighting:
    return Sighting(
        device=device,
        address=device.address.upper(),
        name=data.local_name or device.name or "",
        rssi_dbm=None if data.rssi in _UNKNOWN_RSSI_DBM else float(data.rssi),
        services=frozenset(uuid.lower() for uuid in data.service_uuids),
    )
