"""A car over Bluetooth LE, through bleak and two whole Bluetooth stacks in this process."""

from __future__ import annotations

import asyncio
import random
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
from bleak.backends.characteristic import BleakGATTCharacteristic
from bleak.backends.client import NotifyCallback
from bleak.exc import BleakGATTProtocolError
from bumble.gatt import Characteristic

from groundstation.clock import Clock
from groundstation.inbound import BytesReceived, LinkState, TelemetrySignal
from groundstation.sources.address import BleAddress
from groundstation.sources.base import open_source
from groundstation.sources.ble import BleSource
from groundstation.sources.ble_choice import GATHER_S, SCAN_S
from groundstation.sources.ble_link import (
    CONNECT_S,
    DISCONNECT_S,
    FIRST_BYTES_S,
    MEND_S,
    SILENCE_S,
    SUBSCRIBE_S,
)
from groundstation.sources.ble_names import long_uuid
from groundstation.sources.ble_scan import SCANNER_S, Backend
from protocol import FrameRejected, FramesMissed, RejectReason, SampleReceived
from tests.ble.bumble_backend import VirtualClient
from tests.ble.clocks import HandClock, NoHurry
from tests.ble.peripheral import VirtualCar
from tests.ble.trackside import Trackside, decode
from tests.groundstation.sources.links import Log, run, states, until

NOTICED_WITHIN_S = 2.0


@pytest.fixture
def hand() -> HandClock:
    return HandClock()


@asynccontextmanager
async def listening(source: BleSource) -> AsyncIterator[Log]:
    """Give the log of a source that listens, and close it afterwards."""
    async with source:
        yield Log(source.events())


@asynccontextmanager
async def connected(trackside: Trackside, clock: Clock) -> AsyncIterator[Log]:
    """Give the log of a source that is connected to the car."""
    await trackside.car.switch_on()
    async with listening(trackside.source(clock=clock)) as log:
        await log.until_state(LinkState.CONNECTED)
        yield log
    await trackside.car.switch_off()


async def send_and_hear(trackside: Trackside, log: Log, count: int = 3) -> None:
    """Have the car send so many frames, and read until they are here."""
    frames = [trackside.frame() for _ in range(count)]
    for frame in frames:
        await trackside.car.send(frame)
    assert await log.until_bytes(sum(map(len, frames))) == b"".join(frames)


async def let_pass(clock: HandClock, seconds: float) -> None:
    """Move the clock when somebody waits for just so long."""
    await until(lambda: clock.is_awaited_in(seconds))
    clock.move(seconds)


def retrying(log: Log) -> list[str]:
    return [change.detail for change in log.changes if change.state is LinkState.RETRYING]


