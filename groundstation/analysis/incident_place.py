"""Where the car was last known to be, and how far from there it may lie.

Rule: a place is never told without its doubt. The last fix is carried on by speed and yaw rate to
the last frame; from there nothing is known but that a car slows down.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import atan2, degrees, hypot, radians

import numpy as np
from geographiclib.geodesic import Geodesic

from groundstation.analysis.course import Course, usable_fixes
from groundstation.analysis.incident_normal import gyro_bias_dps, speed_at
from groundstation.analysis.record import Columns, Record
from groundstation.units import STANDARD_GRAVITY_MPS2

FIX_SIGMA_M = 2.5
"""Of a fix that does not tell its accuracy (common practice, no source)."""
DELAY_SIGMA_S = 0.05
"""Of a satellite receiver whose delay is not known: our own judgement, no source."""
CARRIED_SHARE = 0.05
"""Doubt of a way that was reckoned from speed: slipping wheels."""
HEADING_SIGMA_DEG = 3.0
SLIDING_MPS2 = 3.0
"""A car out of control slows down at least so fast: rolling, sliding or braking (0.3 g; common
practice, no source)."""
MOST_SIDE_G = 1.2
"""More side force than this no tyre of such a car gives (common practice, no source)."""
ROUND_95 = 2.45
"""95 % of a round normal distribution in two dimensions lie within so many sigmas."""


@dataclass(frozen=True, slots=True)
class LastPosition:
    """Where the car was when it was last heard."""

    latitude_deg: float
    longitude_deg: float
    along_m: float | None
    """On the course; None where the course is not known."""
    aside_m: float | None
    at_s: float
    """Vehicle clock."""
    fix_age_s: float
    """The last fix was so much older and was carried on."""
    speed_mps: float
    """At that moment."""
    course_deg: float | None
    """Where it was heading, clockwise from north; None where that is not known."""
    radius_m: float
    """Within this of the position it was, at 95 %."""
    farthest_m: float
    """Within this of the position it lies, once it has come to rest."""
    words: str


@dataclass(frozen=True, slots=True)
class _Way:
    """From the last fix to the last frame."""

    east_m: float
    north_m: float
    doubt_m: float
    """One sigma."""
    speed_mps: float
    """At its end."""
    course_deg: float | None


def last_position(
    record: Record, course: Course | None, *, end_s: float, fix_delay_s: float = 0.0
) -> LastPosition | None:
    """Return the last position up to `end_s`; None where no usable fix was heard.

    The heading is the last fix's course over ground, turned on by the yaw rate.

    Args:
        record: One vehicle's recording.
        course: Its line; None where no fix tells it.
        end_s: Vehicle clock.
        fix_delay_s: How much later than true the fixes are stamped (`speed.fix_delay_s`); 0 where
            that is not known, which widens the radius by what the car drove meanwhile.
    """
    fixes = usable_fixes(record).between(-np.inf, end_s)
    if not len(fixes):
        return None
    told_m = float(fixes["horizontal_accuracy_m"][-1])
    fix_s = float(fixes.t_s[-1]) - fix_delay_s
    way = _way_since(record, fixes, fix_s, end_s)
    latitude_deg, longitude_deg = _moved_deg(
        float(fixes["latitude_deg"][-1]),
        float(fixes["longitude_deg"][-1]),
        east_m=way.east_m,
        north_m=way.north_m,
    )
    along_m = aside_m = None
    if course is not None:
        along, aside = course.along_and_aside_m(np.array([latitude_deg]), np.array([longitude_deg]))
        along_m, aside_m = float(along[0]), float(aside[0])
    late_m = 0.0 if fix_delay_s else DELAY_SIGMA_S * np.nan_to_num(fixes["ground_speed_mps"][-1])
    fix_sigma_m = FIX_SIGMA_M if np.isnan(told_m) else told_m
    radius_m = ROUND_95 * hypot(fix_sigma_m, way.doubt_m, late_m)
    farthest_m = radius_m + way.speed_mps**2 / (2.0 * SLIDING_MPS2)
    words = f"last heard at {latitude_deg:.6f}, {longitude_deg:.6f}, within {radius_m:.0f} m"
    if farthest_m > radius_m + 1.0:
        heading = "" if way.course_deg is None else f", heading {way.course_deg:.0f} deg"
        words += f"; it was moving{heading} and lies within {farthest_m:.0f} m of there"
    return LastPosition(
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        along_m=along_m,
        aside_m=aside_m,
        at_s=end_s,
        fix_age_s=end_s - fix_s,
        speed_mps=way.speed_mps,
        course_deg=way.course_deg,
        radius_m=radius_m,
        farthest_m=farthest_m,
        words=words,
    )


def _way_since(record: Record, fixes: Columns, fix_s: float, end_s: float) -> _Way:
    ground_mps = float(fixes["ground_speed_mps"][-1])
    told = np.flatnonzero(~np.isnan(fixes["course_deg"]) & (fixes["ground_speed_mps"] > 1.0))
    motion = record.motion.between(fix_s, end_s)
    t_s = np.unique(np.concatenate([[fix_s], motion.t_s, [end_s]]))
    speed_mps = np.nan_to_num(speed_at(record, t_s))
    if not np.isnan(ground_mps):
        # The wheels of a rolling car run down faster than the car.
        speed_mps = np.maximum(speed_mps, ground_mps - STANDARD_GRAVITY_MPS2 * (t_s - fix_s))
    steps_s, steps_m = np.diff(t_s), 0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(t_s)
    last_mps = float(speed_mps[-1])
    if not len(told):
        return _Way(0.0, 0.0, float(np.sum(steps_m)), last_mps, None)
    yaw_dps = np.zeros(len(t_s))
    known = ~np.isnan(motion["yaw_rate_dps"])
    if known.any():
        yaw_dps = np.interp(t_s, motion.t_s[known], motion["yaw_rate_dps"][known])
        yaw_dps -= gyro_bias_dps(record.motion)
    # A car that spins goes on where it went: only a turn that tyres can hold bends its way.
    held = np.abs(np.radians(yaw_dps)) * speed_mps < MOST_SIDE_G * STANDARD_GRAVITY_MPS2
    yaw_dps = np.where(held, yaw_dps, 0.0)
    turned_deg = np.concatenate([[0.0], np.cumsum(0.5 * (yaw_dps[1:] + yaw_dps[:-1]) * steps_s)])
    course_deg = float(fixes["course_deg"][told[-1]])
    way_rad = np.radians(course_deg - 0.5 * (turned_deg[1:] + turned_deg[:-1]))
    off_deg = HEADING_SIGMA_DEG + 0.5 * abs(float(turned_deg[-1]))
    return _Way(
        east_m=float(np.sum(steps_m * np.sin(way_rad))),
        north_m=float(np.sum(steps_m * np.cos(way_rad))),
        doubt_m=hypot(CARRIED_SHARE, radians(off_deg)) * float(np.sum(steps_m)),
        speed_mps=last_mps,
        course_deg=(course_deg - float(turned_deg[-1])) % 360.0,
    )


def _moved_deg(
    latitude_deg: float, longitude_deg: float, *, east_m: float, north_m: float
) -> tuple[float, float]:
    moved = Geodesic.WGS84.Direct(
        latitude_deg, longitude_deg, degrees(atan2(east_m, north_m)), hypot(east_m, north_m)
    )
    return moved["lat2"], moved["lon2"]
