"""The runs that can be simulated by name.

Cars, courses and places are invented. `oscillation_before` and `oscillation_after` differ in one
number, the stabiliser's gain, and meet the same road with the same seed.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from math import inf, sqrt
from types import MappingProxyType

from groundstation.errors import UsageError
from groundstation.simulator.channel import ChannelParameters, Lobe
from groundstation.simulator.command import Command
from groundstation.simulator.control_receiver import ControlReceiverParameters
from groundstation.simulator.driver_plan import DriverPlan, Leg, Pass, TurnRound, Wait
from groundstation.simulator.hands import Carry, TransmitterOff, TurnOnSpot
from groundstation.simulator.scenario import CarParameters, CourseParameters, Scenario
from groundstation.simulator.yaw import StabiliserParameters, YawParameters

_MID_COURSE = CourseParameters(driver_along_m=145.0, driver_across_m=-7.0)
_LONG_COURSE = CourseParameters(driver_along_m=215.0, driver_across_m=-7.0)
_CAR = CarParameters()

_OPPOSITE_PASSES = Scenario(
    name="opposite_passes",
    summary="Two clean passes in opposite directions, with a stop and a turn-round between them.",
    duration_s=78.0,
    plan=DriverPlan(
        legs=(
            Wait(4.0),
            Pass(lift_at_m=150.0),
            Wait(10.0),
            TurnRound(),
            Wait(12.0),
            Pass(lift_at_m=140.0, backward=True),
        )
    ),
    course=_MID_COURSE,
    channel=ChannelParameters(shadow_sigma_db=1.5),
)

_RANGE_EDGE = Scenario(
    name="range_edge",
    summary="A pass that holds the throttle to the edge of range; failsafe stops the car.",
    duration_s=42.0,
    plan=DriverPlan(legs=(Wait(4.0), Pass(lift_at_m=900.0))),
)

_ANTENNA_DISTURBED = Scenario(
    name="antenna_disturbed",
    summary="A pass with the car's aerial pressed against the pack: the signal is weak everywhere.",
    duration_s=34.0,
    plan=DriverPlan(legs=(Wait(4.0), Pass(lift_at_m=150.0))),
    course=_MID_COURSE,
    channel=ChannelParameters(disturbance_db=9.0, pattern=(Lobe(1, 2.5, 0.0), Lobe(2, 1.5, 20.0))),
)

_OSCILLATION_AFTER = Scenario(
    name="oscillation_after",
    summary="The same pass with the stabiliser's gain turned down: the car runs calm.",
    duration_s=38.0,
    plan=DriverPlan(legs=(Wait(4.0), Pass(lift_at_m=270.0))),
    course=_LONG_COURSE,
)

_OSCILLATION_BEFORE = replace(
    _OSCILLATION_AFTER,
    name="oscillation_before",
    summary="A pass in which too much stabiliser gain makes the car sway at speed.",
    car=replace(_CAR, stabiliser=StabiliserParameters(gain_percent_per_dps=0.48)),
)

_CRASH = Scenario(
    name="crash",
    summary="A pass with ballast too far back: the car swings off the line, rolls, falls silent.",
    duration_s=30.0,
    plan=DriverPlan(legs=(Wait(4.0), Pass(lift_at_m=400.0))),
    course=_LONG_COURSE,
    car=replace(
        _CAR,
        yaw=YawParameters(front_m=0.176, rear_m=0.154),
        stabiliser=StabiliserParameters(gain_percent_per_dps=0.20),
    ),
)

_DEMO = Scenario(
    name="demo",
    summary="Ten minutes of passes out and back; each one out comes near the limit of range.",
    duration_s=600.0,
    plan=DriverPlan(
        legs=(
            Wait(1.2),
            Pass(lift_at_m=140.0),
            Wait(1.5),
            TurnRound(),
            Wait(1.0),
            Pass(lift_at_m=120.0, backward=True),
            Wait(1.5),
            TurnRound(),
        ),
        repeats=True,
    ),
    course=CourseParameters(driver_along_m=60.0),
)

CHECK_MARKS_M = (10.0, 20.0, 40.0, 80.0)
"""Distances from the driver to which the car of a range check is carried."""

CHECK_HOLD_S = 5.0
"""At each heading."""


def _walk(course: CourseParameters) -> tuple[Leg, ...]:
    legs: list[Leg] = []
    for distance_m in CHECK_MARKS_M:
        along_m = course.driver_along_m + sqrt(distance_m**2 - course.driver_across_m**2)
        # A moment to put it down, before and after.
        legs += [Carry(to_m=along_m), TurnOnSpot(hold_s=CHECK_HOLD_S + 1.0)]
    return tuple(legs)


_RANGE_CHECK = Scenario(
    name="range_check",
    summary="A range check: at rest, transmitter off and on, carried to four marks and turned.",
    duration_s=215.0,
    plan=DriverPlan(
        legs=(
            Wait(7.5),
            TransmitterOff(3.0, throttle=0.06, spin_s=1.5),
            Wait(5.0),
            *_walk(CourseParameters()),
        )
    ),
    channel=ChannelParameters(shadow_sigma_db=1.5),
)

_RANGE_CHECK_DISTURBED = replace(
    _RANGE_CHECK,
    name="range_check_disturbed",
    summary="The same check with an aerial that lies wrong: 8 dB less, and a null to one side.",
    channel=replace(
        _RANGE_CHECK.channel,
        disturbance_db=8.0,
        pattern=(Lobe(1, 4.5, 90.0), Lobe(2, 2.0, 0.0)),
    ),
)

_RANGE_CHECK_HOLDS_THROTTLE = replace(
    _RANGE_CHECK,
    name="range_check_holds_throttle",
    summary="The same check with a failsafe set at part throttle: the wheels keep turning.",
    receiver=ControlReceiverParameters(failsafe_command=Command(throttle=0.1)),
)

_RANGE_CHECK_NO_FAILSAFE = replace(
    _RANGE_CHECK,
    name="range_check_no_failsafe",
    summary="The same check with a receiver that never says failsafe.",
    receiver=ControlReceiverParameters(failsafe_after_s=inf),
)

_RANGE_CHECK_RECOVERS_LATE = replace(
    _RANGE_CHECK,
    name="range_check_recovers_late",
    summary="The same check with a receiver that stays in failsafe after the transmitter is on.",
    receiver=ControlReceiverParameters(recover_after_s=12.0),
)

SCENARIOS: Mapping[str, Scenario] = MappingProxyType(
    {
        scenario.name: scenario
        for scenario in (
            _DEMO,
            _OPPOSITE_PASSES,
            _RANGE_EDGE,
            _ANTENNA_DISTURBED,
            _OSCILLATION_BEFORE,
            _OSCILLATION_AFTER,
            _CRASH,
            _RANGE_CHECK,
            _RANGE_CHECK_DISTURBED,
            _RANGE_CHECK_HOLDS_THROTTLE,
            _RANGE_CHECK_NO_FAILSAFE,
            _RANGE_CHECK_RECOVERS_LATE,
        )
    }
)


def scenario_named(name: str) -> Scenario:
    """Return a scenario.

    Raises:
        UsageError: No scenario has this name.
    """
    scenario = SCENARIOS.get(name)
    if scenario is None:
        raise UsageError(
            f"no scenario is called {name!r}", f"There are: {', '.join(sorted(SCENARIOS))}"
        )
    return scenario
