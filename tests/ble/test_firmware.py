"""The example firmware's notifications, over the air and through the source."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from groundstation.inbound import BytesReceived, LinkState
from protocol import FramesMissed, SampleReceived
from tests.ble.clocks import HandClock
from tests.ble.trackside import Trackside, decode
from tests.groundstation.sources.links import Log, run
from tests.protocol.ble_example import Radio, build, drive

pytestmark = pytest.mark.skipif(shutil.which("gcc") is None, reason="needs gcc")

DRIVE_MS = 5000


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return build(tmp_path_factory.mktemp("firmware"))


@pytest.mark.parametrize("mtu", [23, 247])
def test_what_the_firmware_sends_arrives_over_every_link(program: Path, mtu: int) -> None:
    async def work() -> None:
        links = drive(program, Radio(mtu, notifications=2, breaks_ms=1001), DRIVE_MS)
        assert len(links) == 5
        trackside = Trackside(mtu=mtu)
        await trackside.car.switch_on()
        async with trackside.source(clock=HandClock()) as source:
            log = Log(source.events())
            for notifications in links:
                await log.until_state(LinkState.CONNECTED)
                for notification in notifications:
                    await trackside.car.send(notification)
                await log.until_bytes(sum(map(len, notifications)))
                trackside.car.drop_out()
        received = [event.data for event in log.seen if isinstance(event, BytesReceived)]
        assert received == [each for notifications in links for each in notifications]
        frames = decode(log.seen)
        assert {type(frame) for frame in frames} == {SampleReceived, FramesMissed}
        (name,) = {
            frame.values["vehicle_name"]
            for frame in frames
            if isinstance(frame, SampleReceived) and frame.kind.name == "ident"
        }
        assert name == "Example car"
        await trackside.car.switch_off()

    run(work())
