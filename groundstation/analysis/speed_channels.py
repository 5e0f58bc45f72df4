"""What a pass has to say of its speed: the channels cut out, ready to be fused.

Owns the way from a record to the three witnesses of speed. The acceleration is summed up once, so
that the fusion has only a slow difference left to find; where it is missing the sum stands still
and its doubt grows.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record
from groundstation.units import STANDARD_GRAVITY_MPS2

BEFORE_S = 2.0
AFTER_S = 2.0
"""Looked at before and after a pass: the car at rest tells the accelerometer's bias."""

GAP_FRAMES = 2.5
"""Frames missing for longer than this many intervals make a gap in the acceleration."""

UNKNOWN_ACCEL_MPS2 = 8.0
"""What a car may do in a gap, one sigma: about the grip of its tyres (common practice)."""

WORST_ACCURACY_MPS = 2.0
"""A fix whose speed calls itself worse than this is passed over."""

SUPPOSED_ACCURACY_MPS = 0.15
"""Of a fix that does not tell its speed accuracy."""

TURNED_OVER_DPS = 600.0
"""No car on its wheels turns this fast: from here on its forward axis is not where it goes."""


@dataclass(frozen=True, slots=True, eq=False)
class SpeedChannels:
    """The witnesses of one pass, with a little of what was before and after."""

    span: PassSpan
    t_s: Floats
    """(n) of the curve: motion frames; fixes, closely interpolated, where there are none."""
    wheel_mps: Floats
    """(n) NaN where unknown."""
    accel_mps2: Floats
    """(n) forward; NaN where unknown."""
    has_accel: bool
    summed_mps: Floats
    """(n) the acceleration summed up from the first frame; zeros without an accelerometer."""
    doubt_mps2: Floats
    """(n) squares of the sum's steps' own doubt, (m/s)^2 each."""
    fix_t_s: Floats
    """(m) as stamped."""
    fix_mps: Floats
    fix_accuracy_mps: Floats

    @property
    def has_wheel(self) -> bool:
        """Whether there is a wheel speed for most of the pass."""
        return float(np.mean(~np.isnan(self.wheel_mps))) > 0.5


def speed_channels(record: Record, span: PassSpan) -> SpeedChannels | None:
    """Return a pass's witnesses; None where there are too few to make a curve."""
    start_s, end_s = span.start_s - BEFORE_S, span.end_s + AFTER_S
    motion, fix = record.motion.between(start_s, end_s), record.fix.between(start_s, end_s)
    accuracy_mps = fix["speed_accuracy_mps"]
    accuracy_mps = np.where(np.isnan(accuracy_mps), SUPPOSED_ACCURACY_MPS, accuracy_mps)
    usable = ~np.isnan(fix["ground_speed_mps"]) & (accuracy_mps <= WORST_ACCURACY_MPS)
    usable &= ~np.isin(fix["fix_type"], (0.0, 1.0))
    fix_t_s, fix_mps = fix.t_s[usable], fix["ground_speed_mps"][usable]
    t_s = motion.t_s
    if len(t_s) >= 2:
        wheel_mps = motion["speed_mps"]
        accel_mps2 = motion["accel_x_g"] * STANDARD_GRAVITY_MPS2
        over = np.flatnonzero(np.abs(motion["yaw_rate_dps"]) > TURNED_OVER_DPS)
        if len(over):
            accel_mps2 = np.where(np.arange(len(t_s)) < over[0], accel_mps2, np.nan)
    elif len(fix_t_s) >= 2:
        t_s = np.arange(fix_t_s[0], fix_t_s[-1] + 1e-9, 0.02)
        wheel_mps = accel_mps2 = np.full(len(t_s), np.nan)
    else:
        return None
    if len(t_s) < 2 or (np.all(np.isnan(wheel_mps)) and len(fix_t_s) < 2):
        return None
    has_accel = float(np.mean(~np.isnan(accel_mps2))) > 0.5
    summed_mps, doubt_mps2 = _summed(t_s, accel_mps2 if has_accel else np.full(len(t_s), np.nan))
    if not has_accel:
        doubt_mps2 = np.zeros(len(t_s))
    return SpeedChannels(
        span=span,
        t_s=t_s,
        wheel_mps=wheel_mps,
        accel_mps2=accel_mps2,
        has_accel=has_accel,
        summed_mps=summed_mps,
        doubt_mps2=doubt_mps2,
        fix_t_s=fix_t_s,
        fix_mps=fix_mps,
        fix_accuracy_mps=np.maximum(accuracy_mps[usable], 0.01),
    )


def _summed(t_s: Floats, accel_mps2: Floats) -> tuple[Floats, Floats]:
    """Return the acceleration summed up, and the squared doubt of each step.

    A frame carries the mean since the frame before, so its step is its own acceleration times
    the interval; over lost frames the mean of both ends stands in.
    """
    steps_s = np.diff(t_s)
    usual_s = float(np.median(steps_s))
    known = ~np.isnan(accel_mps2)
    before, after = accel_mps2[:-1], accel_mps2[1:]
    gap = (steps_s > GAP_FRAMES * usual_s) | ~known[1:]
    missing_s = np.where(gap, steps_s, np.maximum(steps_s - 1.5 * usual_s, 0.0))
    both = 0.5 * (np.nan_to_num(before) + np.nan_to_num(after))
    own = np.where(steps_s > 1.5 * usual_s, both, np.nan_to_num(after))
    summed_mps = np.concatenate([[0.0], np.cumsum(own * steps_s)])
    change_mps2 = np.where(known[1:] & known[:-1], np.abs(after - before), UNKNOWN_ACCEL_MPS2)
    short = missing_s < 0.15
    rate = np.where(short & known[1:] & known[:-1], 0.3 * change_mps2 + 0.3, UNKNOWN_ACCEL_MPS2)
    return summed_mps, np.concatenate([[0.0], (missing_s * rate) ** 2])
