"""The steering schedule, and side acceleration."""

from __future__ import annotations

from math import radians

import pytest

from groundstation.analysis.steering import side_mps2, steering_schedule, turn_radius_m
from groundstation.units import STANDARD_GRAVITY_MPS2


@pytest.mark.parametrize(
    ("speed_mps", "yaw_radps", "side", "g", "radius_m"),
    [
        (30.0, 0.2, 6.0, 0.61183, 150.0),
        (50.0, radians(5.0), 4.3633, 0.44494, 572.96),
        (89.408, radians(20.0), 31.209, 3.182, 256.14),
    ],
)
def test_side_acceleration_of_known_turns(
    speed_mps: float, yaw_radps: float, side: float, g: float, radius_m: float
) -> None:
    # a = v r = v^2 / R, worked out by hand.
    assert side_mps2(speed_mps, yaw_radps) == pytest.approx(side, rel=2e-5)
    assert side_mps2(speed_mps, yaw_radps) / STANDARD_GRAVITY_MPS2 == pytest.approx(g, rel=2e-4)
    assert turn_radius_m(speed_mps, yaw_radps) == pytest.approx(radius_m, rel=2e-5)


def test_the_schedule_keeps_to_the_side_acceleration_and_to_the_lock() -> None:
    rows = steering_schedule(
        [2.0, 10.0, 20.0, 40.0], most_side_mps2=4.0, wheelbase_m=0.33, steering_lock_deg=12.0
    )
    assert rows[0].steering_percent == pytest.approx(100.0)
    assert rows[0].side_mps2 < 4.0
    for row in rows[1:]:
        assert row.side_mps2 == pytest.approx(4.0)
        assert radians(row.wheel_deg) == pytest.approx(0.33 * 4.0 / row.speed_mps**2)
    assert rows[2].steering_percent == pytest.approx(rows[1].steering_percent / 4.0)


def test_an_understeering_car_may_turn_its_wheels_further() -> None:
    given = {"most_side_mps2": 4.0, "wheelbase_m": 0.33, "steering_lock_deg": 12.0}
    neutral = steering_schedule([40.0], **given)[0]
    understeering = steering_schedule([40.0], understeer_rad_per_mps2=0.001, **given)[0]
    assert radians(understeering.wheel_deg - neutral.wheel_deg) == pytest.approx(0.004)
    assert understeering.yaw_rate_dps == pytest.approx(neutral.yaw_rate_dps)


def test_no_schedule_beyond_the_critical_speed() -> None:
    with pytest.raises(ValueError, match="unstable at 40"):
        steering_schedule(
            [40.0],
            most_side_mps2=4.0,
            wheelbase_m=0.33,
            steering_lock_deg=12.0,
            understeer_rad_per_mps2=-0.001,
        )
    with pytest.raises(ValueError, match="above zero"):
        steering_schedule([0.0], most_side_mps2=4.0, wheelbase_m=0.33, steering_lock_deg=12.0)
