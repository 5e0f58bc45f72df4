"""Passes that keep their margin, on which nothing may be cried."""

from __future__ import annotations

from dataclasses import replace

import pytest

from groundstation.inbound import BytesReceived, DriverPlaced
from groundstation.radio.level import Level
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation
from groundstation.vehicle.session_events import LevelChanged
from groundstation.vehicle.telemetry import Telemetry

TICK_S = 0.05
SCENARIO = SCENARIOS["opposite_passes"]


def cried(seed: int, *, until_s: float, placed: bool) -> list[float]:
    """Return how far along the course the car was whenever the level became LIFT or worse."""
    simulation = Simulation(replace(SCENARIO, duration_s=until_s), seed=seed)
    telemetry, next_tick_s, found = Telemetry(), TICK_S, []
    course = SCENARIO.course
    if placed:
        place_deg = course.origin.place_deg(course.driver_along_m, course.driver_across_m)
        telemetry.handle(DriverPlaced(0.0, *place_deg))
    for emission in simulation:
        while next_tick_s <= emission.at_s:
            found += [
                simulation.truth.position_m
                for event in telemetry.tick(next_tick_s)
                if isinstance(event, LevelChanged) and event.level.rank >= Level.LIFT.rank
            ]
            next_tick_s += TICK_S
        telemetry.handle(BytesReceived(emission.at_s, emission.data))
    return found


@pytest.mark.parametrize("seed", [1, 7])
def test_a_car_that_passes_the_driver_in_mid_course_is_not_cried_on(seed: int) -> None:
    # It comes by at 7 m after 145 m of way, with 44 m/s, and stops 137 m beyond him.
    assert cried(seed, until_s=18.0, placed=True) == []


@pytest.mark.parametrize("seed", [1, 7])
def test_a_start_far_from_a_driver_whose_place_nobody_told_is_not_cried_on(seed: int) -> None:
    # He stands 145 m ahead; the car's first fix stands in for him, until the level refutes it.
    assert cried(seed, until_s=18.0, placed=False) == []
