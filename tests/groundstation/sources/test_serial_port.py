from __future__ import annotations

import errno
import math
import os
import sys
import termios
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
import serial

from groundstation.inbound import BytesReceived, LinkChanged, LinkState
from groundstation.sources import serial_port
from groundstation.sources.address import SerialAddress
from groundstation.sources.gathering import GATHER_BYTES, GATHER_S
from groundstation.sources.handover import CAPACITY_EVENTS
from groundstation.sources.listing import FoundPort
from groundstation.sources.pseudo_terminal import PseudoTerminal
from groundstation.sources.serial_port import (
    READ_TIMEOUT_S,
    SerialPort,
    SerialSource,
    open_exclusively,
)
from protocol import FrameRejected, FramesMissed, Receiver, SampleReceived, Sender
from tests.groundstation.sources.links import Log, PluggablePort, SteppingClock, run, until

pytestmark = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals")

SHORT_BACKOFF_S = (0.001, 0.001)
PULLS = 100
FRAMES_A_PLUG = 25


@pytest.fixture
def port(tmp_path: Path) -> PluggablePort:
    return PluggablePort(tmp_path / "ttyCAR")


def source_of(
    device: str,
    clock: SteppingClock,
    *,
    open_port: Callable[[str, int], SerialPort] = open_exclusively,
    found: Callable[[], list[FoundPort]] = list,
) -> SerialSource:
    return SerialSource(
        SerialAddress(device),
        clock=clock,
        backoff_s=SHORT_BACKOFF_S,
        open_port=open_port,
        list_ports=found,
    )


def test_a_hundred_pulls_lose_no_frame_that_was_sent_while_connected(
    port: PluggablePort, clock: SteppingClock
) -> None:
    sender = Sender()

    def frame() -> bytes:
        return sender.encode("motion", {"speed_mps": 10.0}, clock_us=10_000 * sender.sequence)

    async def work() -> Log:
        async with source_of(port.device, clock) as source:
            log = Log(source.events())
            for number in range(PULLS):
                port.plug()
                await log.until_state(LinkState.CONNECTED)
                frames = b"".join(frame() for _ in range(FRAMES_A_PLUG))
                torn = b"\x05\x01" * (number % 3)  # the cable goes in the middle of a frame
                port.write(frames + torn)
                await log.until_bytes(len(frames + torn))
                port.pull()
                await log.until_state(LinkState.LOST)
            return log

    log = run(work())
    receiver = Receiver()
    heard = []
    for event in log.seen:
        if isinstance(event, LinkChanged) and event.state is LinkState.CONNECTED:
            receiver.link_restarted()
        elif isinstance(event, BytesReceived):
            heard += receiver.receive_data(event.data, event.at_s)
    samples = [event for event in heard if isinstance(event, SampleReceived)]
    assert [sample.sequence for sample in samples] == list(range(PULLS * FRAMES_A_PLUG))
    assert len(heard) == len(samples)
    assert not [event for event in heard if isinstance(event, (FramesMissed, FrameRejected))]
    connected = [change for change in log.changes if change.state is LinkState.CONNECTED]
    assert len(connected) == PULLS


