"""The straight course under the fixes: where along it, and how far beside it, the car was.

Owns the course's own coordinates. Along is positive in the direction of the first pass; zero is
abreast of the driver where he is known, else where the first pass began. Fixes become metres on the
plane that touches the ellipsoid there (WGS 84; earth-centred axes turned to east and north, as in
any geodesy text; 0.1 mm off over a kilometre). Where there is no fix the wheel's speed is summed
up, and a place is only the way since the pass began.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import cos, radians, sin

import numpy as np

from groundstation.analysis.passes import PassSpan, speed_over_time
from groundstation.analysis.record import Columns, Floats, Record
from groundstation.vehicle.place import USABLE_ACCURACY_M

EQUATOR_M = 6378137.0
FLATTENING = 1.0 / 298.257223563
"""WGS 84."""

ASIDE_S = 5.0
"""A fix so long before or after a pass still helps to place its first and last frames."""


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
    point = _earth_centred_m(np.radians(latitude_deg), np.radians(longitude_deg))
    latitude_rad, longitude_rad = radians(zero[0]), radians(zero[1])
    centre = _earth_centred_m(np.array(latitude_rad), np.array(longitude_rad))
    x_m, y_m, z_m = (there - here for there, here in zip(point, centre, strict=True))
    outward_m = x_m * cos(longitude_rad) + y_m * sin(longitude_rad)
    east_m = y_m * cos(longitude_rad) - x_m * sin(longitude_rad)
    north_m = z_m * cos(latitude_rad) - outward_m * sin(latitude_rad)
    return east_m, north_m


def _earth_centred_m(latitude_rad: Floats, longitude_rad: Floats) -> tuple[Floats, Floats, Floats]:
    """Return places on the ellipsoid in the axes that turn with the earth."""
    square = FLATTENING * (2.0 - FLATTENING)
    across_m = EQUATOR_M / np.sqrt(1.0 - square * np.sin(latitude_rad) ** 2)
    outward_m = across_m * np.cos(latitude_rad)
    return (
        outward_m * np.cos(longitude_rad),
        outward_m * np.sin(longitude_rad),
        across_m * (1.0 - square) * np.sin(latitude_rad),
    )


def usable_fixes(record: Record) -> Columns:
    """Return the fixes that are positions, and not too uncertain."""
    return _usable(record.fix)


def _usable(fix: Columns) -> Columns:
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
    off = points - points.mean(axis=1, keepdims=True)
    axis = np.linalg.svd(off, full_matrices=False)[0][:, 0]
    first = slice(0, len(driven[0]))
    went = np.array([east_m[first][-1] - east_m[0], north_m[first][-1] - north_m[0]])
    if axis @ went < 0.0:
        axis = -axis
    bearing_deg = float(np.degrees(np.arctan2(axis[0], axis[1]))) % 360.0
    if record.driver is not None:
        zero = record.driver
    return Course(zero[0], zero[1], bearing_deg)


def place_over_time(
    record: Record, course: Course | None, span: PassSpan, *, fix_delay_s: float = 0.0
) -> Columns:
    """Return the place at each motion frame of a pass, at each fix where there are none.

    Between fixes it is interpolated; before the first and after the last it is unknown. Where no
    fix tells it, it is the way since the pass began, and there is no `aside_m`.

    Args:
        record: One vehicle's recording.
        course: Its line; None where no fix tells it.
        span: The pass.
        fix_delay_s: How much later than true the fixes are stamped (`speed.fix_delay_s`): at
            45 m/s a place is off by 4.5 cm for each millisecond, the other way on the way back.

    Returns:
        Channels `along_m` and `aside_m`, metres, (n) each; NaN is unknown.
    """
    motion = record.motion.between(span.start_s, span.end_s)
    fixes = _usable(record.fix.between(span.start_s - ASIDE_S, span.end_s + ASIDE_S))
    if course is not None and not len(motion):
        fixes = fixes.between(span.start_s, span.end_s)
        along_m, aside_m = course.along_and_aside_m(fixes["latitude_deg"], fixes["longitude_deg"])
        return Columns(fixes.t_s - fix_delay_s, {"along_m": along_m, "aside_m": aside_m})
    if course is None or len(fixes) < 2:
        speed_mps = np.nan_to_num(motion["speed_mps"])
        steps_m = 0.5 * (speed_mps[1:] + speed_mps[:-1]) * np.diff(motion.t_s)
        along_m = np.concatenate([[0.0], np.cumsum(steps_m)])[: len(motion)]
        return Columns(motion.t_s, {"along_m": along_m})
    along_m, aside_m = course.along_and_aside_m(fixes["latitude_deg"], fixes["longitude_deg"])
    true_s, outside = fixes.t_s - fix_delay_s, {"left": np.nan, "right": np.nan}
    return Columns(
        motion.t_s,
        {
            "along_m": np.interp(motion.t_s, true_s, along_m, **outside),
            "aside_m": np.interp(motion.t_s, true_s, aside_m, **outside),
        },
    )


def is_forward(place: Columns) -> bool | None:
    """Return whether a pass went toward growing places of the course; None where no fix tells it.

    Args:
        place: Of the pass, as `place_over_time` gives it.
    """
    along_m = place["along_m"][~np.isnan(place["along_m"])]
    if "aside_m" not in place.values or len(along_m) < 2:
        return None
    return bool(along_m[-1] > along_m[0])
