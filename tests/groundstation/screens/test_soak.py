"""A cable that is pulled two hundred times while the live screen is drawn."""

from __future__ import annotations

from pathlib import Path

import pytest

from groundstation.clock import MonotonicClock
from groundstation.inbound import LinkState
from groundstation.screens.app import LiveApp
from groundstation.sources.address import SerialAddress
from groundstation.sources.serial_port import SerialSource
from groundstation.station import Station
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.telemetry import Telemetry
from protocol import Sender, standard_table
from tests.groundstation.sources.links import PluggablePort, run, until

PULLS = 200
FRAMES_A_PLUG = 5
PATIENCE_S = 170.0
"""It takes a few seconds, but many more on a busy machine under a tracer."""


@pytest.mark.timeout(180)
def test_two_hundred_pulls_under_the_screen_lose_no_frame_sent_while_connected(
    tmp_path: Path,
) -> None:
    sender, port = Sender(), PluggablePort(tmp_path / "port")
    source = SerialSource(SerialAddress(port.device), clock=MonotonicClock(), backoff_s=(0, 0))
    station = Station(
        source,
        clock=MonotonicClock(),
        telemetry=Telemetry(),
        keeper=StateKeeper(VehicleProfile(), standard_table(), software_version="test"),
        start_recorder=None,
    )
    app = LiveApp(station, on_start=station.run)
    state = station.telemetry.state

    async def work() -> None:
        async with app.run_test(size=(120, 40)) as pilot:
            for number in range(1, PULLS + 1):
                port.plug()
                await until(lambda: state.source.state is LinkState.CONNECTED)
                for _ in range(FRAMES_A_PLUG):
                    values = {"speed_mps": float(number % 60)}
                    port.write(sender.encode("motion", values, sender.sequence * 10_000))
                await until(lambda n=number: state.loss.frames == FRAMES_A_PLUG * n)
                port.pull()
                await until(lambda: state.source.state is not LinkState.CONNECTED)
                if number % 20 == 0:
                    await pilot.pause()
            assert app.is_running

    run(work(), patience_s=PATIENCE_S)
    assert (state.loss.frames, state.loss.lost) == (PULLS * FRAMES_A_PLUG, 0)
    assert state.source.rejected == 0
