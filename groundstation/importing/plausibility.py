"""What the values themselves say of a column's unit and sign.

A body at rest feels 1 g upward, so the level of the accelerometer tells its unit and its axes;
speed is how position changes, yaw rate how the course does, lateral acceleration is v * r (ISO
8855).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import isfinite, log

import numpy as np
from numpy.typing import NDArray

from groundstation.importing.log import Numbers
from groundstation.units import STANDARD_GRAVITY_MPS2

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius; half a percent is near enough to tell km/h from mph."""

REST_TOLERANCE = 0.15
"""An accelerometer at rest is off by less; the units lie a factor of ten apart."""

MIN_PAIRS = 20
CLEAR_CORRELATION = 0.4
"""Of fewer or looser pairs no sign is believed."""


@dataclass(frozen=True, slots=True)
class Rest:
    """An accelerometer at its quietest."""

    magnitude: float
    """In whatever unit it was logged."""
    mean: tuple[float, float, float]

    @property
    def unit(self) -> str | None:
        """The unit in which this is 1 g; None where it is none."""
        for name, one_g in (("g", 1.0), ("m/s^2", STANDARD_GRAVITY_MPS2), ("mg", 1000.0)):
            if abs(self.magnitude / one_g - 1) <= REST_TOLERANCE:
                return name
        return None

    @property
    def z_share(self) -> float:
        """How much of it the z axis feels, -1 to 1."""
        return self.mean[2] / self.magnitude if self.magnitude else 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Motion:
    """How a position moves: each step between two fixes at different places."""

    rows: NDArray[np.intp]
    """The rows at which the position had changed; a step lies between two of them."""
    speed_mps: Numbers
    course_deg: Numbers
    """Clockwise from north."""


@dataclass(frozen=True, slots=True)
class Relation:
    """How one quantity follows another."""

    correlation: float
    slope: float


def at_rest(x: Numbers, y: Numbers, z: Numbers) -> Rest | None:
    """Return what an accelerometer shows at its quietest tenth; None without enough rows."""
    known = np.isfinite(x) & np.isfinite(y) & np.isfinite(z)
    axes = np.stack([x[known], y[known], z[known]])
    length = min(25, max(axes.shape[1] // 4, 1))
    blocks = axes.shape[1] // length
    if blocks < 1 or axes.shape[1] < 4:
        return None
    cut = axes[:, : blocks * length].reshape(3, blocks, length)
    with np.errstate(over="ignore", invalid="ignore"):
        unrest = np.sum(np.var(cut, axis=2), axis=0)
        means = np.mean(cut, axis=2)
        quiet = np.argsort(unrest)[: max(blocks // 10, 1)]
        mean = np.median(means[:, quiet], axis=1)
        magnitude = float(np.median(np.sqrt(np.sum(means[:, quiet] ** 2, axis=0))))
    if not isfinite(magnitude):
        return None
    return Rest(magnitude, (float(mean[0]), float(mean[1]), float(mean[2])))


def motion(times_s: Numbers, latitude_deg: Numbers, longitude_deg: Numbers) -> Motion | None:
    """Return how a position moves; None where it hardly does."""
    # Comparing leaves out what is not known too.
    known = np.flatnonzero((np.abs(latitude_deg) <= 90) & (np.abs(longitude_deg) <= 180))
    if len(known) < 2:
        return None
    moved = (np.diff(latitude_deg[known]) != 0) | (np.diff(longitude_deg[known]) != 0)
    rows = known[1:][moved]
    if len(rows) < MIN_PAIRS:
        return None
    latitude, longitude = np.radians(latitude_deg[rows]), np.radians(longitude_deg[rows])
    north_m = EARTH_RADIUS_M * np.diff(latitude)
    east_m = EARTH_RADIUS_M * np.diff(longitude) * np.cos(latitude[:-1])
    with np.errstate(divide="ignore", invalid="ignore"):
        speed_mps = np.hypot(north_m, east_m) / np.diff(times_s[rows])
    return Motion(rows, speed_mps, np.degrees(np.arctan2(east_m, north_m)) % 360)


def speed_ratio(moving: Motion, speed: Numbers) -> float | None:
    """Return how many of a column's units make 1 m/s of the moving position; None if unclear."""
    between = (speed[moving.rows[:-1]] + speed[moving.rows[1:]]) / 2
    fast = np.isfinite(between) & np.isfinite(moving.speed_mps) & (moving.speed_mps > 2)
    if np.count_nonzero(fast) < MIN_PAIRS:
        return None
    return float(np.median(between[fast] / moving.speed_mps[fast]))


def nearest(ratio: float, choices: dict[str, float], *, within: float) -> str | None:
    """Return the choice whose value lies nearest to a ratio, if it lies within a factor."""
    if not ratio > 0:
        return None
    name = min(choices, key=lambda each: abs(log(ratio / choices[each])))
    return name if abs(log(ratio / choices[name])) <= log(within) else None


def relation(follower: Numbers, leader: Numbers) -> Relation | None:
    """Return how one quantity follows another; None where that is not clear."""
    known = np.isfinite(follower) & np.isfinite(leader)
    if np.count_nonzero(known) < MIN_PAIRS:
        return None
    one, other = follower[known], leader[known]
    with np.errstate(all="ignore"):
        one, other = one - np.mean(one), other - np.mean(other)
        spread = float(np.sqrt(np.sum(one**2) * np.sum(other**2)))
        product, square = float(np.sum(one * other)), float(np.sum(other**2))
    if not (isfinite(spread) and spread > 0 and square > 0):
        return None
    correlation = product / spread
    if abs(correlation) < CLEAR_CORRELATION:
        return None
    return Relation(correlation, product / square)


def means_between(values: Numbers, rows: NDArray[np.intp]) -> Numbers:
    """Return the mean of a column over each step between two rows."""
    known = np.isfinite(values)
    with np.errstate(all="ignore"):
        sums = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
        counts = np.concatenate([[0], np.cumsum(known)])
        count = counts[rows[1:] + 1] - counts[rows[:-1] + 1]
        return np.where(
            count > 0, (sums[rows[1:] + 1] - sums[rows[:-1] + 1]) / np.maximum(count, 1), np.nan
        )


def turning_dps(course_deg: Numbers, times_s: Numbers) -> Numbers:
    """Return how fast a course turns to the left (ISO 8855: minus its change)."""
    turned = (np.diff(course_deg) + 180) % 360 - 180
    with np.errstate(divide="ignore", invalid="ignore"):
        return -turned / np.diff(times_s)
