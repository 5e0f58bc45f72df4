"""The driver's plan, hands and nerves."""

from __future__ import annotations

from dataclasses import dataclass, field
from math import pi

import pytest

from groundstation.simulator.command import REST, Command
from groundstation.simulator.driver import Doing, Driver
from groundstation.simulator.driver_plan import DriverPlan, Pass, TurnRound, Wait
from groundstation.simulator.hands import STEP_S
from groundstation.simulator.steering import Seen
from groundstation.simulator.yaw import StabiliserParameters, YawParameters


@dataclass
class Track:
    """A point that goes straight at the speed it is given, and the driver who watches it."""

    plan: DriverPlan
    along_m: float = 0.0
    across_m: float = 0.0
    heading_rad: float = 0.0
    speed_mps: float = 0.0
    failsafe: bool = False
    crashed: bool = False
    now_s: float = 0.0
    driver: Driver = field(init=False)

    def __post_init__(self) -> None:
        self.driver = Driver(
            self.plan, yaw=YawParameters(), stabiliser=StabiliserParameters(), mass_kg=5.0, seed=1
        )

    def watch(self, seconds: float = STEP_S) -> Command:
        command = REST
        for _ in range(round(seconds / STEP_S)):
            command = self.driver.decide(
                Seen(
                    self.now_s,
                    self.along_m,
                    self.across_m,
                    self.heading_rad,
                    self.speed_mps,
                    0.0,
                    self.failsafe,
                    self.crashed,
                )
            )
            self.now_s += STEP_S
            self.along_m += self.speed_mps * STEP_S
        return command


def test_legs_follow_each_other_and_end() -> None:
    track = Track(DriverPlan(legs=(Wait(0.5), Pass(lift_at_m=20.0, coast_s=0.1))))
    assert track.watch(0.4) == REST
    track.watch(0.2)
    assert track.watch(1.0).throttle == 1.0
    assert track.driver.doing is Doing.ACCELERATING
    track.speed_mps = 30.0
    assert track.watch(0.6).throttle == 1.0
    track.watch(0.2)
    assert track.watch().throttle == -0.8
    assert track.driver.doing is Doing.BRAKING
    track.speed_mps = 0.0
    track.watch(1.5)
    assert track.driver.leg is None
    assert track.watch() == REST


def test_a_repeating_plan_begins_again() -> None:
    track = Track(DriverPlan(legs=(Wait(0.1), Wait(0.2)), repeats=True))
    seen = []
    for _ in range(100):
        track.watch()
        seen.append(track.driver.leg)
    assert {Wait(0.1), Wait(0.2)} == set(seen)
    assert seen[-40:].count(Wait(0.1)) > 5


def test_throttle_is_squeezed_not_switched() -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=500.0),), throttle_per_s=2.0))
    assert track.watch(0.25).throttle == pytest.approx(0.5)


def test_speed_limit_is_held_by_the_throttle() -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=1e6, speed_limit_mps=20.0),)), speed_mps=25.0)
    assert track.watch(2.0).throttle == 0.0
    track.speed_mps = 18.0
    assert track.watch(2.0).throttle == 1.0


def test_backward_pass_lifts_on_the_way_down() -> None:
    plan = DriverPlan(legs=(Pass(lift_at_m=100.0, backward=True, coast_s=0.0),))
    track = Track(plan, along_m=200.0, heading_rad=pi)
    assert track.watch(1.0).throttle == 1.0
    track.along_m = 99.0
    assert track.watch().throttle < 0.0


def test_steering_follows_what_was_seen_a_reaction_ago() -> None:
    plan = DriverPlan(legs=(Pass(lift_at_m=1e6),), reaction_s=0.2, sees_offset_m_per_m=0.0)
    track = Track(plan, speed_mps=20.0)
    assert track.watch(1.0).steering_percent == pytest.approx(0.0, abs=1e-9)
    track.across_m = 2.0
    assert track.watch(0.18).steering_percent == pytest.approx(0.0, abs=1e-9)
    # Left of the line: steer to the right, which is negative.
    assert track.watch(0.05).steering_percent < -0.5


def test_steering_is_for_the_line_in_either_direction() -> None:
    plan = DriverPlan(legs=(Pass(lift_at_m=-1e6, backward=True),), sees_offset_m_per_m=0.0)
    track = Track(plan, speed_mps=20.0, heading_rad=3 * pi, across_m=2.0)
    # Going back, the line lies to the car's left.
    assert track.watch(1.0).steering_percent > 0.5


def test_told_to_lift_the_driver_lifts_once() -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=1e6, coast_s=0.0),)), speed_mps=15.0)
    track.driver.lift_at_s = 1.0
    assert track.watch(1.0).throttle == 1.0
    assert track.watch(0.02).throttle < 0.0
    assert track.driver.lift_at_s is None


def test_failsafe_makes_the_driver_lift_after_a_while() -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=1e6, coast_s=0.0),)), speed_mps=15.0)
    track.watch(1.0)
    track.failsafe = True
    assert track.watch(0.8).throttle == 1.0
    assert track.watch(0.2).throttle < 0.0


@pytest.mark.parametrize(("speed_mps", "lifts"), [(30.0, True), (10.0, False)])
def test_a_car_that_swings_off_at_speed_is_let_go(speed_mps: float, lifts: bool) -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=1e6, coast_s=0.0),)), speed_mps=speed_mps)
    track.watch(1.0)
    track.heading_rad = 0.4
    assert (track.watch(0.3).throttle < 0.0) is lifts


def test_turning_round_asks_for_half_a_turn_to_the_left() -> None:
    track = Track(DriverPlan(legs=(TurnRound(),)), speed_mps=3.0)
    assert track.watch(0.5).steering_percent > 20.0
    track.heading_rad = pi
    track.watch(0.5)
    assert abs(track.watch().steering_percent) < 1.0
    # It ends once the car has come far enough back.
    track.along_m = -20.0
    assert track.watch().throttle < 0.0


def test_nobody_drives_a_wreck() -> None:
    track = Track(DriverPlan(legs=(Pass(lift_at_m=1e6),)), speed_mps=20.0)
    track.watch(1.0)
    track.crashed = True
    assert track.watch() == REST
