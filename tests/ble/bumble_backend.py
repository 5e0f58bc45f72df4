"""The Bluetooth of this computer, as bleak drives it, over the air of these tests.

`virtual_bluetooth` gives the scanner and the client class that bleak takes as its `backend`. Both
drive one host stack, as a computer has one adapter.
"""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import Awaitable, Callable
from typing import Any, Literal

from bleak.args import SizedBuffer
from bleak.assigned_numbers import gatt_char_props_to_strs
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import BaseBleakClient, NotifyCallback
from bleak.backends.descriptor import BleakGATTDescriptor
from bleak.backends.device import BLEDevice
from bleak.backends.scanner import AdvertisementData, BaseBleakScanner
from bleak.backends.service import BleakGATTService, BleakGATTServiceCollection
from bleak.exc import (
    BleakBluetoothNotAvailableError,
    BleakBluetoothNotAvailableReason,
    BleakDBusError,
    BleakError,
)
from bumble.core import UUID, AdvertisingData
from bumble.device import Advertisement, Connection, Device, Peer
from bumble.gatt_client import CharacteristicProxy

from groundstation.sources.ble_scan import Backend
from tests.ble.air import Air

LARGEST_MTU = 517
"""What this computer asks for; the smaller of the two ends' is used."""

OWN_ADDRESS = "F0:00:00:00:00:01"


class Computer:
    """This computer's adapter and its Bluetooth service, and what may be wrong with them."""

    def __init__(self, air: Air) -> None:
        self.air = air
        self.is_on = True
        self.service: Literal["runs", "killed", "stuck"] = "runs"
        """What is killed refuses, what is stuck never answers. Neither says a word by itself:
        notifications stop, and a client goes on to call itself connected."""
        self.scans = 0
        """How many have begun."""
        self.heard: set[str] = set()
        """Addresses that advertised since the latest began."""
        self.before_connecting: Callable[[], Awaitable[None]] | None = None
        """What happens between the end of a scan and the connection."""
        self._device: Device | None = None

    async def device(self) -> Device:
        if not self.is_on:
            raise BleakBluetoothNotAvailableError(
                "switched off", BleakBluetoothNotAvailableReason.POWERED_OFF
            )
        if self.service == "stuck":
            await asyncio.Event().wait()
        if self.service == "killed":
            raise BleakDBusError(
                "org.freedesktop.DBus.Error.ServiceUnknown",
                ["The name org.bluez was not provided by any .service files"],
            )
        if self._device is None:
            self._device = await self.air.device("computer", OWN_ADDRESS)
        return self._device

    @property
    def is_connecting(self) -> bool:
        return self._device is not None and self._device.is_le_connecting

    async def restart_service(self) -> None:
        """Let the service run again; the new one has no connection and does not scan."""
        self.service = "runs"
        self.air.tear(OWN_ADDRESS)
        await (await self.device()).stop_scanning()


def virtual_bluetooth(computer: Computer) -> Backend:
    """Return the classes that drive `computer`."""

    class Scanner(VirtualScanner):
        adapter = computer

    class Client(VirtualClient):
        adapter = computer

    return Backend(scanner=Scanner, client=Client)


def long_form(short_or_long: UUID) -> str:
    """Return a UUID as bleak writes it; the stack writes the short ones with their names."""
    return str(uuid.UUID(bytes=short_or_long.to_bytes(force_128=True)[::-1]))


class VirtualScanner(BaseBleakScanner):
    adapter: Computer

    def __init__(
        self, detection_callback: Any, service_uuids: Any, scanning_mode: str, **options: Any
    ) -> None:
        super().__init__(detection_callback, service_uuids)

    async def start(self) -> None:
        device = await self.adapter.device()
        self.adapter.scans += 1
        self.adapter.heard.clear()
        self.seen_devices = {}
        device.on(Device.EVENT_ADVERTISEMENT, self._advertised)
        await device.start_scanning()

    async def stop(self) -> None:
        device = await self.adapter.device()
        device.remove_listener(Device.EVENT_ADVERTISEMENT, self._advertised)
        await device.stop_scanning()

    def _advertised(self, advertisement: Advertisement) -> None:
        address = advertisement.address.to_string(with_type_qualifier=False)
        read = advertisement.data.get
        uuids: list[UUID] = (
            read(AdvertisingData.INCOMPLETE_LIST_OF_128_BIT_SERVICE_CLASS_UUIDS) or []
        )
        name = read(AdvertisingData.COMPLETE_LOCAL_NAME)
        data = AdvertisementData(
            local_name=name,
            manufacturer_data={},
            service_data={},
            service_uuids=[long_form(each) for each in uuids],
            tx_power=None,
            rssi=self.adapter.air.rssi_dbm[address],
            platform_data=(),
        )
        device = self.create_or_update_device(address, address, name, advertisement.address, data)
        self.call_detection_callbacks(device, data)
        self.adapter.heard.add(address)


