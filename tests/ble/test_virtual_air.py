"""The virtual devices behave as real ones do where the tests of the source rely on it."""

from __future__ import annotations

import asyncio
from typing import Any

import pytest
from bleak import BleakClient, BleakScanner
from bleak.exc import BleakBluetoothNotAvailableError, BleakDBusError, BleakError

from groundstation.sources.ble_names import UART_NOTIFY, UART_SERVICE
from tests.ble.trackside import Trackside
from tests.groundstation.sources.links import run, until


async def found(trackside: Trackside) -> Any:
    """Return the car as bleak finds it."""
    scanner = trackside.backend.scanner
    assert scanner is not None
    device = await BleakScanner.find_device_by_name("CAR-1", backend=scanner)
    assert device is not None
    return device


def client(trackside: Trackside, device: Any, gone: asyncio.Event) -> BleakClient:
    return BleakClient(device, lambda _: gone.set(), backend=trackside.backend.client)


@pytest.mark.parametrize("mtu", [23, 100, 247, 517])
def test_the_smaller_mtu_of_both_ends_is_used(mtu: int) -> None:
    async def work() -> None:
        trackside, notified = Trackside(mtu=mtu), list[bytes]()
        await trackside.car.switch_on()
        async with client(trackside, await found(trackside), asyncio.Event()) as connected:
            assert connected.mtu_size == mtu
            service = connected.services.get_service(UART_SERVICE)
            assert service is not None
            (characteristic,) = service.characteristics
            assert characteristic.uuid == UART_NOTIFY
            assert characteristic.properties == ["notify"]
            assert characteristic.max_write_without_response_size == mtu - 3
            await connected.start_notify(
                characteristic, lambda _, data: notified.append(bytes(data))
            )
            await trackside.car.send(bytes(1000))
            await until(lambda: sum(map(len, notified)) == 1000)
            assert {len(each) for each in notified[:-1]} == {mtu - 3}
        await trackside.car.switch_off()

    run(work())


@pytest.mark.parametrize("without_a_word", [False, True])
def test_a_loss_is_told_and_the_car_is_to_be_found_again(without_a_word: bool) -> None:
    async def work() -> None:
        trackside, gone = Trackside(), asyncio.Event()
        await trackside.car.switch_on()
        for _ in range(2):
            connected = client(trackside, await found(trackside), gone)
            await connected.connect()
            if without_a_word:
                trackside.car.drop_out()
            else:
                await trackside.car.hang_up()
            await gone.wait()
            assert not connected.is_connected
            with pytest.raises(BleakError, match="Not connected"):
                await connected.start_notify(UART_NOTIFY, lambda *_: None)
            gone.clear()
        await trackside.car.switch_off()

    run(work())


def test_a_loss_in_the_middle_of_discovery_does_not_hang() -> None:
    async def work() -> None:
        trackside, gone = Trackside(), asyncio.Event()
        await trackside.car.switch_on()
        device = await found(trackside)
        trackside.car.on_connected = lambda: asyncio.get_running_loop().call_soon(
            trackside.car.drop_out
        )
        with pytest.raises(BleakError, match=r"disconnected|not connected"):
            await client(trackside, device, gone).connect()
        await trackside.car.switch_off()

    run(work())


def test_a_service_that_was_killed_says_nothing_until_it_is_asked() -> None:
    async def work() -> None:
        trackside, gone, notified = Trackside(), asyncio.Event(), list[bytes]()
        await trackside.car.switch_on()
        device = await found(trackside)
        connected = client(trackside, device, gone)
        await connected.connect()
        await connected.start_notify(UART_NOTIFY, lambda _, data: notified.append(bytes(data)))
        trackside.computer.service = "killed"
        await trackside.car.send(b"unheard")
        trackside.car.drop_out()
        for _ in range(100):
            await asyncio.sleep(0)
        assert notified == []
        assert connected.is_connected
        assert not gone.is_set()
        with pytest.raises(BleakDBusError):
            await connected.disconnect()
        await trackside.car.switch_off()

    run(work())


def test_an_adapter_that_is_switched_off() -> None:
    async def work() -> None:
        trackside = Trackside()
        trackside.computer.is_on = False
        with pytest.raises(BleakBluetoothNotAvailableError):
            await found(trackside)

    run(work())
