"""What every source promises, checked on every source that can run here."""

from __future__ import annotations

import asyncio
import os
import socket
import threading
from abc import ABC, abstractmethod
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from groundstation.inbound import BytesReceived, LinkState
from groundstation.sources.address import (
    BleAddress,
    SerialAddress,
    SimulatedAddress,
    TcpAddress,
    UdpAddress,
)
from groundstation.sources.ble import BleSource
from groundstation.sources.live import LiveSource
from groundstation.sources.memory import MemorySource
from groundstation.sources.network import TcpSource, UdpSource
from groundstation.sources.serial_port import SerialSource
from groundstation.sources.simulated import SimulatedSource
from tests.ble.air import Air
from tests.ble.bumble_backend import Computer, virtual_bluetooth
from tests.ble.clocks import NoHurry
from tests.ble.peripheral import VirtualCar
from tests.groundstation.sources.conftest import open_descriptors
from tests.groundstation.sources.links import (
    Log,
    PluggablePort,
    SteppingClock,
    free_port,
    run,
    states,
    until,
)

CHUNKS = [bytes(range(256)), b"\x00\x00", b"\n\r\n\x11\x13\x04\x03", b"\xff" * 300, b"\x00"]
SENT = b"".join(CHUNKS)


class Rig(ABC):
    """A source and the other end of its link."""

    source: LiveSource | MemorySource

    @abstractmethod
    async def set_up(self) -> None:
        """Make the other end ready to be connected to."""

    @abstractmethod
    async def send(self, chunks: list[bytes]) -> None: ...

    @abstractmethod
    async def cut(self) -> None:
        """Take the other end away."""


class MemoryRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        self.source = self.memory = MemorySource(clock=clock)

    async def set_up(self) -> None:
        self.memory.connect()

    async def send(self, chunks: list[bytes]) -> None:
        for chunk in chunks:
            self.memory.receive(chunk)

    async def cut(self) -> None:
        self.memory.lose()


@dataclass
class Sent:
    at_s: float
    data: bytes


class SimulatedRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        emissions = [Sent(0.01 * number, chunk) for number, chunk in enumerate(CHUNKS)]
        self.source = SimulatedSource(SimulatedAddress("any"), clock=clock, emissions=emissions)

    async def set_up(self) -> None:
        pass

    async def send(self, chunks: list[bytes]) -> None:
        assert chunks == CHUNKS  # it drives by itself

    async def cut(self) -> None:
        pass


class SerialRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        self.port = PluggablePort(folder / "ttyCAR")
        self.source = SerialSource(
            SerialAddress(self.port.device), clock=clock, backoff_s=(0.001, 0.001)
        )

    async def set_up(self) -> None:
        self.port.plug()

    async def send(self, chunks: list[bytes]) -> None:
        for chunk in chunks:
            self.port.write(chunk)

    async def cut(self) -> None:
        self.port.pull()


class BleRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        air = Air()
        self.car = VirtualCar(air, mtu=23)
        self.source = BleSource(
            BleAddress(self.car.address),
            clock=NoHurry(clock),
            backoff_s=(0, 0),
            backend=virtual_bluetooth(Computer(air)),
        )

    async def set_up(self) -> None:
        await self.car.switch_on()

    async def send(self, chunks: list[bytes]) -> None:
        for chunk in chunks:
            await self.car.send(chunk)

    async def cut(self) -> None:
        await self.car.switch_off()


class TcpRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        self.port = free_port(socket.SOCK_STREAM)
        self.source = TcpSource(TcpAddress("127.0.0.1", self.port), clock=clock, backoff_s=(0, 0))
        self.server: asyncio.Server | None = None

    async def set_up(self) -> None:
        self.accepted: asyncio.Future[asyncio.StreamWriter]
        self.accepted = asyncio.get_running_loop().create_future()
        self.server = await asyncio.start_server(
            lambda _, writer: self.accepted.set_result(writer), "127.0.0.1", self.port
        )

    async def send(self, chunks: list[bytes]) -> None:
        writer = await self.accepted
        for chunk in chunks:
            writer.write(chunk)
        await writer.drain()

    async def cut(self) -> None:
        if self.server is not None:
            self.server.close()
            await self.server.wait_closed()
            self.server = None
            if self.accepted.done():
                self.accepted.result().transport.abort()


class UdpRig(Rig):
    def __init__(self, clock: SteppingClock, folder: Path) -> None:
        self.port = free_port(socket.SOCK_DGRAM)
        self.source = UdpSource(UdpAddress("127.0.0.1", self.port), clock=clock, backoff_s=(0, 0))

    async def set_up(self) -> None:
        pass

    async def send(self, chunks: list[bytes]) -> None:
        for chunk in chunks:  # each from a sender of its own
            with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
                sender.sendto(chunk, ("127.0.0.1", self.port))

    async def cut(self) -> None:
        pass


MakeRig = Callable[[SteppingClock, Path], Rig]


serial_rig = pytest.param(
    SerialRig, marks=pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals")
)


@pytest.fixture(params=[MemoryRig, SimulatedRig, serial_rig, BleRig, TcpRig, UdpRig])
def make_rig(request: pytest.FixtureRequest) -> MakeRig:
    rig: MakeRig = request.param
    return rig


