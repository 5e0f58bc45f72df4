"""Which characteristic of a car carries its bytes.

Rule: whoever asks for what the car does not have is told what it has.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from groundstation.sources.address import BleAddress
from groundstation.sources.ble_names import is_short_uuid
from groundstation.sources.ble_trouble import wrong_service

if TYPE_CHECKING:
    from bleak.backends.characteristic import BleakGATTCharacteristic
    from bleak.backends.service import BleakGATTServiceCollection

_STANDARD_SERVICES = range(0x1800, 0x1900)
"""Short UUIDs of the services that every device may have, such as its name and its battery
(Bluetooth Assigned Numbers, 3.4)."""


def find_characteristic(
    services: BleakGATTServiceCollection, address: BleAddress
) -> BleakGATTCharacteristic:
    """Return the characteristic of `address`.

    Raises:
        SourceError: The car has no such service, or not this characteristic in it, or it does not
            notify.
    """
    missing = f"service {address.service}"
    offered: list[tuple[str, str]] = []
    for service in services:
        for characteristic in service.characteristics:
            if {"notify", "indicate"}.isdisjoint(characteristic.properties):
                continue
            if (service.uuid, characteristic.uuid) == (address.service, address.notify):
                return characteristic
            if not _is_standard(service.uuid):
                offered.append((service.uuid, characteristic.uuid))
        if service.uuid == address.service:
            missing = f"characteristic {address.notify} that notifies in service {service.uuid}"
    raise wrong_service(address, missing, offered)


def _is_standard(uuid: str) -> bool:
    return is_short_uuid(uuid) and int(uuid[:8], 16) in _STANDARD_SERVICES