class TestSentences:
    def test_connected(self, port: PluggablePort, clock: SteppingClock) -> None:
        async def work() -> None:
            port.plug()
            source = SerialSource(SerialAddress(port.device, 57600), clock=clock)
            async with source:
                connected = await Log(source.events()).until_state(LinkState.CONNECTED)
            port.pull()
            assert connected.detail == f"connected to {port.device} at 57600 baud"

        run(work())

    def test_missing_is_told_once_however_often_it_is_tried(
        self, port: PluggablePort, clock: SteppingClock
    ) -> None:
        attempts = 0

        def counting(device: str, baud: int) -> SerialPort:
            nonlocal attempts
            attempts += 1
            if attempts == 30:
                port.plug()
            return open_exclusively(device, baud)

        async def work() -> Log:
            async with source_of(port.device, clock, open_port=counting) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
            port.pull()
            return log

        log = run(work())
        assert attempts == 30
        assert [change.state for change in log.changes] == [
            LinkState.RETRYING,
            LinkState.CONNECTED,
        ]
        assert log.changes[0].detail == (
            f"There is no port {port.device}. "
            "Plug the receiver in; `groundstation sources` lists what is there."
        )

    def test_unplugged(self, port: PluggablePort, clock: SteppingClock) -> None:
        async def work() -> Log:
            port.plug()
            async with source_of(port.device, clock) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                port.pull()
                await log.until_state(LinkState.RETRYING)
            return log

        lost, retrying = run(work()).changes[-2:]
        assert lost.detail == f"{port.device} was unplugged. Plug it in again, in any socket."
        assert retrying.detail.startswith(f"There is no port {port.device}.")

    def test_busy_until_the_other_program_closes_it(
        self, port: PluggablePort, clock: SteppingClock
    ) -> None:
        async def work() -> None:
            port.plug()
            other = serial.Serial(port.device, exclusive=True)
            async with source_of(port.device, clock) as source:
                log = Log(source.events())
                retrying = await log.until_state(LinkState.RETRYING)
                assert retrying.detail.startswith(f"{port.device} is in use by another program.")
                other.close()
                await log.until_state(LinkState.CONNECTED)
                with pytest.raises(serial.SerialException):  # nor can another program steal bytes
                    serial.Serial(port.device, exclusive=True)
            port.pull()

        run(work())

    def test_permission_denied(
        self, port: PluggablePort, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        real_open = os.open

        def open_or_refuse(path: str, *arguments: int) -> int:
            if path == port.device:
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), path)
            return real_open(path, *arguments)

        async def work() -> LinkChanged:
            port.plug()
            async with source_of(port.device, clock) as source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            port.pull()
            return retrying

        monkeypatch.setattr(os, "open", open_or_refuse)
        detail = run(work()).detail
        assert detail.startswith(f"This user may not open {port.device}.")
        assert ("dialout" in detail) == (sys.platform == "linux")

    def test_a_file_is_no_port(self, tmp_path: Path, clock: SteppingClock) -> None:
        async def work() -> None:
            path = tmp_path / "notes.txt"
            path.write_text("track wet")
            async with source_of(str(path), clock) as source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            assert retrying.detail.startswith(f"{path} is not a serial port.")
            assert path.read_text() == "track wet"

        run(work())

    def test_a_speed_that_no_port_has(self, port: PluggablePort, clock: SteppingClock) -> None:
        async def work() -> None:
            port.plug()
            address = SerialAddress(port.device, 2**31 - 1)
            source = SerialSource(address, clock=clock, open_port=refuse)
            async with source:
                retrying = await Log(source.events()).until_state(LinkState.RETRYING)
            port.pull()
            assert retrying.detail.startswith(f"{port.device} does not run at 2147483647 baud.")

        def refuse(device: str, baud: int) -> SerialPort:
            # What pyserial raises where the driver knows the speed, but not how to set it.
            raise ValueError("Failed to set custom baud rate (2147483647): [Errno 22]")

        run(work())


class TestReplugging:
    def test_the_adapter_is_found_under_another_name(
        self, tmp_path: Path, clock: SteppingClock
    ) -> None:
        before, after = PluggablePort(tmp_path / "ttyUSB0"), PluggablePort(tmp_path / "ttyUSB1")

        def found() -> list[FoundPort]:
            return [
                FoundPort(port.terminal_path, "adapter", 0x1209, 0x0001, "A7")
                for port in (before, after)
                if port.path.exists()
            ]

        async def work() -> None:
            before.plug()
            async with source_of(before.device, clock, found=found) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                before.pull()
                await log.until_state(LinkState.LOST)
                with PseudoTerminal():  # takes the old number
                    after.plug()
                connected = await log.until_state(LinkState.CONNECTED)
                after.write(b"here again")
                assert await log.until_bytes(10) == b"here again"
            assert connected.detail == (
                f"connected to {after.terminal_path} at 115200 baud, "
                f"the adapter that was {before.device}"
            )
            after.pull()

        run(work())

    def test_an_adapter_that_comes_back_where_it_was_keeps_the_name_that_was_written(
        self, port: PluggablePort, clock: SteppingClock
    ) -> None:
        def found() -> list[FoundPort]:
            return [FoundPort(port.terminal_path, "adapter", 0x1209, 0x0001, "A7")]

        async def work() -> None:
            port.plug()
            async with source_of(port.device, clock, found=found) as source:
                log = Log(source.events())
                first = await log.until_state(LinkState.CONNECTED)
                port.pull()
                await log.until_state(LinkState.LOST)
                port.plug()
                again = await log.until_state(LinkState.CONNECTED)
            port.pull()
            assert again.detail == first.detail == f"connected to {port.device} at 115200 baud"

        run(work())

    def test_a_lost_port_is_closed_before_its_loss_is_told(self, clock: SteppingClock) -> None:
        async def work() -> None:
            script = ScriptedPort([OSError(errno.EIO, "gone")])
            async with source_of("/dev/null", clock, open_port=lambda *_: script) as source:
                await Log(source.events()).until_state(LinkState.LOST)
                assert script.closed

        run(work())


