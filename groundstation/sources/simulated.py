"""A car that does not exist, driven in real time.

Owns only the pace: what the simulated car sends is handed over when the clock says that it would
arrive. The source is finite: it ends with the scenario. The car is built when it is first listened
to: that takes longer than to open a window, and nothing needs it before.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable, Iterator
from difflib import get_close_matches
from typing import Protocol

from groundstation.clock import Clock
from groundstation.errors import UnknownSourceError
from groundstation.inbound import BytesReceived, DriverPlaced, LinkChanged, LinkState
from groundstation.simulator.noise import checked_seed
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.sources.address import SimulatedAddress
from groundstation.sources.live import LiveSource
from protocol import Table


class Emission(Protocol):
    """Bytes that a simulated car sends."""

    @property
    def at_s(self) -> float:
        """When they arrive, seconds since the scenario began."""
        ...

    @property
    def data(self) -> bytes:
        """What arrives."""
        ...


def emissions_of(
    scenario: Scenario, *, seed: int, table: Table | None = None
) -> Iterator[Emission]:
    """Return what the car of a scenario sends; it is built when the first is asked for.

    Raises:
        UsageError: The seed is negative.
    """
    seed = checked_seed(seed)

    def drive() -> Iterator[Emission]:
        from groundstation.simulator.simulation import Simulation

        yield from Simulation(scenario, seed=seed, table=table)

    return drive()


async def in_real_time(emissions: Iterable[Emission], clock: Clock) -> AsyncIterator[bytes]:
    """Yield what is sent, each when its time has come; late ones at once, none left out."""
    start_s: float | None = None
    for emission in emissions:
        # Counted from the first: to build the car has taken a moment.
        start_s = clock.now_s() if start_s is None else start_s
        wait_s = start_s + emission.at_s - clock.now_s()
        if wait_s > 0:
            await clock.sleep(wait_s)
        yield emission.data


class SimulatedSource(LiveSource):
    """The bytes of a simulated car, until its scenario is over."""

    def __init__(
        self,
        address: SimulatedAddress,
        *,
        clock: Clock,
        emissions: Iterable[Emission] | None = None,
    ) -> None:
        """Take the car of `address`.

        Args:
            address: Scenario and seed.
            clock: Sets the pace, and stamps what comes in.
            emissions: What the car sends, in place of the scenario's.

        Raises:
            UnknownSourceError: There is no such scenario.
        """
        super().__init__(str(address), clock=clock)
        self._detail = f"driving the simulated car, scenario {address.scenario}"
        self._driver_deg: tuple[float, float] | None = None
        self._duration_s = 0.0
        if emissions is None:
            scenario = _scenario(address)
            self._driver_deg = scenario.course.driver_deg
            self._duration_s = scenario.duration_s
            emissions = emissions_of(scenario, seed=address.seed)
        self._emissions = emissions

    async def _pump(self) -> None:
        start_s = self._clock.now_s()
        await self._handover.put(LinkChanged(start_s, LinkState.CONNECTED, self._detail))
        if self._driver_deg is not None:
            await self._handover.put(DriverPlaced(start_s, *self._driver_deg))
        async for data in in_real_time(self._emissions, self._clock):
            await self._handover.put(BytesReceived(self._clock.now_s(), data))
        # A car that has fallen silent for good is still to be waited for, as a real one would be.
        await self._clock.sleep(max(start_s + self._duration_s - self._clock.now_s(), 0.0))


def _scenario(address: SimulatedAddress) -> Scenario:
    scenario = SCENARIOS.get(address.scenario)
    if scenario is None:
        nearest = get_close_matches(address.scenario, SCENARIOS, n=1)
        raise UnknownSourceError(
            f"There is no scenario {address.scenario!r}",
            f"The nearest is {nearest[0]}" if nearest else f"There are {', '.join(SCENARIOS)}",
        )
    return scenario
