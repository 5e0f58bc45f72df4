"""How cars and what they offer are called in Bluetooth LE.

Owns the forms of an address and of a UUID. A car is called by the name that it advertises or by
its address: six bytes in hexadecimal, or a UUID under macOS, which keeps addresses to itself.
Rule: no Bluetooth library is needed to read what the user wrote.
"""

from __future__ import annotations

import re

UART_SERVICE = "6e400001-b5a3-f393-e0a9-e50e24dcca9e"
"""The widespread UART-like service."""

UART_NOTIFY = "6e400003-b5a3-f393-e0a9-e50e24dcca9e"
"""Its characteristic that notifies of what the car sends."""

_BASE = "-0000-1000-8000-00805f9b34fb"
"""The Bluetooth Base UUID but for its first 32 bits, which a short UUID fills in (Bluetooth Core
Specification, Vol 3, Part B, 2.5.1)."""

_ADDRESS = re.compile(r"([0-9a-f]{2}:){5}[0-9a-f]{2}", re.IGNORECASE)
_LONG_UUID = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}", re.IGNORECASE)
_SHORT_UUID = re.compile(r"[0-9a-f]{4}|[0-9a-f]{8}", re.IGNORECASE)


def long_uuid(text: str) -> str | None:
    """Return a UUID of 16, 32 or 128 bits in its long form, None where `text` is none."""
    if _SHORT_UUID.fullmatch(text):
        return text.lower().rjust(8, "0") + _BASE
    return text.lower() if _LONG_UUID.fullmatch(text) else None


def is_short_uuid(uuid: str) -> bool:
    """Return whether a UUID in its long form has a short one."""
    return uuid.endswith(_BASE)


def is_address(device: str) -> bool:
    """Return whether `device` is an address and no name."""
    return is_hardware_address(device) or _LONG_UUID.fullmatch(device) is not None


def is_hardware_address(device: str) -> bool:
    """Return whether `device` is an address of six bytes, which macOS never tells."""
    return _ADDRESS.fullmatch(device) is not None