class ScriptedPort:
    """A port that gives bytes and errors as they are written down."""

    def __init__(self, script: list[bytes | Exception], in_waiting: int | Exception = 0) -> None:
        self.script = script
        self._in_waiting = in_waiting
        self.closed = False

    def read(self, size: int, /) -> bytes:
        if size == 0 or not self.script:
            return b""
        step = self.script.pop(0)
        if isinstance(step, Exception):
            raise step
        return step

    @property
    def in_waiting(self) -> int:
        if isinstance(self._in_waiting, Exception):
            raise self._in_waiting
        return self._in_waiting

    def close(self) -> None:
        self.closed = True
        raise termios.error(errno.EIO, "close of a lost port")


class TestDeviceErrors:
    @pytest.mark.parametrize(
        "error",
        [
            OSError(errno.EIO, "Input/output error"),
            serial.SerialException("device reports readiness to read but returned no data"),
            TypeError("'NoneType' object cannot be interpreted as an integer"),
            ValueError("filedescriptor out of range in select()"),
            termios.error(errno.EIO, "Input/output error"),
        ],
        ids=lambda error: type(error).__name__,
    )
    def test_each_is_a_loss_with_a_sentence_and_it_goes_on(
        self, error: Exception, clock: SteppingClock
    ) -> None:
        scripts = [ScriptedPort([b"a", error]), ScriptedPort([b"b", b"c"])]

        async def work() -> None:
            opened = iter(scripts)
            async with source_of("/dev/null", clock, open_port=lambda *_: next(opened)) as source:
                log = Log(source.events())
                lost = await log.until_state(LinkState.LOST)
                await log.until_bytes(2)
            assert log.received == b"abc"
            assert lost.detail.startswith("/dev/null failed while it was read: ")
            assert lost.detail.endswith(". Look at its plug and cable.")
            assert log.changes[2].detail == "Opening /dev/null again"

        run(work())

    def test_the_byte_before_the_failure_is_kept(self, clock: SteppingClock) -> None:
        async def work() -> None:
            script = ScriptedPort([b"x"], in_waiting=OSError(errno.EIO, "gone"))
            async with source_of("/dev/null", clock, open_port=lambda *_: script) as source:
                log = Log(source.events())
                await log.until_state(LinkState.LOST)
            assert log.received == b"x"

        run(work())

    def test_an_error_nobody_foresaw_reaches_the_reader(self, clock: SteppingClock) -> None:
        async def work() -> None:
            script = ScriptedPort([RuntimeError("driver bug")])
            async with source_of("/dev/null", clock, open_port=lambda *_: script) as source:
                with pytest.raises(RuntimeError, match="driver bug"):
                    await Log(source.events()).to_the_end()

        run(work())


