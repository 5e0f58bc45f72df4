from __future__ import annotations

import asyncio
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from groundstation.sources.ble_listing import BleListing, FoundPeripheral, list_ble
from groundstation.sources.ble_names import long_uuid
from tests.ble.clocks import HandClock
from tests.ble.peripheral import VirtualCar
from tests.ble.trackside import Trackside
from tests.groundstation.sources.links import run, until

A, B, C = (f"C0:00:00:00:00:0{number}" for number in (1, 2, 3))


def test_what_is_heard_with_its_strength_and_whether_it_sends_as_cars_do() -> None:
    async def work() -> None:
        clock, trackside = HandClock(), Trackside()
        service, notify = long_uuid("FFE0"), long_uuid("FFE1")
        assert service is not None
        assert notify is not None
        others = [
            VirtualCar(trackside.air, name="\x1b[2J", address=B, rssi_dbm=-42),
            VirtualCar(
                trackside.air,
                name="speaker",
                address=C,
                service=service,
                notify=notify,
                rssi_dbm=-30,
            ),
        ]
        for each in (trackside.car, *others):
            await each.switch_on()
        listing = asyncio.create_task(list_ble(3.0, clock=clock, backend=trackside.backend))
        await until(lambda: clock.is_awaited_in(3.0))
        await until(lambda: len(trackside.computer.heard) == 3)
        clock.move(3.0)
        assert await listing == BleListing(
            (
                FoundPeripheral("\ufffd[2J", B, -42.0, has_uart_service=True),
                FoundPeripheral("CAR-1", A, -60.0, has_uart_service=True),
                FoundPeripheral("speaker", C, -30.0, has_uart_service=False),
            )
        )
        for each in (trackside.car, *others):
            await each.switch_off()

    run(work())


def test_nothing_heard_is_no_trouble() -> None:
    async def work() -> None:
        hand, trackside = HandClock(), Trackside()
        listing = asyncio.create_task(list_ble(3.0, clock=hand, backend=trackside.backend))
        await until(lambda: hand.is_awaited_in(3.0))
        hand.move(3.0)
        assert await listing == BleListing()

    run(work())


def test_an_adapter_that_is_switched_off() -> None:
    async def work() -> None:
        trackside = Trackside()
        trackside.computer.is_on = False
        listing = await list_ble(3.0, clock=HandClock(), backend=trackside.backend)
        assert listing.peripherals == ()
        assert listing.trouble.startswith("Bluetooth is switched off. Switch it on")

    run(work())


@pytest.fixture
def bus_without_bluetooth(tmp_path: Path) -> Iterator[str]:
    """Give the address of a D-Bus daemon of our own, on which nobody offers Bluetooth."""
    if sys.platform != "linux" or shutil.which("dbus-daemon") is None:
        pytest.skip("needs dbus-daemon")
    configuration = tmp_path / "bus.conf"
    configuration.write_text(
        "<busconfig><type>system</type>"
        f"<listen>unix:path={tmp_path}/bus</listen>"
        '<policy context="default">'
        '<allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/>'
        "</policy></busconfig>"
    )
    command = ["dbus-daemon", f"--config-file={configuration}", "--nofork", "--print-address"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as daemon:
        try:
            assert daemon.stdout is not None
            yield daemon.stdout.readline().strip()
        finally:
            daemon.terminate()


@pytest.mark.skipif(sys.platform != "linux", reason="D-Bus is Linux's")
class TestTheSystemsOwnBluetooth:
    """What the real library says where a part of the system is missing."""

    def listing(self, monkeypatch: pytest.MonkeyPatch, bus: str) -> BleListing:
        monkeypatch.setenv("DBUS_SYSTEM_BUS_ADDRESS", bus)
        return run(list_ble(0.0, clock=HandClock()))

    def test_no_bus(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
        assert self.listing(monkeypatch, f"unix:path={tmp_path}/nothing").trouble.startswith(
            "The Bluetooth service cannot be reached: the system D-Bus does not run. Start both"
        )

    def test_a_bus_that_is_dead(self, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
        import socket

        with socket.socket(socket.AF_UNIX) as dead:
            dead.bind(os.fspath(tmp_path / "bus"))
        assert self.listing(monkeypatch, f"unix:path={tmp_path}/bus").trouble.startswith(
            "The Bluetooth service cannot be reached: the system D-Bus does not run. Start both"
        )

    def test_no_bluetooth_service(
        self, monkeypatch: pytest.MonkeyPatch, bus_without_bluetooth: str
    ) -> None:
        assert self.listing(monkeypatch, bus_without_bluetooth).trouble.startswith(
            "The Bluetooth service does not run. Start it: sudo systemctl start bluetooth."
        )
