"""A car to be heard over Bluetooth LE: a peripheral that notifies of what it is told to send.

It advertises a name and a service, and sends in notifications as large as the connection allows,
never larger: the stack would cut what is too long and say nothing.
"""

from __future__ import annotations

import asyncio
from collections.abc import Callable

from bumble.core import UUID, AdvertisingData
from bumble.device import Connection, Device
from bumble.gatt import Characteristic, Service

from groundstation.sources.ble_names import UART_NOTIFY, UART_SERVICE
from tests.ble.air import Air

LONGEST_NAME = 8
"""What an advertisement of 31 bytes has room for, beside flags and a UUID of 16 bytes. More would
go to the scan response, which virtual controllers do not send."""


class VirtualCar:
    """A car in the air, switched off at first."""

    def __init__(
        self,
        air: Air,
        *,
        name: str = "CAR-1",
        address: str = "C0:00:00:00:00:01",
        mtu: int = 247,
        service: str = UART_SERVICE,
        notify: str = UART_NOTIFY,
        properties: Characteristic.Properties = Characteristic.Properties.NOTIFY,
        rssi_dbm: int = -60,
    ) -> None:
        assert len(name) <= LONGEST_NAME
        self.name = name
        self.address = address
        self.on_connected: Callable[[], None] = lambda: None
        """Called at each connection, before the other end knows of it."""
        self.listened_to = asyncio.Event()
        """Set while somebody is subscribed."""
        self.connections = 0
        """How many there have been."""
        self._air = air
        self._mtu = mtu
        self._service_uuid = UUID(service)
        self._sending = Characteristic[bytes](
            UUID(notify), properties, Characteristic.Permissions(0), b""
        )
        self._device: Device | None = None
        self._connection: Connection | None = None
        air.rssi_dbm[address] = rssi_dbm

    @property
    def is_connected(self) -> bool:
        return self._connection is not None

    async def switch_on(self) -> None:
        """Advertise, now and after each connection."""
        device = self._device
        if device is None:
            device = self._device = await self._air.device(self.name, self.address)
            device.gatt_server.max_mtu = self._mtu
            device.add_service(Service(self._service_uuid, [self._sending]))
            device.on(device.EVENT_CONNECTION, self._connected)
            self._sending.on(Characteristic.EVENT_SUBSCRIPTION, self._subscribed)
        await device.start_advertising(
            auto_restart=True,
            advertising_data=bytes(
                AdvertisingData(
                    [
                        (AdvertisingData.FLAGS, b"\x06"),
                        (AdvertisingData.COMPLETE_LOCAL_NAME, self.name.encode()),
                        (
                            AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS,
                            self._service_uuid.to_bytes(),
                        ),
                    ]
                )
            ),
        )

    async def switch_off(self) -> None:
        """Be gone: neither connected nor to be heard."""
        if self._device is not None:
            await self._device.stop_advertising()
            self.drop_out()
            await self._device.stop_advertising()

    async def hang_up(self) -> None:
        """End the connection, as a firmware does that restarts."""
        assert self._connection is not None
        await self._connection.disconnect()

    def drop_out(self) -> None:
        """Lose the connection without a word."""
        self._air.tear(self.address)

    async def send(self, data: bytes) -> None:
        """Notify of `data`, in pieces where it is too long for one notification."""
        assert self._device is not None
        assert self._connection is not None
        size = self._connection.att_mtu - 3
        for at in range(0, len(data), size):
            piece = data[at : at + size]
            await self._device.notify_subscriber(self._connection, self._sending, piece)

    def _connected(self, connection: Connection) -> None:
        self._connection = connection
        self.connections += 1
        connection.on(connection.EVENT_DISCONNECTION, self._disconnected)
        self.on_connected()

    def _disconnected(self, _: int) -> None:
        self._connection = None
        self.listened_to.clear()

    def _subscribed(self, _: object, notifies: bool, indicates: bool) -> None:
        if notifies or indicates:
            self.listened_to.set()
        else:
            self.listened_to.clear()