class TestOpening:
    def test_lines_that_reset_boards_are_low_before_the_port_is_opened(
        self, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        seen: list[tuple[bool, bool, bool | None, float | None]] = []

        class Recording(serial.Serial):
            def open(self) -> None:
                seen.append((self.dtr, self.rts, self.exclusive, self.timeout))

        monkeypatch.setattr(serial, "Serial", Recording)
        open_exclusively("/dev/ttyUSB0", 57600)
        assert seen == [(False, False, True, READ_TIMEOUT_S)]

    def test_closing_takes_no_longer_than_a_read(self) -> None:
        assert READ_TIMEOUT_S < 0.3


class FastPort:
    """A port that is sent a frame each millisecond of its own clock, and pauses in no time."""

    def __init__(self, frames: list[bytes]) -> None:
        self._frames = frames
        self._now_s = 0.0
        self._unread = b""
        self.sent_s: list[float] = []
        self.slept_s: list[float] = []
        self.most_unread = 0

    def now_s(self) -> float:
        return self._now_s

    async def sleep(self, seconds: float) -> None:
        raise AssertionError("nothing waits in the event loop")

    def pause(self, seconds: float) -> None:
        self.slept_s.append(seconds)
        self._pass(seconds)

    def read(self, size: int, /) -> bytes:
        if size and not self._unread:
            self._pass(0.001)
        data, self._unread = self._unread[:size], self._unread[size:]
        return data

    @property
    def in_waiting(self) -> int:
        return len(self._unread)

    def close(self) -> None:
        pass

    def _pass(self, seconds: float) -> None:
        until_s = self._now_s + seconds
        while len(self.sent_s) < len(self._frames):
            due_s = 0.001 * len(self.sent_s)
            if due_s > until_s:
                break
            self._unread += self._frames[len(self.sent_s)]
            self.sent_s.append(due_s)
        self._now_s = until_s
        self.most_unread = max(self.most_unread, len(self._unread))


def test_a_thousand_frames_a_second_are_gathered_and_none_is_heard_before_it_was_sent() -> None:
    sender = Sender()
    frames = [
        sender.encode("motion", {"speed_mps": 10.0}, clock_us=1000 * number)
        for number in range(1000)
    ]
    port = FastPort(frames)

    async def work() -> Log:
        source = SerialSource(
            SerialAddress("/dev/null"),
            clock=port,
            open_port=lambda *_: port,
            list_ports=list,
            pause=port.pause,
        )
        async with source:
            log = Log(source.events())
            await log.until_bytes(sum(map(len, frames)))
        return log

    log = run(work())
    assert log.received == b"".join(frames)
    reads = [event for event in log.seen if isinstance(event, BytesReceived)]
    assert len(reads) < len(frames) / 3
    assert set(port.slept_s) == {GATHER_S}
    assert port.most_unread <= GATHER_BYTES
    receiver = Receiver()
    arrivals_s = [
        event.at_s
        for each in reads
        for event in receiver.receive_data(each.data, each.at_s)
        if isinstance(event, SampleReceived) and event.at_s is not None
    ]
    delays_s = [at_s - sent_s for at_s, sent_s in zip(arrivals_s, port.sent_s, strict=True)]
    assert min(delays_s) >= 0.0
    assert max(delays_s) <= GATHER_S + 0.002


class TestBackPressure:
    def test_a_reader_who_stays_away_holds_the_thread_up_and_loses_nothing(
        self, clock: SteppingClock
    ) -> None:
        count = 4 * CAPACITY_EVENTS
        script = ScriptedPort([number.to_bytes(2, "big") for number in range(count)])

        async def work() -> None:
            async with source_of("/dev/null", clock, open_port=lambda *_: script) as source:
                log = Log(source.events())
                await until(lambda: source.counters.held_up > 0)
                assert source.counters.waiting == CAPACITY_EVENTS
                received = await log.until_bytes(2 * count)
                assert received == b"".join(n.to_bytes(2, "big") for n in range(count))
                assert source.counters.received_bytes == 2 * count
                assert source.counters.most_waiting == CAPACITY_EVENTS

        run(work())

    def test_closing_frees_a_thread_that_is_held_up(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        monkeypatch.setattr(serial_port, "CLOSE_TIMEOUT_S", math.inf)
        script = ScriptedPort([b"x"] * (2 * CAPACITY_EVENTS))

        async def work() -> None:
            async with source_of("/dev/null", clock, open_port=lambda *_: script) as source:
                source.events()
                await until(lambda: source.counters.held_up > 0)

        run(work())

    def test_a_thread_that_the_system_holds_is_left_to_end_by_itself(
        self, clock: SteppingClock, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        asked, answered = threading.Event(), threading.Event()
        script = ScriptedPort([])

        def open_slowly(device: str, baud: int) -> SerialPort:
            asked.set()
            answered.wait()
            return script

        async def work() -> threading.Thread:
            async with source_of("/dev/null", clock, open_port=open_slowly) as source:
                source.events()
                await until(asked.is_set)
                (thread,) = [t for t in threading.enumerate() if t.name == source.name]
            return thread

        monkeypatch.setattr(serial_port, "CLOSE_TIMEOUT_S", 0.0)
        thread = run(work())
        assert thread.is_alive()
        assert thread.daemon
        answered.set()
        thread.join()
        assert script.closed

    def test_closing_with_the_loop_ends_the_thread_too(
        self, port: PluggablePort, clock: SteppingClock
    ) -> None:
        async def forget_to_close() -> None:
            await Log(source_of(port.device, clock).events()).until_state(LinkState.CONNECTED)

        port.plug()
        run(forget_to_close())
        port.pull()


def test_bytes_sent_before_the_port_was_opened_are_not_given(clock: SteppingClock) -> None:
    async def work() -> None:
        with PseudoTerminal() as terminal:
            terminal.write(b"old")
            async with source_of(terminal.path, clock) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                terminal.write(b"new")
                assert await log.until_bytes(3) == b"new"

    run(work())
