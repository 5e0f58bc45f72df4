"""Which adapter was behind a port, so that it is found again under another name.

An adapter that is replugged may come back as another port. It is known by vendor, product and
serial number. Many adapters have no serial number, or all the same one: a port that was there
beside ours while ours was open is therefore somebody else's, and where several could be ours
none is.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass

from groundstation.sources.listing import FoundPort


@dataclass(frozen=True, slots=True)
class KnownAdapter:
    """An adapter that was open once."""

    vid: int | None
    pid: int | None
    serial_number: str | None
    device: str
    strangers: frozenset[str]
    """Devices of its kind that were there at the same time."""

    def find(self, ports: Sequence[FoundPort]) -> str | None:
        """Return the device behind which the adapter is now, or None if there is no telling."""
        alike = [port.device for port in ports if _kind(port) == _kind(self)]
        if self.device in alike:
            return self.device
        candidates = [device for device in alike if device not in self.strangers]
        return candidates[0] if len(candidates) == 1 else None


def recognise(device: str, ports: Sequence[FoundPort]) -> KnownAdapter | None:
    """Return what is known of the adapter behind `device`; None where it is not on USB."""
    for port in ports:
        if same_port(port.device, device) and port.vid is not None:
            strangers = [
                other.device
                for other in ports
                if other.device != port.device and _kind(other) == _kind(port)
            ]
            return KnownAdapter(
                port.vid, port.pid, port.serial_number, port.device, frozenset(strangers)
            )
    return None


def same_port(device: str, other: str) -> bool:
    """Return whether two names are of one port, now."""
    return _plain(device) == _plain(other)


def _kind(port: FoundPort | KnownAdapter) -> tuple[int | None, int | None, str | None]:
    return port.vid, port.pid, port.serial_number


def _plain(device: str) -> str:
    """Return the device's own name: links followed, and case ignored where the system does."""
    if device.upper().removeprefix("\\\\.\\").startswith("COM"):
        return device.upper().removeprefix("\\\\.\\")
    return os.path.realpath(device)
