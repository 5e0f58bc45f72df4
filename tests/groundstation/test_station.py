"""A live session over real ports: what the cable, the network and the disk may do to it."""

from __future__ import annotations

import asyncio
import io
import json
import threading
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from groundstation.cli.json_lines import JsonLines
from groundstation.clock import MonotonicClock
from groundstation.errors import SourceError
from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.recording.reader import open_session
from groundstation.recording.writer import Recorder
from groundstation.sources.address import SerialAddress, TcpAddress
from groundstation.sources.base import Source
from groundstation.sources.memory import MemorySource
from groundstation.sources.network import TcpSource
from groundstation.sources.serial_port import SerialSource
from groundstation.station import Station
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import Noted, SourceChanged
from groundstation.vehicle.telemetry import Telemetry
from protocol import Receiver, SampleReceived, Sender, standard_table
from tests.autojump import AutojumpClock
from tests.emulated_car import emulated_car, needs_emulator
from tests.groundstation.sources.links import PluggablePort, run, until

PULLS = 100
TABLE = standard_table()
KEEPER = StateKeeper(VehicleProfile(), TABLE, software_version="test")


def station_of(
    source: Source, folder: Path | None = None, *, lines: JsonLines | None = None
) -> Station:
    def start_recorder() -> Recorder:
        assert folder is not None
        started = datetime(2026, 1, 1, tzinfo=UTC)
        return Recorder(folder, facts={}, started=started, software_version="test")

    return Station(
        source,
        clock=MonotonicClock(),
        telemetry=Telemetry(),
        keeper=KEEPER,
        start_recorder=None if folder is None else start_recorder,
        listeners=[lines] if lines else [],
    )


@asynccontextmanager
async def running(station: Station) -> AsyncIterator[Station]:
    task = asyncio.create_task(station.run())
    try:
        yield station
    finally:
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


def test_a_hundred_pulls_of_the_cable_are_one_session(tmp_path: Path) -> None:
    sender, port, threads = Sender(), PluggablePort(tmp_path / "port"), threading.active_count()

    async def work() -> Station:
        source = SerialSource(
            SerialAddress(port.device), clock=MonotonicClock(), backoff_s=(0.0, 0.0)
        )
        async with running(station_of(source, tmp_path / "sessions")) as station:
            link = station.telemetry.state.source
            for number in range(1, PULLS + 1):
                port.plug()
                await until(lambda: link.state is LinkState.CONNECTED)
                for _ in range(10):
                    port.write(sender.encode("motion", {}, sender.sequence * 10_000))
                await until(lambda n=number: station.telemetry.state.loss.frames == 10 * n)
                port.pull()
                await until(lambda: link.state is not LinkState.CONNECTED)
        return station

    station = run(work())
    (path,) = (tmp_path / "sessions").iterdir()
    session = open_session(path)
    summary = session.info.summary
    assert (summary["frames"], summary["lost"], summary["rejected"]) == (10 * PULLS, 0, 0)
    size = sum(len(each.data) for each in session.inbound() if isinstance(each, BytesReceived))
    assert size == station.telemetry.state.source.bytes_received
    assert threading.active_count() == threads


def a_second_of_driving() -> list[bytes]:
    sender, sent = Sender(), []
    for count in range(40):
        motion = {"speed_mps": count / 3, "accel_y_g": -0.25}
        sent.append(sender.encode("motion", motion, count * 10_000))
        sent.append(sender.encode("radio", {"control_rssi_dbm": -60.0 - count}, count * 10_000))
    return sent


class Heard:
    """Reads a source until so many bytes have come, and decodes them."""

    def __init__(self, events: AsyncIterator[Inbound]) -> None:
        self.receiver, self.events, self.size = Receiver(), events, 0
        self.samples: list[tuple[object, ...]] = []

    async def until(self, size: int) -> None:
        while self.size < size:
            inbound = await anext(self.events)
            if isinstance(inbound, BytesReceived):
                self.size += len(inbound.data)
                for event in self.receiver.receive_data(inbound.data):
                    assert isinstance(event, SampleReceived)
                    self.samples.append((event.kind.name, event.sequence, dict(event.values)))


async def heard_over_serial(sent: list[bytes], port: PluggablePort) -> Heard:
    port.plug()
    async with SerialSource(SerialAddress(port.device), clock=MonotonicClock()) as source:
        heard, size = Heard(source.events()), 0
        assert isinstance(await anext(heard.events), LinkChanged)
        for frame in sent:
            port.write(frame)
            size += len(frame)
            await heard.until(size)
    port.pull()
    return heard


