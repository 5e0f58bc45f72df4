from __future__ import annotations

import asyncio
from collections.abc import Iterator

import pytest

from groundstation.errors import UnknownSourceError, UsageError
from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation
from groundstation.sources.address import SimulatedAddress
from groundstation.sources.simulated import Emission, SimulatedSource, emissions_of, in_real_time
from tests.groundstation.sources.links import SteppingClock, run
from tests.groundstation.sources.test_contract import Sent


async def everything(source: SimulatedSource) -> list[Inbound]:
    async with source:
        return [event async for event in source.events()]


def test_a_scenario_arrives_byte_for_byte_at_its_own_times(clock: SteppingClock) -> None:
    address = SimulatedAddress("crash", seed=3)
    first, *rest = run(everything(SimulatedSource(address, clock=clock)))
    emissions = list(Simulation(SCENARIOS["crash"], seed=3))
    received = [event for event in rest if isinstance(event, BytesReceived)]
    assert isinstance(first, LinkChanged)
    assert first.detail == "driving the simulated car, scenario crash"
    assert [event.data for event in received] == [emission.data for emission in emissions]
    late_s = [
        event.at_s - first.at_s - emission.at_s
        for event, emission in zip(received, emissions, strict=True)
    ]
    # Each look at this clock takes a microsecond, so only so much may have gathered at any time.
    assert min(late_s) >= 0.0
    assert max(late_s) < 1e-3


def test_it_lasts_as_long_as_its_scenario_though_the_car_fell_silent(clock: SteppingClock) -> None:
    run(everything(SimulatedSource(SimulatedAddress("crash", seed=3), clock=clock)))
    last_heard_s = [emission.at_s for emission in Simulation(SCENARIOS["crash"], seed=3)][-1]
    duration_s = SCENARIOS["crash"].duration_s
    assert last_heard_s < duration_s - 1.0
    assert clock.now_s() - clock.start_s == pytest.approx(duration_s, abs=0.1)


def test_what_is_late_comes_at_once_and_none_is_left_out() -> None:
    class Stuck(SteppingClock):
        async def sleep(self, seconds: float) -> None:
            await super().sleep(seconds + 10.0)  # the computer slept

    async def work() -> list[bytes]:
        emissions = [Sent(float(second), bytes([second])) for second in range(1, 9)]
        return [data async for data in in_real_time(emissions, clock)]

    clock = Stuck()
    assert run(work()) == [bytes([second]) for second in range(1, 9)]
    assert len(clock.slept_s) == 1


def test_the_time_it_takes_to_build_the_car_delays_nothing_that_it_sends() -> None:
    clock = SteppingClock()

    def built_slowly() -> Iterator[Emission]:
        clock._now_s += 5.0
        yield Sent(1.0, b"1")
        yield Sent(2.0, b"2")

    async def work() -> list[bytes]:
        return [data async for data in in_real_time(built_slowly(), clock)]

    assert run(work()) == [b"1", b"2"]
    assert clock.slept_s == pytest.approx([1.0, 1.0], abs=1e-3)


def test_a_negative_seed_is_refused_before_anything_is_built() -> None:
    with pytest.raises(UsageError, match="from 0 up, not -1"):
        emissions_of(SCENARIOS["crash"], seed=-1)


def test_it_can_be_closed_midway(clock: SteppingClock) -> None:
    async def work() -> None:
        class Patient(SteppingClock):
            async def sleep(self, seconds: float) -> None:
                await asyncio.get_running_loop().create_future()  # real time stands still

        async with SimulatedSource(SimulatedAddress("demo"), clock=Patient()) as source:
            connected = await anext(source.events())
            assert isinstance(connected, LinkChanged)
            assert connected.state is LinkState.CONNECTED

    run(work())


def test_an_unknown_scenario_is_told_with_the_nearest(clock: SteppingClock) -> None:
    with pytest.raises(UnknownSourceError) as refusal:
        SimulatedSource(SimulatedAddress("range_egde"), clock=clock)
    assert str(refusal.value) == "There is no scenario 'range_egde'. The nearest is range_edge."
    with pytest.raises(UnknownSourceError, match="There are demo, "):
        SimulatedSource(SimulatedAddress("zzz"), clock=clock)
