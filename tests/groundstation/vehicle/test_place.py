"""Where the car is, by fixes, by speed and by both."""

from __future__ import annotations

from math import cos, radians, sin

import pytest

from groundstation.vehicle.place import USABLE_ACCURACY_M, Origin, Place
from protocol import Value


def fix(latitude_deg: float, longitude_deg: float, **more: Value) -> dict[str, Value]:
    values: dict[str, Value] = {"latitude_deg": latitude_deg, "longitude_deg": longitude_deg}
    return values | {"fix_type": 3, "horizontal_accuracy_m": 1.0, "ground_speed_mps": 0.0} | more


@pytest.mark.parametrize(
    ("there", "metres"),
    [
        # Short lines at 52 degrees, WGS 84 (computed with geographiclib and pyproj).
        ((52.001, 0.002), 176.7673),
        ((52.001, 0.0), 111.2674),
        ((52.0, 0.001), 68.6780),
        # Direct problem from (52, 0), azimuth 37 degrees, 1000 m (the same).
        ((52.00717729617, 0.00876424981), 1000.0),
    ],
)
def test_distance_on_the_ellipsoid(there: tuple[float, float], metres: float) -> None:
    place = Place()
    place.stand_at(52.0, 0.0)
    place.take_fix(fix(*there))
    assert place.distance_m == pytest.approx(metres, abs=1e-4)
    assert place.origin is Origin.DRIVER


def test_the_first_fix_at_rest_stands_in_for_the_driver() -> None:
    place = Place()
    place.take_fix(fix(52.0, 0.0, ground_speed_mps=20.0))
    assert place.distance_m is None
    place.take_fix(fix(52.0, 0.0))
    place.take_fix(fix(52.001, 0.002, ground_speed_mps=20.0))
    assert place.distance_m == pytest.approx(176.7673, abs=1e-4)
    assert place.origin is Origin.FIRST_FIX


@pytest.mark.parametrize(
    "useless",
    [
        {"fix_type": 0},
        {"horizontal_accuracy_m": USABLE_ACCURACY_M + 1},
        {"latitude_deg": None},
    ],
)
def test_a_fix_that_is_no_place_is_passed_over(useless: dict[str, Value]) -> None:
    place = Place()
    place.take_fix(fix(52.0, 0.0))
    place.take_fix(fix(52.001, 0.0) | useless)
    assert place.distance_m == 0.0


def test_a_stand_in_for_the_driver_leaves_doubt_of_the_distance() -> None:
    told, guessed = Place(), Place()
    told.stand_at(52.0, 0.0)
    for place in (told, guessed):
        place.take_fix(fix(52.0, 0.0))
    assert told.distance_sigma_m == pytest.approx(1.0)
    assert guessed.distance_sigma_m > 5.0


def test_leaving_and_coming_back() -> None:
    place = Place()
    place.stand_at(0.0, 0.0)
    place.take_motion({"speed_mps": 30.0}, 0.0)
    # 0.001 degrees east of the driver; course 90 is east, 270 is back to the driver.
    for course_deg, away_mps in ((90.0, 30.0), (270.0, -30.0), (0.0, 0.0), (30.0, 15.0)):
        place.take_fix(fix(0.0, 0.001, course_deg=course_deg, ground_speed_mps=30.0))
        assert place.away_mps == pytest.approx(away_mps, abs=1e-6)


def test_a_late_fix_is_carried_to_now() -> None:
    place = Place()
    place.stand_at(0.0, 0.0)
    place.take_motion({"speed_mps": 50.0}, 0.0)
    late = fix(0.0, 0.001, course_deg=90.0, ground_speed_mps=50.0)
    place.take_fix(late)
    there_m = place.distance_m or 0.0
    place.take_fix(late, lag_s=0.2)
    assert place.distance_m == pytest.approx(there_m + 10.0)


def test_without_a_fix_speed_is_integrated() -> None:
    place = Place()
    for count in range(301):
        place.take_motion({"speed_mps": 0.0 if count < 100 else 20.0}, count * 0.01)
    assert place.distance_m == pytest.approx(20.0 * 2.005, rel=1e-3)
    assert place.away_mps == pytest.approx(20.0)
    assert place.origin is Origin.START
    assert place.sigma_m > 1.0


def test_without_a_fix_yaw_rate_turns_the_car_round() -> None:
    place, at_s = Place(), 0.0

    def drive(seconds: float, *, speed_mps: float, yaw_dps: float) -> None:
        nonlocal at_s
        for _ in range(round(seconds * 100)):
            at_s += 0.01
            # The gyro has a bias, which shows while the car stands.
            place.take_motion({"speed_mps": speed_mps, "yaw_rate_dps": yaw_dps + 2.0}, at_s)

    drive(8.0, speed_mps=0.0, yaw_dps=0.0)
    drive(10.0, speed_mps=20.0, yaw_dps=0.0)
    assert place.distance_m == pytest.approx(200.0, rel=0.01)
    drive(6.0, speed_mps=2.0, yaw_dps=30.0)
    drive(5.0, speed_mps=20.0, yaw_dps=0.0)
    assert place.away_mps == pytest.approx(-20.0, rel=0.02)
    assert place.distance_m == pytest.approx(100.0, abs=8.0)


def test_a_long_silence_is_not_bridged_by_old_speed() -> None:
    place = Place()
    place.take_motion({"speed_mps": 20.0}, 0.0)
    place.take_motion({"speed_mps": 20.0}, 0.01)
    before_m = place.distance_m
    place.take_motion({"speed_mps": 20.0}, 30.0)
    assert place.distance_m == before_m


def test_heading_follows_iso_8855() -> None:
    place = Place()
    place.stand_at(0.0, 0.0)
    place.take_fix(fix(0.0, 0.0, course_deg=60.0, ground_speed_mps=10.0))
    # Course 60 degrees clockwise from north is heading 30 degrees counter-clockwise from east.
    assert place.heading_deg == 30.0
    place.take_motion({"speed_mps": 10.0}, 0.0)
    place.take_motion({"speed_mps": 10.0}, 1.0)
    assert place.east_m == pytest.approx(10.0 * cos(radians(30.0)))
    assert place.north_m == pytest.approx(10.0 * sin(radians(30.0)))


def test_a_motion_frame_without_any_speed_moves_nothing() -> None:
    place = Place()
    for count in range(10):
        place.take_motion({"speed_mps": 10.0}, 0.1 * count)
    gone_m = place.distance_m
    place.take_motion({"yaw_rate_dps": 90.0}, 1.0)
    assert (place.distance_m, place.heading_deg, place.speed_mps) == (gone_m, 0.0, 10.0)
    # The next one bridges the gap.
    place.take_motion({"speed_mps": 10.0}, 1.1)
    assert place.distance_m == pytest.approx((gone_m or 0.0) + 2.0)