@pytest.fixture(params=[MemoryRig, serial_rig, BleRig, TcpRig])
def make_rig_to_cut(request: pytest.FixtureRequest) -> MakeRig:
    """Give the links of which one end can be taken away."""
    rig: MakeRig = request.param
    return rig


@asynccontextmanager
async def standing(rig: Rig) -> AsyncIterator[Log]:
    """Give the log of a source that is connected; take both ends away afterwards."""
    await rig.set_up()
    log = Log(rig.source.events())
    try:
        await log.until_state(LinkState.CONNECTED)
        yield log
    finally:
        await rig.source.aclose()
        await rig.cut()


class TestEverySource:
    def test_connected_comes_first_and_bytes_come_whole_and_in_order(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig(clock, tmp_path)
            async with standing(rig) as log:
                assert states(log.seen) == [LinkState.CONNECTED]
                assert log.received == b""
                await rig.send(CHUNKS)
                assert await log.until_bytes(len(SENT)) == SENT

        run(work())

    def test_stamps_are_of_the_given_clock_and_never_go_back(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig(clock, tmp_path)
            async with standing(rig) as log:
                await rig.send(CHUNKS)
                await log.until_bytes(len(SENT))
            stamps = [event.at_s for event in log.seen]
            assert stamps == sorted(stamps)
            assert len(set(stamps)) == len(stamps)
            assert clock.start_s < stamps[0]
            assert stamps[-1] < clock.now_s()

        run(work())

    def test_a_loss_is_told_and_then_it_connects_again(
        self, make_rig_to_cut: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig_to_cut(clock, tmp_path)
            async with standing(rig) as log:
                for _ in range(3):
                    await rig.send(CHUNKS)
                    assert await log.until_bytes(len(SENT)) == SENT
                    await rig.cut()
                    lost = await log.until_state(LinkState.LOST)
                    assert lost.detail
                    retrying = await log.until_state(LinkState.RETRYING)
                    assert retrying.detail
                    await rig.set_up()
                    await log.until_state(LinkState.CONNECTED)
                await rig.send(CHUNKS)
                assert await log.until_bytes(len(SENT)) == SENT
            told = [change.state for change in log.changes if change.state != LinkState.RETRYING]
            assert told == [LinkState.CONNECTED, LinkState.LOST] * 3 + [LinkState.CONNECTED]

        run(work())

    def test_whoever_waits_for_it_makes_no_flood_of_retries(
        self, make_rig_to_cut: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig_to_cut(clock, tmp_path)
            async with standing(rig) as log:
                await rig.cut()
                await log.until_state(LinkState.RETRYING)
                for _ in range(2000):  # attempts of the sources in this loop
                    await asyncio.sleep(0)
                await rig.set_up()
                await log.until_state(LinkState.CONNECTED)
            details = [c.detail for c in log.changes if c.state is LinkState.RETRYING]
            assert len(details) == len(set(details)) <= 3

        run(work())

    def test_closing_ends_the_events_and_leaves_nothing(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig(clock, tmp_path)
            await rig.set_up()
            threads, descriptors = threading.enumerate(), open_descriptors()
            tasks = asyncio.all_tasks()
            log = Log(rig.source.events())
            await log.until_state(LinkState.CONNECTED)
            reading = asyncio.create_task(log.to_the_end())
            await asyncio.sleep(0)
            await rig.source.aclose()
            await reading
            await rig.source.aclose()
            assert threading.enumerate() == threads
            assert asyncio.all_tasks() == tasks
            await rig.cut()
            for _ in range(5):  # the other end needs some turns of the loop to close its own
                await asyncio.sleep(0)
            assert not set(open_descriptors()) - set(descriptors)

        run(work())

    def test_closing_before_anything_was_read(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            async with make_rig(clock, tmp_path).source as unread:
                pass
            assert [event async for event in unread.events()] == []
            async with make_rig(clock, tmp_path).source as started:
                started.events()  # the other end is not there, and nobody reads

        run(work())

    def test_closing_while_it_is_being_tried_again(
        self, make_rig_to_cut: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig_to_cut(clock, tmp_path)
            async with standing(rig) as log:
                await rig.cut()
                await log.until_state(LinkState.RETRYING)

        run(work())

    def test_it_has_one_reader(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            async with make_rig(clock, tmp_path).source as source:
                source.events()
                with pytest.raises(RuntimeError, match="already being read"):
                    source.events()

        run(work())

    def test_what_came_before_it_was_closed_is_still_given(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        async def work() -> None:
            rig = make_rig(clock, tmp_path)
            async with standing(rig) as log:
                await rig.send(CHUNKS)
                await log.until(lambda log: isinstance(log.seen[-1], BytesReceived))
                await until(lambda: rig.source.counters.received_bytes == len(SENT))
            await log.to_the_end()
            assert log.received == SENT

        run(work())

    def test_its_name_is_how_the_user_would_write_it(
        self, make_rig: MakeRig, clock: SteppingClock, tmp_path: Path
    ) -> None:
        rig = make_rig(clock, tmp_path)
        scheme = rig.source.name.partition(":")[0]
        assert scheme in {"memory", "simulated", "serial", "ble", "tcp", "udp"}
