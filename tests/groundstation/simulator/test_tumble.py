"""A car that has let go of the road."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.tumble import Tumble, TumbleParameters
from groundstation.simulator.world import World


def test_it_slides_as_far_as_its_friction_lets_it() -> None:
    # v^2 / (2 mu g), 30 m/s at 0.5: 91.8 m.
    tumble = Tumble(TumbleParameters(friction=0.5), seed=1, start_s=0.0)
    speed_mps, slid_m, t_s = 30.0, 0.0, 0.0
    blows, rates = [], []
    while speed_mps > 0.0:
        before_mps = speed_mps
        speed_mps, axes = tumble.advance(t_s=t_s, speed_mps=speed_mps, step_s=0.01, count=10)
        slid_m += 0.005 * (before_mps + speed_mps)
        t_s += 0.01
        blows.append(np.abs(axes).max())
        rates.append(abs(tumble.yaw_rate_radps))
    assert slid_m == pytest.approx(30.0**2 / (2 * 0.5 * 9.80665), abs=0.2)
    # Blow after blow, and less and less spin.
    assert sum(blow > 6.0 for blow in blows) > 20
    assert np.mean(rates[:100]) > 2 * np.mean(rates[-100:])
    assert axes[2] == [-1.0] * 10


@pytest.mark.parametrize(("half_width_m", "rolls"), [(0.3, True), (15.0, False)])
def test_leaving_the_course_at_speed_ends_in_a_roll(half_width_m: float, rolls: bool) -> None:
    scenario = SCENARIOS["oscillation_before"]
    course = replace(scenario.course, half_width_m=half_width_m)
    world = World(replace(scenario, course=course), seed=1)
    while world.t_s < 14.0:
        world.advance()
    assert (world.tumble is not None) is rolls
    assert world.truth().crashed is rolls
    assert (world.truth().damping_ratio == 1.0) is rolls


def test_silence_follows_a_crash_only_where_something_breaks() -> None:
    scenario = SCENARIOS["crash"]
    car = replace(scenario.car, tumble=TumbleParameters(silent_after_s=None))
    for each, silent in ((scenario, True), (replace(scenario, car=car), False)):
        world = World(each, seed=3)
        while world.t_s < 20.0:
            world.advance()
        assert world.tumble is not None
        assert world.silent is silent
