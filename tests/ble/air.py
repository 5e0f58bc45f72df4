"""The air that Bluetooth LE devices share in these tests, all within one process.

Each device is a whole host stack over a virtual controller; what is sent arrives in a later turn of
the event loop. The virtual controllers report every advertisement at one strength, so how
strong each device is heard is kept here.
"""

from __future__ import annotations

from bumble.controller import Controller
from bumble.device import Device, DeviceConfiguration
from bumble.hci import Address, HCI_ErrorCode
from bumble.host import Host
from bumble.link import LocalLink
from bumble.transport.common import AsyncPipeSink

ADVERTISING_INTERVAL_MS = 20.0
"""The shortest there is; the only real time that passes here."""


class Air:
    """What carries advertisements and connections from device to device."""

    def __init__(self) -> None:
        self._link = LocalLink()
        self._controllers: dict[str, Controller] = {}
        self.rssi_dbm: dict[str, int] = {}
        """How strong each device is heard, by its address."""

    async def device(self, name: str, address: str) -> Device:
        """Return a new device, switched on."""
        controller = Controller(name, link=self._link, public_address=Address(address))
        device = Device(
            config=DeviceConfiguration(
                name=name,
                address=Address(address),
                advertising_interval_min=ADVERTISING_INTERVAL_MS,
                advertising_interval_max=ADVERTISING_INTERVAL_MS,
                gatt_service_enabled=False,
            ),
            host=Host(controller, AsyncPipeSink(controller)),
        )
        self._controllers[address] = controller
        await device.power_on()
        return device

    def tear(self, address: str) -> None:
        """Break the connection of a device without a word, as when it gets out of range."""
        ours = self._controllers[address]
        for connection in list(ours.le_connections.values()):
            for end in self._controllers.values():
                for other in list(end.le_connections.values()):
                    if other is connection or other.peer_address == connection.self_address:
                        end.on_le_disconnected(other, HCI_ErrorCode.CONNECTION_TIMEOUT_ERROR)

    def forget_request(self, address: str) -> None:
        """Take back the request to connect that a device made; the virtual one would keep it."""
        self._controllers[address].pending_le_connection = None
