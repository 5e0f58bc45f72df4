"""What can be watched now: for the picker, and for `sources`."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from groundstation.clock import MonotonicClock
from groundstation.errors import UsageError
from groundstation.vehicles import load_vehicle, vehicle_names
from groundstation.wording import printable

if TYPE_CHECKING:
    from groundstation.screens.picker import Offer
    from groundstation.sources.listing import FoundPort

LOOK_S = 4.0
DEMO = "demo"
"""What is offered where nothing is plugged in: runs as `groundstation demo` does."""


def pick_source(vehicles: Path, *, theme: str) -> str | None:
    """Let the user choose a source; return it, or None where they left.

    Raises:
        UsageError: There is no terminal to ask on.
    """
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError("live needs a source", "`groundstation sources` lists what is there")
    from groundstation.screens.picker import PickerApp

    return PickerApp(lambda: _offers(vehicles), _look_for_ble, theme=theme).run(mouse=False)


def describe_port(port: FoundPort) -> str:
    """Return a serial port in a few words."""
    words = [port.description] if port.description else []
    if port.vid is not None and port.pid is not None:
        words.append(f"USB {port.vid:04x}:{port.pid:04x}")
    return printable(", ".join(words)) or "serial port"


def _offers(vehicles: Path) -> Sequence[Offer]:
    from groundstation.screens.picker import Offer
    from groundstation.sources.listing import list_serial_ports

    offers = [Offer(name, _describe_vehicle(name, vehicles)) for name in vehicle_names(vehicles)]
    # What was plugged in stands before the demo; a port that every computer has, after it.
    ports = sorted(list_serial_ports(), key=lambda port: port.vid is None)
    plugged = sum(port.vid is not None for port in ports)
    serial = [Offer(f"serial:{port.device}", describe_port(port)) for port in ports]
    demo = Offer(DEMO, "a simulated car (invented), no hardware")
    return [*offers, *serial[:plugged], demo, *serial[plugged:]]


def _describe_vehicle(name: str, vehicles: Path) -> str:
    vehicle = load_vehicle(name, vehicles)
    source = vehicle.source if vehicle else None
    return f"vehicle file, {printable(source)}" if source else "vehicle file without a source"


async def _look_for_ble() -> tuple[Sequence[Offer], str]:
    from groundstation.screens.picker import Offer
    from groundstation.sources.ble_listing import list_ble

    found = await list_ble(LOOK_S, clock=MonotonicClock())
    offers = [
        Offer(f"ble:{each.address}", f"{printable(each.name or 'no name')}, {each.rssi_dbm} dBm")
        for each in found.peripherals
        if each.has_uart_service
    ]
    return offers, found.trouble or ("" if offers else "no car advertises over Bluetooth LE")