async def heard_over_tcp(sent: list[bytes]) -> Heard:
    async def serve(_: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.writelines(sent)
        await writer.drain()
        writer.close()

    server = await asyncio.start_server(serve, "127.0.0.1", 0)
    address = TcpAddress("127.0.0.1", server.sockets[0].getsockname()[1])
    async with server, TcpSource(address, clock=MonotonicClock()) as source:
        heard = Heard(source.events())
        await heard.until(sum(map(len, sent)))
    return heard


def test_tcp_and_a_serial_port_give_equal_samples(tmp_path: Path) -> None:
    sent = a_second_of_driving()
    over_serial = run(heard_over_serial(sent, PluggablePort(tmp_path / "port")))
    over_tcp = run(heard_over_tcp(sent))
    assert len(over_serial.samples) == len(sent)
    assert over_serial.samples == over_tcp.samples


@needs_emulator
def test_an_emulated_microcontroller_is_watched_live(tmp_path: Path) -> None:
    out = io.StringIO()
    (tmp_path / "firmware").mkdir()
    with emulated_car(tmp_path / "firmware") as car:

        async def work() -> Station:
            source = SerialSource(SerialAddress(car.port), clock=MonotonicClock())
            station = station_of(source, tmp_path / "sessions", lines=JsonLines(TABLE, out))
            async with running(station):
                await until(lambda: station.telemetry.state.loss.frames >= 400)
            return station

        station = run(work())
    summary = station.telemetry.state.summary()
    assert (summary["lost"], summary["rejected"]) == (0, 0)
    states = [json.loads(line) for line in out.getvalue().splitlines() if '"state", "at' in line]
    assert states[-1]["control_rssi_dbm"] is not None


def memory_source(script: list[Inbound]) -> MemorySource:
    return MemorySource.playing(script)


def frames(count: int) -> Iterator[Inbound]:
    sender = Sender()
    for number in range(count):
        yield BytesReceived(1000.0 + number * 0.01, sender.encode("motion", {}, number * 10_000))


def test_without_a_recorder_the_live_view_goes_on() -> None:
    station = station_of(memory_source(list(frames(50))))
    run(station.run())
    assert station.telemetry.state.loss.frames == 50
    assert not station.record_state.recording
    assert station.session_path() is None


def test_no_bytes_leave_no_session(tmp_path: Path) -> None:
    source = MemorySource()
    source.connect()
    source.finish()
    station = station_of(source, tmp_path)
    run(station.run())
    assert list(tmp_path.iterdir()) == []
    assert [type(event) for event in station.events] == [SourceChanged]


def test_recording_trouble_is_told_to_whoever_watches(tmp_path: Path) -> None:
    blocked = tmp_path / "a-file"
    blocked.write_text("not a folder")
    clock, source = AutojumpClock(), MemorySource()
    station = Station(
        source,
        clock=clock,
        telemetry=Telemetry(),
        keeper=KEEPER,
        start_recorder=lambda: Recorder(
            blocked, facts={}, started=datetime(2026, 1, 1, tzinfo=UTC), software_version="test"
        ),
    )

    async def work() -> None:
        watching = asyncio.create_task(clock.run(station.run()))
        for each in frames(5):
            source.push(each)
        await until(lambda: bool(station.record_state.trouble))
        await until(lambda: any(isinstance(event, Noted) for event in station.events))
        watching.cancel()
        source.finish()
        with pytest.raises(asyncio.CancelledError):
            await watching

    run(work())
    told = [event.text for event in station.events if isinstance(event, Noted)]
    assert told[0].startswith("Not recording")
    assert station.telemetry.state.loss.frames == 5


def test_an_unforeseen_error_of_a_source_reaches_the_caller() -> None:
    class Broken(MemorySource):
        async def _break(self) -> AsyncIterator[Inbound]:
            raise SourceError("the port is on fire")
            yield  # pragma: no cover

        def events(self) -> AsyncIterator[Inbound]:
            return self._break()

    with pytest.raises(SourceError, match="on fire"):
        run(station_of(Broken()).run())


def fixed_at(fix: dict[str, float | int]) -> list[Inbound]:
    now_s = MonotonicClock().now_s()
    return [BytesReceived(now_s, Sender().encode("fix", fix, 0))]


def test_the_newest_fix_is_taken_as_the_drivers_position() -> None:
    fix = {"latitude_deg": 1.5, "longitude_deg": 2.5, "fix_type": 3}
    station = station_of(memory_source(fixed_at(fix)))
    run(station.run())
    station.stand_here()
    assert station.telemetry.state.place.station == pytest.approx((1.5, 2.5))
    assert station.telemetry.state.place.origin == "the driver's position"


def test_without_a_fix_the_driver_is_told_so() -> None:
    station = station_of(memory_source(list(frames(5))))
    run(station.run())
    station.stand_here()
    told = [event.text for event in station.events if isinstance(event, Noted)]
    assert told[-1].startswith("no fresh fix")
    assert station.telemetry.state.place.station is None
