"""The whole plan: its places, its verdict, and what changes gain."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.planning.course import TALLEST_M, Course
from groundstation.planning.margins import Checked
from groundstation.planning.plan import Change, make_plan, other_band_hz
from tests.groundstation.planning.examples import AT_START, PRIOR, RADIO, stronger


def test_worked_course() -> None:
    plan = make_plan(replace(AT_START, length_m=400.0), RADIO)
    assert [place.along_m for place in plan.places] == [0.0, 100.0, 200.0, 300.0, 400.0, 400.0]
    by_place = {place.along_m: place for place in plan.places}
    found = [by_place[along_m] for along_m in (100.0, 200.0, 400.0)]
    # The worked budget, computed independently.
    assert [p.free_space_db for p in found] == pytest.approx([33.95, 27.93, 21.91], abs=0.0051)
    assert [p.plane_earth_db for p in found] == pytest.approx([11.50, -0.54, -12.58], abs=0.0051)
    # First Fresnel radius half-way, exact and as ITU-R P.526 rounds it: 1.7672 and 1.7751 m.
    radii_m = [p.fresnel_radius_m for p in found]
    assert radii_m == pytest.approx([1.7672, 2.4991, 3.5343], abs=5e-5)
    assert radii_m == pytest.approx([1.7751, 2.5104, 3.5502], rel=0.005)
    assert plan.stop.name == "stop point"
    assert plan.worst.along_m == 400.0
    assert plan.doubling_db == pytest.approx(12.04, abs=0.1)
    # 4 ht hr / lambda = 2.402 m, over 0.6 squared.
    assert plan.fresnel_clear_to_m == pytest.approx(2.402 / 0.36, abs=0.005)
    assert not plan.enough


def test_fresnel_radius_against_a_satellite_propagation_library() -> None:
    itu530 = pytest.importorskip("itur.models.itu530")
    radius_m = float(itu530.fresnel_ellipse_radius(0.05, 0.05, 2.4).value)
    place = make_plan(replace(AT_START, length_m=100.0), RADIO).places[-2]
    # P.530 writes 17.3 sqrt(d1 d2 / (f d)): 0.1 % less.
    assert place.fresnel_radius_m == pytest.approx(radius_m, rel=0.002)


def test_what_mid_course_height_and_band_gain() -> None:
    plan = make_plan(Course(length_m=400.0, driver_aside_m=0.0, speed_mps=0.0), RADIO)
    gains = {gain.change: gain for gain in plan.gains}
    # Half the distance: 12 dB less a little, over real ground.
    assert gains[Change.MID_COURSE].far_end_db == pytest.approx(121.02 - 109.11, abs=0.01)
    # 868 MHz instead of 2.4 GHz at 400 m: 121.02 - 113.35 dB, computed independently.
    assert gains[Change.OTHER_BAND].far_end_db == pytest.approx(7.67, abs=0.01)
    # A third more height is 2.5 dB over plane earth.
    assert gains[Change.RAISED].far_end_db == pytest.approx(2.4, abs=0.15)
    for gain in plan.gains:
        assert gain.stop_db == gain.far_end_db
        assert gain.longer_m is not None
        assert gain.longer_m > 0.0
        assert gain.reach.longest_course_m is not None
        assert plan.reach.longest_course_m is not None
        longer_m = gain.reach.longest_course_m - plan.reach.longest_course_m
        assert gain.longer_m == pytest.approx(longer_m)


def test_what_cannot_be_changed_is_not_offered() -> None:
    middle = make_plan(Course(driver_at_m=None), RADIO)
    assert Change.MID_COURSE not in {gain.change for gain in middle.gains}
    tall = make_plan(Course(), replace(RADIO, transmitter_height_m=TALLEST_M))
    assert Change.RAISED not in {gain.change for gain in tall.gains}
    assert (other_band_hz(2.44e9), other_band_hz(868e6)) == (868e6, 2.4e9)


@settings(max_examples=40, deadline=None)
@given(st.floats(20.0, 1000.0), st.floats(0.0, 30.0), st.floats(0.3, 3.0), st.floats(0.01, 0.5))
def test_mid_course_is_never_worse_at_the_far_end(
    length_m: float, aside_m: float, sender_m: float, car_m: float
) -> None:
    radio = replace(RADIO, transmitter_height_m=sender_m, car_height_m=car_m)
    plan = make_plan(Course(length_m=length_m, driver_aside_m=aside_m), radio)
    mid = next(gain for gain in plan.gains if gain.change is Change.MID_COURSE)
    # Where the far end is before the last maximum, 3 dB of ripple are left.
    assert mid.far_end_db >= (0.0 if length_m / 2 > plan.fresnel_clear_to_m else -3.0)


def test_the_worst_place_may_be_between() -> None:
    plan = make_plan(Course(length_m=200.0, driver_at_m=400.0, speed_mps=0.0), RADIO)
    assert plan.worst.name == "start"
    assert plan.worst.deciding_db == min(place.deciding_db for place in plan.places)


def test_a_range_check_decides() -> None:
    course = Course(length_m=60.0, speed_mps=10.0)
    assert make_plan(course, RADIO).enough
    checked = Checked(PRIOR, stronger(RADIO, 0.0))
    plan = make_plan(course, RADIO, checked=checked)
    assert plan.stop.checked_p05_db == plan.stop.deciding_db
    assert plan.stop.deciding_db < plan.stop.two_ray_db
    weak = Checked(replace(PRIOR, level_at_1m_dbm=-40.0), RADIO)
    assert not make_plan(course, RADIO, checked=weak).enough