class VirtualClient(BaseBleakClient):
    adapter: Computer

    def __init__(
        self,
        address_or_ble_device: BLEDevice | str,
        services: set[str] | None = None,
        *,
        disconnected_callback: Callable[[], None] | None,
        timeout: float,
        **options: Any,
    ) -> None:
        super().__init__(
            address_or_ble_device, disconnected_callback=disconnected_callback, timeout=timeout
        )
        self._connection: Connection | None = None
        self._peer: Peer | None = None

    @property
    def name(self) -> str:
        return self.address

    @property
    def mtu_size(self) -> int:
        return 23 if self._connection is None else self._connection.att_mtu

    @property
    def is_connected(self) -> bool:
        return self._connection is not None

    async def connect(self, pair: bool, **options: Any) -> None:
        device = await self.adapter.device()
        if self.adapter.before_connecting is not None:
            await self.adapter.before_connecting()
        try:
            connection = await device.connect(self.address, timeout=None)
        finally:
            self.adapter.air.forget_request(OWN_ADDRESS)
        self._connection = connection
        connection.on(connection.EVENT_DISCONNECTION, self._disconnected)
        if device.lookup_connection(connection.handle) is not connection:
            self._disconnected()  # it was lost before anybody could be told
        try:
            await self._while_connected(self._discover(connection))
        except BaseException:
            await self.disconnect()
            raise

    async def disconnect(self) -> None:
        await self.adapter.device()
        if self._connection is not None:
            await self._connection.disconnect()

    def _disconnected(self, reason: int = 0) -> None:
        if self._connection is None or self.adapter.service != "runs":
            return
        self._connection = None
        self.services = None
        if self._disconnected_callback is not None:
            self._disconnected_callback()

    async def _while_connected(self, procedure: Any) -> None:
        """Await a GATT procedure; on a dead connection it would wait half a minute."""
        connection = self._connection
        if connection is None:
            procedure.close()
            raise BleakError("not connected")
        gone = asyncio.Event()
        connection.once(connection.EVENT_DISCONNECTION, lambda *_: gone.set())
        tasks = {asyncio.ensure_future(procedure), asyncio.ensure_future(gone.wait())}
        try:
            await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for task in tasks:
                task.cancel()
            results = await asyncio.gather(*tasks, return_exceptions=True)
        if gone.is_set():
            raise BleakError("disconnected")
        for result in results:
            if isinstance(result, Exception):
                raise result

    async def _discover(self, connection: Connection) -> None:
        self._peer = peer = Peer(connection)
        await peer.request_mtu(LARGEST_MTU)
        await peer.discover_services()
        services = BleakGATTServiceCollection()
        for found in peer.services:
            service = BleakGATTService(found, found.handle, long_form(found.uuid))
            services.add_service(service)
            await found.discover_characteristics()
            for each in found.characteristics:
                await each.discover_descriptors()
                services.add_characteristic(
                    BleakGATTCharacteristic(
                        each,
                        each.handle,
                        long_form(each.uuid),
                        list(gatt_char_props_to_strs(each.properties)),
                        lambda: connection.att_mtu - 3,
                        service,
                    )
                )
        self.services = services

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **options: Any
    ) -> None:
        proxy: CharacteristicProxy[bytes] = characteristic.obj

        def notified(value: bytes) -> None:
            if self.adapter.service == "runs":
                callback(bytearray(value))

        await self._while_connected(proxy.subscribe(notified))

    async def stop_notify(self, characteristic: BleakGATTCharacteristic) -> None:
        await self._while_connected(characteristic.obj.unsubscribe())

    async def pair(self, *arguments: Any, **options: Any) -> None:
        raise BleakError("this backend does not pair")

    async def unpair(self) -> None:
        raise BleakError("this backend does not pair")

    async def read_gatt_char(
        self, characteristic: BleakGATTCharacteristic, *, use_cached: bool = False, **options: Any
    ) -> bytearray:
        raise BleakError("this backend only listens")

    async def read_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, *, use_cached: bool = False, **options: Any
    ) -> bytearray:
        raise BleakError("this backend only listens")

    async def write_gatt_char(
        self, characteristic: BleakGATTCharacteristic, data: SizedBuffer, response: bool
    ) -> None:
        raise BleakError("this backend only listens")

    async def write_gatt_descriptor(
        self, descriptor: BleakGATTDescriptor, data: SizedBuffer
    ) -> None:
        raise BleakError("this backend only listens")
