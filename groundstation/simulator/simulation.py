"""A simulated car, as a ground station meets it: bytes with their time of arrival.

Owns the joint of the world, the car's firmware and the telemetry link. A run is told by its
scenario and its seed, to the last bit, however fast or slowly it is drawn.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, fields
from typing import Any, Self

import numpy as np

from groundstation.simulator.channel import ControlChannel
from groundstation.simulator.downlink import Downlink
from groundstation.simulator.firmware import Firmware
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.truth import Truth, Truths
from groundstation.simulator.world import World
from protocol import Table


@dataclass(frozen=True, slots=True)
class Emission:
    """Bytes that arrive at the ground."""

    at_s: float
    """Seconds since the run began."""
    data: bytes


class Simulation:
    """An iterator over what arrives, in the order of arrival; lazy, so it can be paced."""

    def __init__(self, scenario: Scenario, *, seed: int, table: Table | None = None) -> None:
        self.scenario = scenario
        self.seed = seed
        self._world = World(scenario, seed=seed)
        self._firmware = Firmware(scenario, seed=seed, table=table)
        self._downlink = Downlink(scenario.telemetry, seed=seed)
        self._arriving: deque[Emission] = deque()

    @property
    def truth(self) -> Truth:
        """The newest state of the world; it may be a frame ahead of what has arrived."""
        return self._world.truth()

    @property
    def channel(self) -> ControlChannel:
        """The control link's air, to ask for the true mean power at any place."""
        return self._world.channel

    @property
    def lift_at_s(self) -> float | None:
        """When the driver lifts whatever the plan says; None once done, or never told."""
        return self._world.driver.lift_at_s

    @lift_at_s.setter
    def lift_at_s(self, at_s: float | None) -> None:
        self._world.driver.lift_at_s = at_s

    def __iter__(self) -> Self:
        return self

    def __next__(self) -> Emission:
        world = self._world
        while not self._arriving:
            if world.t_s >= self.scenario.duration_s:
                raise StopIteration
            world.advance()
            if world.silent:
                continue
            for data in self._firmware.frames(world):
                at_s = self._downlink.arrival_s(world.t_s)
                if at_s is not None:
                    self._arriving.append(Emission(at_s, data))
        return self._arriving.popleft()


def simulate_truth(scenario: Scenario, seed: int, *, lift_at_s: float | None = None) -> Truths:
    """Return what really happens in a run, without encoding a byte of it.

    Args:
        scenario: What to run.
        seed: Not negative; the same as for `Simulation` gives the same run.
        lift_at_s: When the driver lifts whatever the plan says.
    """
    world = World(scenario, seed=seed)
    world.driver.lift_at_s = lift_at_s
    rows: list[Truth] = []
    while world.t_s < scenario.duration_s:
        world.advance()
        rows.append(world.truth())
    columns: dict[str, Any] = {
        field.name: np.array([getattr(row, field.name) for row in rows]) for field in fields(Truths)
    }
    return Truths(**columns)
