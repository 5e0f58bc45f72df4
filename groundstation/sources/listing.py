"""The serial ports that this computer has now.

What an adapter says of itself (its description, its serial number) comes from outside, so
everything is made printable here, before any screen sees it.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from groundstation.wording import printable

BY_ID = Path("/dev/serial/by-id")
"""Where Linux keeps a name for each adapter that stays the same however often it is replugged."""


@dataclass(frozen=True, slots=True)
class FoundPort:
    """A serial port that is there."""

    device: str
    """What to open: `/dev/ttyUSB0`, `COM3`."""
    description: str = ""
    vid: int | None = None
    """USB vendor; None where the port is not on USB."""
    pid: int | None = None
    """USB product."""
    serial_number: str | None = None
    """Of the adapter; many cheap ones have none."""
    stable_path: str | None = None
    """Another name for the device that survives replugging, where the system gives one."""


def list_serial_ports(by_id: Path = BY_ID) -> list[FoundPort]:
    """Return what is there now, in the order of the names; pseudo-terminals are never listed."""
    from serial.tools.list_ports import comports

    try:
        ports = sorted(comports())
    except (OSError, TypeError, ValueError):
        return []  # an adapter vanished while it was being read; the next listing is without it
    stable_paths = _stable_paths(by_id)
    return [
        FoundPort(
            device=port.device,
            description="" if port.description == "n/a" else printable(port.description or ""),
            vid=port.vid,
            pid=port.pid,
            serial_number=printable(port.serial_number) if port.serial_number else None,
            stable_path=stable_paths.get(os.path.realpath(port.device)),
        )
        for port in ports
    ]


def _stable_paths(by_id: Path) -> dict[str, str]:
    try:
        return {os.path.realpath(path): str(path) for path in sorted(by_id.iterdir())}
    except OSError:
        return {}
