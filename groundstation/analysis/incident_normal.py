"""What was normal in this session: ranges learned from its own moving frames, against speed.

Owns the normal ranges. They are median deviations of what came before the moment that is judged,
so that a crash does not widen them; what grows with speed is learned per speed, so that a range
learned slow holds fast. Floors keep a quiet session from alarming at trifles: they are what a
driver would not mention (common practice, no source).
"""

from __future__ import annotations

import numpy as np

from groundstation.analysis.record import Columns, Floats, Record
from groundstation.analysis.robust_line import NORMAL_PER_DEVIATION, robust_sigma

MOVING_MPS = 5.0
SLOW_MPS = 8.0
"""Slower than this a car is no calmer than at this speed."""
STANDING_MPS = 0.2
LEAST_ROWS = 30

LEARN_EVERY_S = 0.1
LEARN_BEHIND_S = 0.5
"""What happens now is not yet part of what is normal."""
LEARN_LEAST_S = 1.0
"""Driven in passes before anything can be called out of the normal."""

SIGMAS = 5.0
"""Half width of a normal range, in robust standard deviations."""
SWAY_SIGMAS = 4.0
"""The same for what sways: the robust deviation of an even sway is as large as its amplitude."""
YAW_RATE_FLOOR_DPS = 15.0
HEADING_FLOOR_DEG = 12.0
SIDE_FLOOR_G = 0.5

SHOCK_FLOOR_G = 6.0
SHOCK_TIMES = 3.0
"""A shock is out of the normal when it is so many times the worst before it."""
SHOCK_SLOW_MPS = 10.0
SHOCK_HISTORY_M = 45.0
"""Driven at pass speed before a shock can be told from a rough road: a few joints."""
SHOCK_APART_S = 0.15
"""Both axles over one joint are one shock."""


def speed_at(record: Record, t_s: Floats) -> Floats:
    """Return the speed at given times: the wheel's, else the satellites'; NaN where none is."""
    for columns, channel in ((record.motion, "speed_mps"), (record.fix, "ground_speed_mps")):
        known = ~np.isnan(columns[channel])
        if known.any():
            return np.interp(t_s, columns.t_s[known], columns[channel][known])
    return np.full(len(t_s), np.nan)


def gyro_bias_dps(motion: Columns) -> float:
    """Return the yaw rate at rest, else the median of all; 0 where it was not measured."""
    yaw_dps = motion["yaw_rate_dps"]
    known = ~np.isnan(yaw_dps)
    still = known & (motion["speed_mps"] < STANDING_MPS)
    rows = still if still.sum() >= LEAST_ROWS else known
    return float(np.median(yaw_dps[rows])) if rows.any() else 0.0


def half_width(
    t_s: Floats,
    values: Floats,
    speed_mps: Floats,
    *,
    inside: Floats,
    from_s: float,
    power: int,
    floor: float,
) -> Floats:
    """Return the half width of the normal range at each row, learned from the rows before it.

    Infinite until enough has been seen to tell what is normal, and before `from_s`.

    Args:
        t_s: (n) increasing.
        values: (n) About their middle; NaN where not known.
        speed_mps: (n)
        inside: (n) 1 where the row belongs to a pass, else 0.
        from_s: Where the rows begin that are asked for.
        power: The spread grows with this power of the speed.
        floor: Never narrower.
    """
    scale = np.maximum(speed_mps, SLOW_MPS) ** power
    rows = np.flatnonzero((inside > 0.0) & ~np.isnan(values) & (speed_mps > MOVING_MPS))
    width = np.full(len(values), np.inf)
    if not len(rows) or t_s[rows[-1]] < from_s:
        return width
    share = np.abs(values[rows]) / scale[rows]
    grid_s = np.arange(max(from_s, t_s[rows[0]]), t_s[rows[-1]] + LEARN_EVERY_S, LEARN_EVERY_S)
    known = np.searchsorted(t_s[rows], grid_s - LEARN_BEHIND_S)
    driven_s = np.concatenate(
        [[0.0], np.cumsum(np.minimum(np.diff(t_s[rows], prepend=t_s[rows[0]]), LEARN_EVERY_S))]
    )
    spread = [
        np.median(share[:count]) if driven_s[count] >= LEARN_LEAST_S else np.inf for count in known
    ]
    at = np.searchsorted(grid_s, t_s, side="right") - 1
    sigma = NORMAL_PER_DEVIATION * np.where(at >= 0, np.array(spread)[at], np.inf)
    return np.asarray(np.maximum(SWAY_SIGMAS * sigma * scale, floor))


def plain_half_width(reference: Floats, *, floor: float) -> float:
    """Return the half width of a normal range that does not depend on speed."""
    known = reference[~np.isnan(reference)]
    return max(SIGMAS * robust_sigma(known), floor) if len(known) >= LEAST_ROWS else floor


def shock_limit_g(t_s: Floats, peak_g: Floats, speed_mps: Floats) -> Floats:
    """Return the highest normal shock at each row: learned from the rows before it alone.

    A joint's shock grows with the square of the speed. Infinite until enough road has been seen.

    Args:
        t_s: (n) increasing.
        peak_g: (n) Largest deviation of vertical acceleration from 1 g; NaN where not known.
        speed_mps: (n)
    """
    scale = np.maximum(speed_mps, SHOCK_SLOW_MPS) ** 2
    fast = (speed_mps > SLOW_MPS) & ~np.isnan(peak_g)
    worst = np.maximum.accumulate(np.where(fast, peak_g / scale, 0.0))
    steps_s = np.minimum(np.diff(t_s, prepend=t_s[0]), 0.1)
    driven_m = np.cumsum(np.where(fast, steps_s * speed_mps, 0.0))
    before = np.searchsorted(t_s, t_s - SHOCK_APART_S, side="right") - 1
    worst, driven_m = (np.where(before >= 0, each[before], 0.0) for each in (worst, driven_m))
    limit_g = np.maximum(SHOCK_TIMES * worst * scale, SHOCK_FLOOR_G)
    return np.where(driven_m >= SHOCK_HISTORY_M, limit_g, np.inf)
