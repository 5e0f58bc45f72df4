"""The wheel's speed by itself: how noisy it is, and what it is without the noise.

Owns what is read off the wheel before anything else is asked. Whether it slips, only the others can
tell.
"""

from __future__ import annotations

from math import sqrt

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.robust_line import NORMAL_PER_DEVIATION

CALMED_S = 0.15

LEAST_MPS = 0.05
"""No wheel is believed to be better."""

TURNING_MPS = 0.5
"""A wheel at rest has no noise."""


def wheel_noise_mps(wheel_mps: Floats) -> float:
    """Return the noise of a wheel's speed, NaN where unknown, one sigma."""
    turning = wheel_mps[wheel_mps > TURNING_MPS]
    if len(turning) < 8:
        return LEAST_MPS
    # A second difference of white noise is root six as wide as the noise; twice that, as the
    # errors of a wheel go round with it and are not white.
    bends = np.abs(np.diff(turning, 2))
    return max(2.0 * NORMAL_PER_DEVIATION * float(np.median(bends)) / sqrt(6.0), LEAST_MPS)


def calmed(t_s: Floats, values: Floats) -> Floats:
    """Return values averaged over `CALMED_S` about each moment; unknown ones are passed over."""
    known = ~np.isnan(values)
    if not np.any(known):
        return values
    sums = np.concatenate([[0.0], np.cumsum(values[known])])
    begins = np.searchsorted(t_s[known], t_s - 0.5 * CALMED_S)
    ends = np.searchsorted(t_s[known], t_s + 0.5 * CALMED_S)
    counts = np.maximum(ends - begins, 1)
    calm: Floats = (sums[ends] - sums[begins]) / counts
    return calm