class TestConnecting:
    def test_a_car_called_by_its_name(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            await trackside.car.switch_on()
            async with listening(trackside.source(BleAddress("car-1"), clock=hand)) as log:
                await let_pass(hand, GATHER_S)
                told = await log.until_state(LinkState.CONNECTED)
                assert told.detail == "connected to car-1 at C0:00:00:00:00:01"
                await send_and_hear(trackside, log)
            await trackside.car.switch_off()

        run(work())

    def test_a_car_called_by_its_address_is_taken_at_once(self, hand: HandClock) -> None:
        async def work() -> None:
            async with connected(Trackside(), hand) as log:
                assert log.changes[0].detail == "connected to C0:00:00:00:00:01"
                assert log.changes[0].at_s == hand.now_s()  # the clock was not moved

        run(work())

    def test_the_strength_of_the_advertisement_is_told(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            trackside.air.rssi_dbm[trackside.car.address] = -71
            async with connected(trackside, hand) as log:
                assert log.seen[0] == TelemetrySignal(hand.now_s(), -71.0)

        run(work())

    def test_a_strength_that_is_not_known_is_not_told(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            trackside.air.rssi_dbm[trackside.car.address] = -127  # bleak's word for it
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                # It may be only remembered: what is really heard would come first.
                await until(lambda: bool(trackside.computer.heard))
                await let_pass(hand, SCAN_S)
                await log.until_state(LinkState.CONNECTED)
            assert [type(event) for event in log.seen] == [type(log.changes[0])]
            await trackside.car.switch_off()

        run(work())

    def test_a_car_that_is_not_there_is_told_once_and_found_when_it_comes(
        self, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with listening(trackside.source(BleAddress("CAR-1"), clock=hand)) as log:
                for _ in range(3):
                    await let_pass(hand, SCAN_S)
                told = await log.until_state(LinkState.RETRYING)
                assert told.detail.startswith("No car named CAR-1 is heard. Switch it on")
                await trackside.car.switch_on()
                await let_pass(hand, GATHER_S)
                await log.until_state(LinkState.CONNECTED)
                assert len(retrying(log)) == 1
                await send_and_hear(trackside, log)
            await trackside.car.switch_off()

        run(work())

    def test_a_car_that_vanishes_between_scan_and_connection(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            trackside.computer.before_connecting = trackside.car.switch_off
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                await until(lambda: trackside.computer.is_connecting)
                await let_pass(hand, CONNECT_S)
                told = await log.until_state(LinkState.RETRYING)
                assert told.detail.startswith(
                    "C0:00:00:00:00:01 was heard but does not answer. Bring it nearer"
                )
                trackside.computer.before_connecting = None
                await trackside.car.switch_on()
                await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)
            await trackside.car.switch_off()

        run(work())

    @pytest.mark.parametrize("seed", range(6))
    def test_a_car_that_is_lost_at_any_moment_of_connecting(self, seed: int) -> None:
        """Sixty drops in all, before, in and after the discovery of the services."""

        async def work() -> None:
            chance = random.Random(seed)
            trackside = Trackside(mtu=23)
            car = trackside.car
            drops: set[asyncio.Task[None]] = set()
            moments: list[int] = []

            async def drop(turns: int, with_a_word: bool) -> None:
                for _ in range(turns):
                    await asyncio.sleep(0)
                if with_a_word and car.is_connected:
                    await car.hang_up()
                else:
                    car.drop_out()

            def drop_soon() -> None:
                if len(moments) < 10:
                    moments.append(chance.randrange(130))  # discovery takes 120 turns
                    drops.add(asyncio.create_task(drop(moments[-1], chance.random() < 0.5)))

            car.on_connected = drop_soon
            await car.switch_on()
            async with listening(trackside.source(clock=NoHurry(HandClock()))) as log:
                await until(lambda: car.connections == 11)
                await asyncio.gather(*drops)
                await car.listened_to.wait()
                frames = [trackside.frame() for _ in range(5)]
                for frame in frames:
                    await car.send(frame)
                assert await log.until_bytes(5 * len(frames[0])) == b"".join(frames)
            assert all(isinstance(frame, SampleReceived) for frame in decode(log.seen))
            told = [change.state for change in log.changes if change.state != LinkState.RETRYING]
            pairs = [LinkState.CONNECTED, LinkState.LOST] * len(told)
            assert told == pairs[: len(told)]
            assert told[-1] is LinkState.CONNECTED
            assert told.count(LinkState.CONNECTED) < 6  # most were lost before
            await car.switch_off()

        run(work())


class TestSeveralCarsWithOneName:
    def test_the_strongest_is_taken_and_the_others_are_named(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            near = VirtualCar(trackside.air, address="C0:00:00:00:00:02", rssi_dbm=-48)
            await trackside.car.switch_on()
            await near.switch_on()
            async with listening(trackside.source(BleAddress("CAR-1"), clock=hand)) as log:
                await until(lambda: len(trackside.computer.heard) == 2)
                await let_pass(hand, GATHER_S)
                told = await log.until_state(LinkState.CONNECTED)
                assert told.detail == (
                    "connected to CAR-1 at C0:00:00:00:00:02 (-48 dBm), the strongest of 2 cars of "
                    "that name; not to C0:00:00:00:00:01 (-60 dBm): to choose, write for example "
                    "ble:C0:00:00:00:00:01"
                )
            await trackside.car.switch_off()
            await near.switch_off()

        run(work())

    def test_a_session_goes_on_with_the_car_that_it_began_with(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            other = VirtualCar(trackside.air, address="C0:00:00:00:00:02", rssi_dbm=-70)
            await trackside.car.switch_on()
            await other.switch_on()
            async with listening(trackside.source(BleAddress("CAR-1"), clock=hand)) as log:
                await until(lambda: len(trackside.computer.heard) == 2)
                await let_pass(hand, GATHER_S)
                await log.until_state(LinkState.CONNECTED)
                await trackside.car.switch_off()
                await log.until_state(LinkState.LOST)
                await until(lambda: trackside.computer.heard == {other.address})
                trackside.air.rssi_dbm[other.address] = -30  # it is carried past the computer
                await let_pass(hand, SCAN_S)
                await log.until(lambda log: len(retrying(log)) == 2)
                assert retrying(log)[-1].startswith("No car named CAR-1 is heard")
                await trackside.car.switch_on()
                told = await log.until_state(LinkState.CONNECTED)
                assert told.detail == "connected to CAR-1 at C0:00:00:00:00:01"
                assert other.connections == 0
            await trackside.car.switch_off()
            await other.switch_off()

        run(work())

    def test_a_car_that_comes_back_with_another_address(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            reborn = VirtualCar(trackside.air, address="C0:00:00:00:00:03")
            await trackside.car.switch_on()
            async with listening(trackside.source(BleAddress("CAR-1"), clock=hand)) as log:
                await let_pass(hand, GATHER_S)
                await log.until_state(LinkState.CONNECTED)
                await trackside.car.switch_off()
                await reborn.switch_on()
                await until(lambda: trackside.computer.heard == {reborn.address})
                await let_pass(hand, SCAN_S)
                told = await log.until_state(LinkState.CONNECTED)
                assert told.detail == (
                    "connected to CAR-1 at C0:00:00:00:00:03, which was at C0:00:00:00:00:01"
                )
            await reborn.switch_off()

        run(work())


class TestStreaming:
    @pytest.mark.parametrize("mtu", [23, 247])
    @pytest.mark.parametrize("rate_hz", [50, 200])
    def test_every_frame_comes_in_order_and_is_stamped_when_it_came(
        self, mtu: int, rate_hz: int, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside(mtu=mtu)
            count = 3 * rate_hz
            async with connected(trackside, hand) as log:
                due_s = []
                for _ in range(count):
                    hand.move(1 / rate_hz)
                    due_s.append(hand.now_s())
                    await send_and_hear(trackside, log, 1)
                frames = decode(log.seen)
            samples = [frame for frame in frames if isinstance(frame, SampleReceived)]
            assert samples == frames
            assert [sample.sequence for sample in samples] == list(range(count))
            assert [frame.at_s for frame in frames] == due_s
            sizes = {len(event.data) for event in log.seen if isinstance(event, BytesReceived)}
            assert max(sizes) == min(mtu - 3, len(trackside.frame()))

        run(work())

    def test_frames_of_which_several_share_a_notification(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside(mtu=247)
            async with connected(trackside, hand) as log:
                stream = b"".join(trackside.frame() for _ in range(300))
                await trackside.car.send(stream)
                assert await log.until_bytes(len(stream)) == stream
            assert len(decode(log.seen)) == 300
            assert max(len(e.data) for e in log.seen if isinstance(e, BytesReceived)) == 244

        run(work())


class TestLosing:
    @pytest.mark.parametrize("without_a_word", [False, True])
    def test_every_frame_is_good_after_a_loss_in_the_middle_of_one(
        self, without_a_word: bool, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside(mtu=23)
            car = trackside.car
            async with connected(trackside, hand) as log:
                for _ in range(5):
                    await send_and_hear(trackside, log)
                    await car.send(trackside.frame()[:20])  # the rest never comes
                    await log.until_bytes(20)
                    if without_a_word:
                        car.drop_out()
                    else:
                        await car.hang_up()
                    lost = await log.until_state(LinkState.LOST)
                    assert lost.detail.startswith("C0:00:00:00:00:01 is gone: out of range, or")
                    assert (await log.until_state(LinkState.RETRYING)).detail == (
                        "Listening for C0:00:00:00:00:01 again"
                    )
                    await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)
            frames = decode(log.seen)
            assert not [frame for frame in frames if isinstance(frame, FrameRejected)]
            missed = [frame.count for frame in frames if isinstance(frame, FramesMissed)]
            assert missed == [1] * 5
            assert sum(isinstance(frame, SampleReceived) for frame in frames) == 6 * 3

        run(work())

    def test_a_scan_goes_before_every_connection(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                for scans in (1, 2, 3):
                    assert trackside.computer.scans == scans
                    trackside.car.drop_out()
                    await log.until_state(LinkState.CONNECTED)

        run(work())

    def test_a_car_that_sends_nothing_is_tried_ever_less_often(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand, backoff_s=(0.25, 0.75))) as log:
                for waits_s, sends in [
                    (0.25, 0),
                    (0.5, 0),
                    (0.75, 0),
                    (0.75, 0),
                    (0.25, 1),
                    (0.5, 0),
                ]:
                    await log.until_state(LinkState.CONNECTED)
                    await send_and_hear(trackside, log, sends)
                    trackside.car.drop_out()
                    await log.until_state(LinkState.LOST)
                    await let_pass(hand, waits_s)
            await trackside.car.switch_off()

        run(work())

    def test_closing_hangs_up(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand):
                assert trackside.car.is_connected
            await until(lambda: not trackside.car.is_connected)

        run(work())


class TestSilence:
    def test_a_service_that_is_killed_is_noticed_and_gone_on_with_when_it_is_back(
        self, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                await send_and_hear(trackside, log)
                last_s = log.seen[-1].at_s
                trackside.computer.service = "killed"
                await trackside.car.send(trackside.frame())  # heard by nobody
                await let_pass(hand, SILENCE_S)
                lost = await log.until_state(LinkState.LOST)
                assert lost.at_s - last_s <= NOTICED_WITHIN_S
                assert lost.detail.startswith(
                    "C0:00:00:00:00:01 has sent nothing for 1.5 s, although Bluetooth calls it"
                )
                await log.until(lambda log: len(retrying(log)) == 2)
                assert retrying(log)[-1].startswith(
                    "The Bluetooth service does not run. Start it: "
                )
                await trackside.computer.restart_service()
                await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)
            assert not [frame for frame in decode(log.seen) if isinstance(frame, FrameRejected)]

        run(work())

    def test_a_service_that_is_stuck_holds_up_nothing(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                await send_and_hear(trackside, log)
                last_s = log.seen[-1].at_s
                trackside.computer.service = "stuck"
                await let_pass(hand, SILENCE_S)
                lost = await log.until_state(LinkState.LOST)
                assert lost.at_s - last_s <= NOTICED_WITHIN_S
                await let_pass(hand, DISCONNECT_S)
                await let_pass(hand, SCANNER_S)
                await log.until(lambda log: len(retrying(log)) == 2)
                assert retrying(log)[-1].startswith(
                    "The Bluetooth of this computer does not answer. Switch Bluetooth off and on"
                )
                await trackside.computer.restart_service()
                await let_pass(hand, SCANNER_S)  # the scan that was asked of the old service
                await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)

        run(work())

    def test_a_car_that_sends_is_never_called_silent(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                for _ in range(40):
                    await send_and_hear(trackside, log, 1)
                    for _ in range(3):
                        hand.move(0.45)
                        for _ in range(20):
                            await asyncio.sleep(0)
                assert states(log.seen) == [LinkState.CONNECTED]

        run(work())

    def test_a_car_that_has_not_sent_yet_gets_longer(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                began_s = hand.now_s()
                for _ in range(3):
                    await let_pass(hand, SILENCE_S)
                await let_pass(hand, FIRST_BYTES_S - 3 * SILENCE_S)
                lost = await log.until_state(LinkState.LOST)
                assert lost.at_s - began_s == pytest.approx(FIRST_BYTES_S)
                assert "is connected but has sent nothing in 5 s" in lost.detail
                await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)

        run(work())

    def test_a_car_that_begins_late_and_falls_silent_again(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            async with connected(trackside, hand) as log:
                await let_pass(hand, SILENCE_S)
                await until(lambda: hand.is_awaited_in(SILENCE_S))
                hand.move(0.2)
                await send_and_hear(trackside, log)
                last_s = log.seen[-1].at_s
                await let_pass(hand, SILENCE_S - 0.2)
                await let_pass(hand, 0.2)
                lost = await log.until_state(LinkState.LOST)
                assert lost.at_s - last_s == pytest.approx(SILENCE_S)

        run(work())


class TestWrongService:
    def test_the_service_that_the_car_has_is_told_and_works(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            service, notify = long_uuid("FFE0"), long_uuid("FFE1")
            assert service is not None
            assert notify is not None
            car = trackside.car = VirtualCar(
                trackside.air, address="C0:00:00:00:00:04", service=service, notify=notify
            )
            await car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                told = (await log.until_state(LinkState.RETRYING)).detail
                assert told.startswith(
                    f"{car.address} has no service 6e400001-b5a3-f393-e0a9-e50e24dcca9e. Give what"
                )
            hint = told.removesuffix(".").rpartition(" ")[2]
            assert hint == f"ble:{car.address}?service={service}&notify={notify}"
            assert type(open_source(hint, clock=hand)) is BleSource
            for address in (hint, f"ble:{car.address}?service=FFE0&notify=FFE1"):
                opened = open_source(address, clock=hand)
                assert isinstance(opened, BleSource)
                right = trackside.source(opened.address, clock=hand)
                async with listening(right) as log:
                    await log.until_state(LinkState.CONNECTED)
                    await send_and_hear(trackside, log)
            await car.switch_off()

        run(work())

    @pytest.mark.parametrize(
        ("notify", "properties"),
        [
            (long_uuid("FFE1"), Characteristic.Properties.NOTIFY),
            ("6e400003-b5a3-f393-e0a9-e50e24dcca9e", Characteristic.Properties.READ),
        ],
    )
    def test_a_characteristic_that_is_missing_or_does_not_notify(
        self, notify: str, properties: Characteristic.Properties, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside()
            car = VirtualCar(
                trackside.air, address="C0:00:00:00:00:05", notify=notify, properties=properties
            )
            await car.switch_on()
            source = trackside.source(BleAddress(car.address), clock=hand)
            async with listening(source) as log:
                told = (await log.until_state(LinkState.RETRYING)).detail
                assert told.startswith(
                    f"{car.address} has no characteristic 6e400003-b5a3-f393-e0a9-e50e24dcca9e "
                    "that notifies in service 6e400001-b5a3-f393-e0a9-e50e24dcca9e. "
                )
                assert f"ble:{car.address}?service=" in told
                assert states(log.seen) == [LinkState.RETRYING]
            await car.switch_off()

        run(work())

    def test_a_service_that_every_device_may_have_is_not_offered(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            battery, level = long_uuid("180F"), long_uuid("2A19")
            assert battery is not None
            assert level is not None
            car = VirtualCar(
                trackside.air, address="C0:00:00:00:00:06", service=battery, notify=level
            )
            await car.switch_on()
            source = trackside.source(BleAddress(car.address), clock=hand)
            async with listening(source) as log:
                told = (await log.until_state(LinkState.RETRYING)).detail
                assert told.endswith(f"give ble:{car.address}?service=UUID&notify=UUID.")
            await car.switch_off()

        run(work())


class TestAdapter:
    def test_one_that_is_switched_off_and_on(self, hand: HandClock) -> None:
        async def work() -> None:
            trackside = Trackside()
            trackside.computer.is_on = False
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                told = await log.until_state(LinkState.RETRYING)
                assert told.detail.startswith("Bluetooth is switched off. Switch it on")
                trackside.computer.is_on = True
                await log.until_state(LinkState.CONNECTED)
                await send_and_hear(trackside, log)
            await trackside.car.switch_off()

        run(work())


class StubbornClient(VirtualClient):
    """A library that does not notice in time what happens to a connection."""

    async def connect(self, pair: bool, **options: object) -> None:
        await super().connect(pair, **options)
        self.adapter.air.tear("C0:00:00:00:00:01")
        await asyncio.Event().wait()


class SubscribingForEver(VirtualClient):
    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **options: object
    ) -> None:
        await asyncio.Event().wait()


class DroppedWhileSubscribing(SubscribingForEver):
    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **options: object
    ) -> None:
        self.adapter.air.tear("C0:00:00:00:00:01")
        await super().start_notify(characteristic, callback, **options)


class Unpaired(VirtualClient):
    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **options: object
    ) -> None:
        raise BleakGATTProtocolError(0x05)


class NotifyingEarly(VirtualClient):
    """A system that notifies before it has said that it will."""

    async def start_notify(
        self, characteristic: BleakGATTCharacteristic, callback: NotifyCallback, **options: object
    ) -> None:
        await super().start_notify(characteristic, callback, **options)
        callback(bytearray(b"early"))
        await asyncio.sleep(0)
        self.adapter.air.tear("C0:00:00:00:00:01")
        await asyncio.Event().wait()


class TestProceduresThatDoNotEnd:
    """What the library is waited for is bounded in time, and ends with the connection."""

    @pytest.mark.parametrize(
        ("client", "waits_s", "sentence"),
        [
            (StubbornClient, MEND_S, "hung up while it was being connected to"),
            (SubscribingForEver, SUBSCRIBE_S, "is connected but does not answer"),
            (DroppedWhileSubscribing, 0.0, "is gone: out of range, or switched off"),
            (Unpaired, 0.0, "sends only to computers that it is paired with"),
        ],
    )
    def test_each_is_given_up_and_told(
        self, client: type[VirtualClient], waits_s: float, sentence: str, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside()

            class Client(client):  # type: ignore[misc, valid-type]
                adapter = trackside.computer

            good, trackside.backend = (
                trackside.backend,
                Backend(scanner=trackside.backend.scanner, client=Client),
            )
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                if waits_s:
                    await let_pass(hand, waits_s)
                told = await log.until_state(LinkState.RETRYING)
                assert told.detail.startswith(f"C0:00:00:00:00:01 {sentence}. ")
                assert states(log.seen) == [LinkState.RETRYING]
            trackside.backend = good
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                await log.until_state(LinkState.CONNECTED)
            await trackside.car.switch_off()

        run(work())

    def test_bytes_that_come_while_it_subscribes_come_after_connected(
        self, hand: HandClock
    ) -> None:
        async def work() -> None:
            trackside = Trackside()

            class Client(NotifyingEarly):
                adapter = trackside.computer

            trackside.backend = Backend(scanner=trackside.backend.scanner, client=Client)
            await trackside.car.switch_on()
            async with listening(trackside.source(clock=hand)) as log:
                await log.until_state(LinkState.RETRYING)
            told = [event.state for event in log.changes]
            assert told == [LinkState.CONNECTED, LinkState.LOST, LinkState.RETRYING]
            assert log.received == b"early"
            assert isinstance(log.seen[2], BytesReceived)
            await trackside.car.switch_off()

        run(work())


def test_a_link_joined_midway_is_no_error(hand: HandClock) -> None:
    async def work() -> None:
        trackside = Trackside()
        async with connected(trackside, hand) as log:
            await trackside.car.send(trackside.frame()[10:])
            await send_and_hear_after_tail(trackside, log)
        rejected = [frame for frame in decode(log.seen) if isinstance(frame, FrameRejected)]
        assert [frame.reason for frame in rejected] == [RejectReason.JOINED_MIDWAY]

    run(work())


async def send_and_hear_after_tail(trackside: Trackside, log: Log) -> None:
    frame = trackside.frame()
    await trackside.car.send(frame)
    await log.until(lambda log: log.received.endswith(frame))
