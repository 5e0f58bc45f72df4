"""A car that does not exist, driven in real time.

Owns only the pace: what the simulated car sends is handed over when the clock says that it would
arrive. The source is finite: it ends with the scenario.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Iterable
from difflib import get_close_matches
from typing import Protocol

from groundstation.clock import Clock
from groundstation.errors import UnknownSourceError
from groundstation.inbound import BytesReceived, LinkChanged, LinkState
from groundstation.sources.address import SimulatedAddress
from groundstation.sources.live import LiveSource


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


async def in_real_time(emissions: Iterable[Emission], clock: Clock) -> AsyncIterator[bytes]:
    """Yield what is sent, each when its time has come; late ones at once, none left out."""
    start_s = clock.now_s()
    for emission in emissions:
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
        self._emissions, self._duration_s = (
            _simulate(address) if emissions is None else (emissions, 0.0)
        )

    async def _pump(self) -> None:
        start_s = self._clock.now_s()
        await self._handover.put(LinkChanged(start_s, LinkState.CONNECTED, self._detail))
        async for data in in_real_time(self._emissions, self._clock):
            await self._handover.put(BytesReceived(self._clock.now_s(), data))
        # A car that has fallen silent for good is still to be waited for, as a real one would be.
        await self._clock.sleep(max(start_s + self._duration_s - self._clock.now_s(), 0.0))


def _simulate(address: SimulatedAddress) -> tuple[Iterable[Emission], float]:
    """Return what the car of `address` sends, and how long its scenario lasts in seconds."""
    from groundstation.simulator.scenarios import SCENARIOS
    from groundstation.simulator.simulation import Simulation

    scenario = SCENARIOS.get(address.scenario)
    if scenario is None:
        nearest = get_close_matches(address.scenario, SCENARIOS, n=1)
        raise UnknownSourceError(
            f'There is no scenario "{address.scenario}"',
            f"The nearest is {nearest[0]}" if nearest else f"There are {', '.join(SCENARIOS)}",
        )
    return Simulation(scenario, seed=address.seed), scenario.duration_s
