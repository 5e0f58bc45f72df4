"""The longest course: it fits exactly, and it never grows when something gets worse."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.planning.course import LONGEST_M, Course
from groundstation.planning.margins import Checked, margins
from groundstation.planning.plan import make_plan
from groundstation.planning.reach import away_m, find_reach
from groundstation.radio.forecast import Braking
from groundstation.radio.propagation import Polarisation, plane_earth_loss_db
from tests.groundstation.planning.examples import AT_START, PRIOR, RADIO, stronger

STANDS = st.one_of(st.none(), st.floats(-100.0, 100.0))


def test_reach_is_where_the_margin_is_the_required_one() -> None:
    reach = find_reach(AT_START, RADIO, required_margin_db=10.0)
    assert reach.reach_m is not None
    assert margins(reach.reach_m, RADIO).two_ray_db == pytest.approx(10.0, abs=1e-3)
    # 114 - 10 dB of loss; 97.34 dB at 100 m and 12.04 dB a doubling make 147 m, to a metre.
    assert reach.reach_m == pytest.approx(100.0 * 2.0 ** ((104.0 - 97.34) / 11.85), abs=1.0)
    # Without a speed nothing is needed to stop.
    assert reach.lift_at_m == reach.longest_course_m == reach.edge_at_m == reach.reach_m
    assert not reach.unlimited


def test_room_to_stop_is_taken_off() -> None:
    still = find_reach(AT_START, RADIO, required_margin_db=10.0)
    braking = Braking(react_s=0.5, latency_s=0.0, decel_mps2=7.0, decel_sigma_mps2=0.0)
    moving = find_reach(
        replace(AT_START, speed_mps=30.0, braking=braking), RADIO, required_margin_db=10.0
    )
    assert still.longest_course_m is not None
    assert moving.longest_course_m == pytest.approx(still.longest_course_m - 79.29, abs=0.01)
    assert moving.edge_at_m == still.edge_at_m


def test_mid_course_doubles_the_course_but_not_the_room_to_stop() -> None:
    course = replace(AT_START, speed_mps=20.0)
    at_start = find_reach(course, RADIO, required_margin_db=10.0)
    middle = find_reach(replace(course, driver_at_m=None), RADIO, required_margin_db=10.0)
    assert at_start.longest_course_m is not None
    assert middle.longest_course_m == pytest.approx(2.0 * at_start.longest_course_m, abs=0.01)
    assert middle.reach_m == at_start.reach_m


def test_a_place_before_the_start_costs_what_it_is_away() -> None:
    at_start = find_reach(AT_START, RADIO, required_margin_db=10.0)
    before = find_reach(replace(AT_START, driver_at_m=-30.0), RADIO, required_margin_db=10.0)
    assert at_start.longest_course_m is not None
    assert before.longest_course_m == pytest.approx(at_start.longest_course_m - 30.0, abs=0.01)


def test_no_course_where_the_start_is_out_of_reach() -> None:
    for place_m in (-400.0, 400.0):
        reach = find_reach(replace(AT_START, driver_at_m=place_m), RADIO, required_margin_db=10.0)
        assert reach.longest_course_m is None
        assert reach.lift_at_m is None
        assert reach.edge_at_m is None


def test_a_strong_link_is_not_extrapolated() -> None:
    reach = find_reach(AT_START, stronger(RADIO, 30.0), required_margin_db=-70.0)
    assert reach.unlimited
    assert reach.longest_course_m == LONGEST_M


def test_the_first_hole_ends_the_reach_though_the_margin_comes_back() -> None:
    # Both antennas high, horizontal: after the local mean a hole is left before the last maximum.
    radio = replace(
        RADIO, transmitter_height_m=2.0, car_height_m=2.0, polarisation=Polarisation.HORIZONTAL
    )
    along_m = np.geomspace(3.0, 500.0, 4000)
    found_db = margins(along_m, radio).two_ray_db
    last_rise = int(np.flatnonzero(np.diff(found_db) > 0.0)[-1])
    hole_db = float(found_db[:last_rise].min())
    assert hole_db < found_db[last_rise] - 3.0
    required_db = hole_db + 0.2
    reach_m = away_m(radio, required_margin_db=required_db, from_m=3.0, aside_m=0.0)
    holds = found_db >= required_db
    first_short_m = float(along_m[np.flatnonzero(~holds)[0]])
    assert reach_m == pytest.approx(first_short_m, rel=0.02)
    assert holds[along_m > first_short_m].any()


@settings(max_examples=60, deadline=None)
@given(
    length_m=st.floats(20.0, 800.0),
    stands_m=STANDS,
    aside_m=st.floats(0.0, 20.0),
    speed_mps=st.floats(0.0, 60.0),
    power_db=st.floats(-15.0, 25.0),
    by_check=st.booleans(),
)
def test_the_longest_course_fits_and_a_longer_one_does_not(
    length_m: float,
    stands_m: float | None,
    aside_m: float,
    speed_mps: float,
    power_db: float,
    by_check: bool,
) -> None:
    radio = stronger(RADIO, power_db)
    checked = Checked(PRIOR, RADIO) if by_check else None
    course = Course(
        length_m=length_m, driver_at_m=stands_m, driver_aside_m=aside_m, speed_mps=speed_mps
    )
    plan = make_plan(course, radio, checked=checked)
    longest_m = plan.reach.longest_course_m
    assert plan.enough == (longest_m is not None and length_m <= longest_m)
    if longest_m is not None and longest_m > 2.0:
        longest = replace(course, length_m=min(longest_m, LONGEST_M) - 0.01)
        assert make_plan(longest, radio, checked=checked).enough
        if longest_m < LONGEST_M - 2.0 and not plan.reach.unlimited:
            longer = replace(course, length_m=longest_m + 1.0)
            assert not make_plan(longer, radio, checked=checked).enough


@settings(max_examples=40, deadline=None)
@given(
    stands_m=STANDS,
    speed_mps=st.floats(0.0, 60.0),
    car_height_m=st.floats(0.02, 0.3),
    less_db=st.floats(0.0, 20.0),
    required_db=st.floats(0.0, 25.0),
    by_check=st.booleans(),
)
def test_the_longest_course_never_grows_when_power_falls_or_more_is_required(
    stands_m: float | None,
    speed_mps: float,
    car_height_m: float,
    less_db: float,
    required_db: float,
    by_check: bool,
) -> None:
    radio = replace(RADIO, car_height_m=car_height_m)
    checked = Checked(PRIOR, radio) if by_check else None
    course = Course(driver_at_m=stands_m, speed_mps=speed_mps)

    def longest_m(by_db: float, needed_db: float, speed: float) -> float:
        reach = find_reach(
            replace(course, speed_mps=speed),
            stronger(radio, by_db),
            required_margin_db=needed_db,
            checked=checked,
        )
        return reach.longest_course_m or 0.0

    now_m = longest_m(0.0, required_db, speed_mps)
    # The search ends within a millimetre, the mid-course doubles that.
    assert longest_m(-less_db, required_db, speed_mps) <= now_m + 0.005
    assert longest_m(0.0, required_db + less_db, speed_mps) <= now_m + 0.005
    assert longest_m(0.0, required_db, speed_mps + less_db) <= now_m + 0.005


def test_plane_earth_is_the_pessimists_answer() -> None:
    # What the bound gives at the reach of the two rays is less than was required.
    reach = find_reach(AT_START, RADIO, required_margin_db=10.0)
    assert reach.reach_m is not None
    bound_db = 114.0 - plane_earth_loss_db(
        reach.reach_m, transmitter_height_m=1.5, receiver_height_m=0.05
    )
    assert bound_db == pytest.approx(4.8, abs=0.2)
