"""Geometry of a course, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from math import inf, nan

import pytest

from groundstation.planning.course import Course, Radio
from groundstation.radio.forecast import Braking
from tests.groundstation.planning.examples import BUDGET, RADIO


def test_overrun_is_reaction_and_braking() -> None:
    # OpenStax, example 2.14: 30.0 m/s, 0.500 s of reaction, 7.00 m/s2: 15.0 m and 64.3 m.
    braking = Braking(react_s=0.5, latency_s=0.0, decel_mps2=7.0, decel_sigma_mps2=0.0)
    course = Course(length_m=100.0, speed_mps=30.0, braking=braking)
    assert course.overrun_m == pytest.approx(79.3, abs=0.05)
    assert course.stop_at_m == pytest.approx(179.3, abs=0.05)
    # One stop in twenty is longer than 1.6449 standard deviations more: a tenth of 64.3 m each.
    spread = replace(course, braking=replace(braking, decel_sigma_mps2=0.7))
    assert spread.overrun_m == pytest.approx(79.3 + 1.6449 * 6.43, abs=0.05)


def test_the_driver_stands_where_it_is_said() -> None:
    before = Course(length_m=300.0, driver_at_m=-40.0, driver_aside_m=30.0)
    assert before.distance_m(0.0) == pytest.approx(50.0)
    middle = Course(length_m=300.0, driver_at_m=None, driver_aside_m=0.0)
    assert middle.distance_m(0.0) == middle.distance_m(300.0) == pytest.approx(150.0)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("length_m", 0.0),
        ("length_m", -1.0),
        ("length_m", inf),
        ("length_m", nan),
        ("driver_at_m", nan),
        ("driver_aside_m", -1.0),
        ("speed_mps", -1.0),
        ("speed_mps", nan),
        ("braking", Braking(decel_mps2=0.0)),
        ("braking", Braking(react_s=nan)),
    ],
)
def test_a_course_that_cannot_be(field: str, value: object) -> None:
    with pytest.raises(ValueError, match="must be from"):
        replace(Course(), **{field: value})


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("transmitter_height_m", -1.5),
        ("transmitter_height_m", nan),
        ("car_height_m", 0.0),
        ("frequency_hz", 0.0),
        ("frequency_hz", 2.4),
        ("budget", replace(BUDGET, transmit_power_dbm=nan)),
        ("budget", replace(BUDGET, threshold_dbm=10.0)),
        ("budget", replace(BUDGET, other_losses_db=-1.0)),
        ("budget", replace(BUDGET, transmit_gain_dbi=inf)),
    ],
)
def test_a_radio_that_cannot_be(field: str, value: object) -> None:
    with pytest.raises(ValueError, match="must be from"):
        replace(RADIO, **{field: value})
    assert Radio(budget=BUDGET).budget is BUDGET
