"""How far the wheels may turn at each speed: a schedule to type into a car's firmware.

Owns the steady bicycle model read backward: from the largest side acceleration that is wanted to
the steering that gives it. With the understeer gradient K the yaw rate is v delta / (L + K v^2),
and the side acceleration v times that. Signs: none; the schedule holds to either side.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import degrees, inf, pi, radians


@dataclass(frozen=True, slots=True)
class SteeringLimit:
    """One row of the schedule."""

    speed_mps: float
    wheel_deg: float
    """Largest wheel angle; the steering lock where that is smaller."""
    steering_percent: float
    """The same of full steering."""
    yaw_rate_dps: float
    """In the steady turn at that angle."""
    side_mps2: float
    radius_m: float | None
    """None where the wheels may not turn at all."""


def side_mps2(speed_mps: float, yaw_rate_radps: float) -> float:
    """Return the side acceleration of a steady turn."""
    return speed_mps * yaw_rate_radps


def turn_radius_m(speed_mps: float, yaw_rate_radps: float) -> float:
    """Return the radius of a steady turn; infinite straight ahead."""
    return inf if yaw_rate_radps == 0.0 else speed_mps / yaw_rate_radps


def steering_schedule(
    speeds_mps: Sequence[float],
    *,
    most_side_mps2: float,
    wheelbase_m: float,
    steering_lock_deg: float,
    understeer_rad_per_mps2: float = 0.0,
) -> tuple[SteeringLimit, ...]:
    """Return the largest steering at each speed.

    Args:
        speeds_mps: Above zero.
        most_side_mps2: Side acceleration not to be exceeded in a steady turn.
        wheelbase_m: Between the axles.
        steering_lock_deg: Wheel angle at 100 %.
        understeer_rad_per_mps2: Wheel angle more per side acceleration; 0 is neutral, below
            0 the car oversteers.

    Raises:
        ValueError: A number that no car has, or a speed at or above the critical speed of an
            oversteering car, where no steering is safe.
    """
    if min(most_side_mps2, wheelbase_m, steering_lock_deg, *speeds_mps) <= 0.0:
        raise ValueError("speeds, side acceleration, wheelbase and lock must be above zero")
    rows = []
    for speed_mps in speeds_mps:
        way_m = wheelbase_m + understeer_rad_per_mps2 * speed_mps * speed_mps
        if way_m <= 0.0:
            raise ValueError(f"the car is unstable at {speed_mps:g} m/s: it oversteers too much")
        wheel_rad = min(most_side_mps2 * way_m / speed_mps**2, radians(steering_lock_deg))
        yaw_rate_radps = speed_mps * wheel_rad / way_m
        rows.append(
            SteeringLimit(
                speed_mps=speed_mps,
                wheel_deg=degrees(wheel_rad),
                steering_percent=100.0 * degrees(wheel_rad) / steering_lock_deg,
                yaw_rate_dps=yaw_rate_radps * 180.0 / pi,
                side_mps2=side_mps2(speed_mps, yaw_rate_radps),
                radius_m=turn_radius_m(speed_mps, yaw_rate_radps),
            )
        )
    return tuple(rows)
