"""Which of the cars that are heard is ours.

Rules: a car that is called by its address is taken as soon as it is heard. For a name, others of
that name are waited for; then the strongest is taken, and the others are told of. A car that was
connected once is waited for, and whatever was heard beside it by the same name is somebody else's:
a session goes on with the car that it began with.
"""

from __future__ import annotations

import asyncio
import contextlib
from dataclasses import dataclass

from groundstation.clock import Clock
from groundstation.sources.address import BleAddress
from groundstation.sources.ble_names import is_address
from groundstation.sources.ble_scan import Backend, Sighting, scanning
from groundstation.sources.ble_trouble import not_heard
from groundstation.sources.waiting import within

SCAN_S = 5.0
"""How long a scan listens for a car; most advertise several times a second."""

GATHER_S = 1.0
"""How long to listen for others of its name after the first."""


@dataclass(frozen=True, slots=True)
class KnownCar:
    """A car that was connected once."""

    address: str
    strangers: frozenset[str]
    """Addresses that were heard beside it by the same name."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The car to connect to."""

    sighting: Sighting
    others: tuple[Sighting, ...]
    """Heard by the same name, strongest first."""


class Lookout:
    """Collects what is heard, and finds the car in it."""

    def __init__(self, address: BleAddress, known: KnownCar | None = None) -> None:
        self._sought = address.device.casefold()
        self._by_address = is_address(address.device)
        self._known_address = known.address if known else None
        self._strangers = known.strangers if known else frozenset()
        self._heard: dict[str, Sighting] = {}
        self.found = asyncio.Event()
        """Set when the car was heard, or the first of its name where it is not known which."""

    @property
    def knows_which(self) -> bool:
        """Whether it is one car that is sought, however many have its name."""
        return self._by_address or self._known_address is not None

    def hear(self, sighting: Sighting) -> None:
        """Take note of what was heard."""
        called = sighting.address if self._by_address else sighting.name
        if called.casefold() != self._sought:
            return
        self._heard[sighting.address] = sighting
        is_remembered_only = sighting.rssi_dbm is None
        if not is_remembered_only and self._known_address in (None, sighting.address):
            self.found.set()

    def choose(self) -> Choice | None:
        """Return the car to connect to, None where it was not heard."""
        heard = sorted(self._heard.values(), key=lambda each: each.strength_dbm, reverse=True)
        ours = [each for each in heard if each.address not in self._strangers]
        ours.sort(key=lambda each: each.address != self._known_address)
        if not ours:
            return None
        return Choice(ours[0], tuple(each for each in heard if each is not ours[0]))


async def find(
    address: BleAddress, known: KnownCar | None, *, clock: Clock, backend: Backend
) -> Choice:
    """Scan, and return the car to connect to.

    Raises:
        SourceError: It is not heard, or Bluetooth does not work; says why, and what to do.
    """
    lookout = Lookout(address, known)
    async with scanning(lookout.hear, clock=clock, backend=backend):
        with contextlib.suppress(TimeoutError):
            await within(SCAN_S, lookout.found.wait(), clock=clock)
            if not lookout.knows_which:
                await clock.sleep(GATHER_S)
    choice = lookout.choose()
    if choice is None:
        raise not_heard(address)
    return choice
