"""Vertical shocks: how hard, where, and whether the same place hit again.

Owns the reading of the peaks that the car holds between frames at 1 kHz or more; a frame's own
`accel_z_g` can miss a shock altogether. Rule: a peak at the sensor's full scale was not measured.
It is told as "at least", never as a value.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Floats, Record
from groundstation.analysis.robust_line import robust_sigma
from groundstation.vehicle.peaks import CLIPPED_AT

LEAST_SHOCK_G = 1.0
STANDS_OUT = 6.0
"""A shock over the pass's median, in spreads, both per speed: a faster car is shaken more."""
LEAST_SPEED_MPS = 5.0
TOGETHER_S = 0.03
TOGETHER_M = 0.6
"""Frames this near to each other tell of one shock: both axles, and its rebound."""
SAME_PLACE_M = 2.5
"""Shocks of several passes this near to their common middle are one place: fixes wander by a
metre or two between passes."""


@dataclass(frozen=True, slots=True)
class Shock:
    """One hit, in one pass."""

    pass_number: int
    t_s: float
    along_m: float | None
    """Place on the course; None where it is not known."""
    speed_mps: float
    peak_g: float | None
    """Acceleration farthest from the rest's 1 g, upward positive; None where it was clipped."""
    at_least_g: float | None
    """Size that a clipped peak had or exceeded; None where it was measured."""
    clipped_samples: int

    @property
    def clipped(self) -> bool:
        """Whether the peak was beyond what the sensor can measure."""
        return self.at_least_g is not None

    @property
    def size_g(self) -> float:
        """What is known of its size, upward or downward: to sort by, not to print."""
        return abs(self.peak_g) if self.peak_g is not None else self.at_least_g or 0.0

    def told(self) -> str:
        """Return the peak in words."""
        if self.peak_g is None:
            return f"at least {self.at_least_g:.1f} g (clipped, not measured)"
        return f"{self.peak_g:.1f} g"


@dataclass(frozen=True, slots=True)
class Joint:
    """A place on the course that hit."""

    along_m: float
    """Mean over its hits."""
    spread_m: float
    """Standard deviation over its hits; 0 for a single one."""
    hits: int
    passes: tuple[int, ...]
    """Their numbers."""
    hit_again: bool
    """In more than one pass."""
    clipped: bool
    """In any of them."""
    worst: Shock


def shocks_of(record: Record, span: PassSpan, place: Columns | None) -> list[Shock]:
    """Return a pass's shocks in order of time.

    Args:
        record: One vehicle's recording.
        span: The pass.
        place: Of the pass, as `course.place_over_time` gives it; None where places do not matter.
    """
    motion = record.motion.between(span.start_s, span.end_s)
    if len(motion) < 20:
        return []
    high_g = _first_known(motion["accel_z_max_g"], motion["accel_z_g"])
    low_g = _first_known(motion["accel_z_min_g"], motion["accel_z_g"])
    away_g = np.nan_to_num(np.maximum(high_g - 1.0, 1.0 - low_g))
    speed_mps = np.nan_to_num(motion["speed_mps"])
    per_speed = away_g / np.maximum(speed_mps, LEAST_SPEED_MPS)
    middle = float(np.median(per_speed))
    spread = robust_sigma(per_speed)
    clipped = clipped_frames(motion, record.told("accel_full_scale_g"))
    hit = (per_speed > middle + STANDS_OUT * spread) & (away_g >= LEAST_SHOCK_G) | clipped
    along_m = np.full(len(motion), np.nan) if place is None else place["along_m"]
    shocks: list[Shock] = []
    for rows in _together(motion, speed_mps, np.flatnonzero(hit)):
        upward = high_g[rows] - 1.0 >= 1.0 - low_g[rows]
        peaks_g = np.where(upward, high_g[rows], low_g[rows])
        worst = int(np.argmax(np.where(clipped[rows], 1e6, 0.0) + away_g[rows]))
        row = rows[worst]
        is_clipped = bool(clipped[rows].any())
        size_g = float(np.max(np.abs(peaks_g)))
        shocks.append(
            Shock(
                pass_number=span.number,
                t_s=float(motion.t_s[row]),
                along_m=None if np.isnan(along_m[row]) else float(along_m[row]),
                speed_mps=float(speed_mps[row]),
                peak_g=None if is_clipped else float(peaks_g[worst]),
                at_least_g=size_g if is_clipped else None,
                clipped_samples=int(np.nansum(motion["clipped_samples"][rows])),
            )
        )
    return shocks


def clipped_frames(motion: Columns, full_scale_g: float | None) -> NDArray[np.bool_]:
    """Return which frames hold a peak that was not measured.

    Those in which the car counted samples at full scale, or says so by its flag, or whose held peak
    stands at full scale.
    """
    clipped: NDArray[np.bool_] = (motion["clipped_samples"] >= 1.0) | (
        motion["sensor_clipped"] == 1.0
    )
    if full_scale_g:
        for channel in ("accel_z_max_g", "accel_z_min_g", "accel_z_g"):
            clipped |= np.abs(motion[channel]) >= CLIPPED_AT * full_scale_g
    return clipped


def joints_of(shocks: Sequence[Shock]) -> list[Joint]:
    """Return the places that hit, along the course; shocks without a place are left out."""
    placed = sorted(
        ((shock.along_m, shock) for shock in shocks if shock.along_m is not None),
        key=lambda each: each[0],
    )
    joints: list[Joint] = []
    group: list[tuple[float, Shock]] = []
    for along_m, shock in placed:
        if group and along_m - sum(each for each, _ in group) / len(group) > SAME_PLACE_M:
            joints.append(_joint(group))
            group = []
        group.append((along_m, shock))
    if group:
        joints.append(_joint(group))
    return joints


def _joint(group: list[tuple[float, Shock]]) -> Joint:
    places_m = np.array([along_m for along_m, _ in group])
    passes = tuple(sorted({shock.pass_number for _, shock in group}))
    return Joint(
        along_m=float(places_m.mean()),
        spread_m=float(places_m.std(ddof=1)) if len(group) > 1 else 0.0,
        hits=len(group),
        passes=passes,
        hit_again=len(passes) > 1,
        clipped=any(shock.clipped for _, shock in group),
        worst=max((shock for _, shock in group), key=lambda shock: (shock.clipped, shock.size_g)),
    )


def _first_known(first: Floats, other: Floats) -> Floats:
    return np.where(np.isnan(first), other, first)


def _together(motion: Columns, speed_mps: Floats, rows: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    """Return rows grouped into shocks."""
    if not len(rows):
        return []
    within_s = np.maximum(TOGETHER_S, TOGETHER_M / np.maximum(speed_mps[rows[:-1]], 1.0))
    return np.split(rows, np.flatnonzero(np.diff(motion.t_s[rows]) > within_s) + 1)
