from __future__ import annotations

import os
from collections.abc import Iterator

import pytest

from groundstation.inbound import LinkState
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation
from groundstation.sources.address import SerialAddress
from groundstation.sources.pseudo_terminal import (
    MAX_UNREAD_BYTES,
    PseudoTerminal,
    car_at,
    has_pseudo_terminals,
)
from groundstation.sources.serial_port import SerialSource
from groundstation.sources.simulated import Emission
from tests.groundstation.sources.links import Log, SteppingClock, run, until
from tests.groundstation.sources.test_contract import Sent

pytestmark = pytest.mark.skipif(not has_pseudo_terminals(), reason="no pseudo-terminals here")


def test_every_byte_passes_unchanged_and_none_comes_back() -> None:
    everything = bytes(range(256)) * 4
    with PseudoTerminal() as terminal:
        reader = os.open(terminal.path, os.O_RDWR | os.O_NOCTTY)
        try:
            terminal.write(everything)
            received = b""
            while len(received) < len(everything):
                received += os.read(reader, 4096)
            assert received == everything
            with pytest.raises(BlockingIOError):  # no echo
                os.read(terminal._ours, 4096)
        finally:
            os.close(reader)


def test_writing_goes_on_when_nobody_reads_and_the_next_reader_hears_the_present(
    clock: SteppingClock,
) -> None:
    async def work() -> None:
        with PseudoTerminal() as terminal:
            written = 0
            while not terminal.left_out_bytes:
                terminal.write(b"\xaa" * 50)
                written += 50 - terminal.left_out_bytes
                await until(lambda: terminal._unread_bytes() == written)  # noqa: B023
            assert written >= MAX_UNREAD_BYTES
            terminal.write(b"\xaa" * 50)
            assert terminal.left_out_bytes == 100
            async with SerialSource(SerialAddress(terminal.path), clock=clock) as source:
                log = Log(source.events())
                await log.until_state(LinkState.CONNECTED)
                terminal.write(b"now")
                assert await log.until_bytes(3) == b"now"

    run(work())


def test_closing_unplugs_it_from_its_reader(clock: SteppingClock) -> None:
    async def work() -> None:
        terminal = PseudoTerminal()
        async with SerialSource(SerialAddress(terminal.path), clock=clock) as source:
            log = Log(source.events())
            await log.until_state(LinkState.CONNECTED)
            terminal.close()
            terminal.close()
            lost = await log.until_state(LinkState.LOST)
            assert "was unplugged" in lost.detail

    run(work())


def test_a_simulated_car_is_heard_through_the_real_serial_source(clock: SteppingClock) -> None:
    sent = bytearray()

    def counted() -> Iterator[Emission]:
        for emission in Simulation(SCENARIOS["range_edge"], seed=1):
            sent.extend(emission.data)
            yield emission

    async def work() -> None:
        class Paced(SteppingClock):
            async def sleep(self, seconds: float) -> None:
                # The car waits to be listened to, and is then ahead by a few frames at most.
                await until(lambda: bool(log.changes))
                await until(lambda: len(sent) < source.counters.received_bytes + 1000)
                await super().sleep(seconds)

        with PseudoTerminal() as terminal:
            source = SerialSource(SerialAddress(terminal.path), clock=clock)
            async with source, car_at(terminal, counted(), clock=Paced()):
                log = Log(source.events())
                await log.until_bytes(50_000)
                assert sent.startswith(log.received)
                assert terminal.left_out_bytes == 0

    run(work())


def test_the_port_outlives_a_car_that_has_stopped_sending(clock: SteppingClock) -> None:
    async def work() -> None:
        with PseudoTerminal() as terminal:
            async with car_at(terminal, [Sent(0.0, b"last words")], clock=clock):
                reader = os.open(terminal.path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
                try:
                    await until(lambda: terminal._unread_bytes() == 10)
                    assert os.read(reader, 100) == b"last words"
                finally:
                    os.close(reader)

    run(work())


def test_an_error_in_the_simulation_is_not_kept_quiet(clock: SteppingClock) -> None:
    reached: list[bool] = []

    def broken() -> Iterator[Sent]:
        yield Sent(0.0, b"a")
        reached.append(True)
        raise ZeroDivisionError

    async def work() -> None:
        with PseudoTerminal() as terminal:
            async with car_at(terminal, broken(), clock=clock):
                await until(lambda: bool(reached))

    with pytest.raises(ZeroDivisionError):
        run(work())
