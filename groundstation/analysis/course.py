"""The straight course under the fixes: where along it, and how far beside it, the car was.

Owns the course's own coordinates. Along is positive in the direction of the first pass; zero is
abreast of the driver where he is known, else where the first pass began. Fixes become metres on the
local tangent plane with the ellipsoid's radii of curvature (WGS 84; the formulas of any geodesy
text; 0.1 mm off over a kilometre). Where there is no fix the wheel's speed is summed up, and a
place is only the way since the pass began.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin, sqrt

import numpy as np

from groundstation.analysis.passes import PassSpan, speed_over_time
from groundstation.analysis.record import Columns, Floats, Record

EQUATOR_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
"""WGS 84."""

USABLE_ACCURACY_M = 25.0
"""A fix that calls itself worse than this is passed over."""


@dataclass(frozen=True, slots=True)
class Course:
    """A line on the ground."""

    latitude_deg: float
    longitude_deg: float
    """Of its zero."""
    bearing_deg: float
    """Direction of growing places, clockwise from north."""

    def along_and_aside_m(
        self, latitude_deg: Floats, longitude_deg: Floats
    ) -> tuple[Floats, Floats]:
        """Return places along the course and to its left, metres."""
        east_m, north_m = local_m(
            (self.latitude_deg, self.longitude_deg), latitude_deg, longitude_deg
        )
        sine, cosine = sin(radians(self.bearing_deg)), cos(radians(self.bearing_deg))
        return east_m * sine + north_m * cosine, north_m * sine - east_m * cosine


def local_m(
    zero: tuple[float, float], latitude_deg: Floats, longitude_deg: Floats
) -> tuple[Floats, Floats]:
    """Return metres east and north of a zero (latitude, longitude in degrees)."""
    square = FLATTENING * (2.0 - FLATTENING)
    shrunk = 1.0 - square * sin(radians(zero[0])) ** 2
    across_m = EQUATOR_M / sqrt(shrunk)
    meridian_m = EQUATOR_M * (1.0 - square) / (shrunk * sqrt(shrunk))
    turned_deg = (longitude_deg - zero[1] + 180.0) % 360.0 - 180.0
    north_m = np.radians(latitude_deg - zero[0]) * meridian_m
    east_m = np.radians(turned_deg) * across_m * cos(radians(zero[0]))
    return east_m, north_m


def usable_fixes(record: Record) -> Columns:
    """Return the fixes that are positions, and not too uncertain."""
    fix = record.fix
    known = ~np.isnan(fix["latitude_deg"]) & ~np.isnan(fix["longitude_deg"])
    known &= ~np.isin(fix["fix_type"], (0.0, 1.0))
    known &= ~(fix["horizontal_accuracy_m"] > USABLE_ACCURACY_M)
    return Columns(fix.t_s[known], {name: column[known] for name, column in fix.values.items()})


def course_of(record: Record, spans: list[PassSpan]) -> Course | None:
    """Return the line that the passes were driven along; None without fixes or passes.

    The line is the first principal axis of the fixes up to each pass's peak speed (total least
    squares): what comes after may be a car gone astray.
    """
    fixes = usable_fixes(record)
    t_s, speed_mps = speed_over_time(record)
    driven = []
    for span in spans:
        start, end = np.searchsorted(t_s, [span.start_s, span.end_s])
        peak_s = float(t_s[start + int(np.argmax(speed_mps[start : end + 1]))])
        driven.append(fixes.between(span.start_s, peak_s))
    driven = [part for part in driven if len(part) >= 3]
    if not driven:
        return None
    latitude_deg = np.concatenate([part["latitude_deg"] for part in driven])
    longitude_deg = np.concatenate([part["longitude_deg"] for part in driven])
    zero = float(latitude_deg[0]), float(longitude_deg[0])
    east_m, north_m = local_m(zero, latitude_deg, longitude_deg)
    points = np.stack([east_m, north_m])
    axis = np.linalg.svd(points - points.mean(axis=1, keepdims=True))[0][:, 0]
    first = slice(0, len(driven[0]))
    went = np.array([east_m[first][-1] - east_m[0], north_m[first][-1] - north_m[0]])
    if axis @ went < 0.0:
        axis = -axis
    bearing_deg = float(np.degrees(np.arctan2(axis[0], axis[1]))) % 360.0
    if record.driver is not None:
        zero = record.driver
    return Course(zero[0], zero[1], bearing_deg)


def place_over_time(record: Record, course: Course | None, span: PassSpan) -> Columns:
    """Return the place at each motion frame of a pass: channels `along_m` and `aside_m`.

    Between fixes it is interpolated; before the first and after the last it is unknown.
    """
    motion = record.motion.between(span.start_s, span.end_s)
    fixes = usable_fixes(record)
    if course is None or len(fixes) < 2:
        speed_mps = np.nan_to_num(motion["speed_mps"])
        steps_m = 0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(motion.t_s)
        along_m = np.concatenate([[0.0], np.cumsum(steps_m)])[: len(motion)]
        return Columns(motion.t_s, {"along_m": along_m})
    along_m, aside_m = course.along_and_aside_m(fixes["latitude_deg"], fixes["longitude_deg"])
    outside = {"left": np.nan, "right": np.nan}
    return Columns(
        motion.t_s,
        {
            "along_m": np.interp(motion.t_s, fixes.t_s, along_m, **outside),
            "aside_m": np.interp(motion.t_s, fixes.t_s, aside_m, **outside),
        },
    )
