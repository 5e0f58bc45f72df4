"""Satellite speeds that stand alone: found by their neighbours, before anything is fused.

Owns the first look only. A spike left in would bend the curve toward itself and hide; so what
stands alone is set aside here, and the fusion, once it has a curve, takes back what was no spike.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.record import Floats
from groundstation.analysis.speed_channels import SpeedChannels

SPIKE_LEAST_MPS = 1.0
"""A satellite speed less far off is no spike, however sure of itself the receiver is."""

WHEEL_LEAST_MPS = 2.0
"""The same where only the wheel, which slips, tells the change of speed."""

BARE_LEAST_MPS = 4.0
"""The same where nothing does: a lift of the throttle bends the speed by as much."""

NEIGHBOURS_S = 0.2
MEDIAN_S = 0.6
"""To either side: neighbours of a fix, without and with sensors of the car's own."""


def lone_fixes(channels: SpeedChannels, true_s: Floats, fix_mps: Floats) -> NDArray[np.bool_]:
    """Return which satellite speeds stand alone among their neighbours.

    What the car's own sensors tell of the change of speed is taken off first; the median of the
    neighbours within a second is then where a fix should be.
    """
    if len(fix_mps) < 5:
        return np.zeros(len(fix_mps), np.bool_)
    interval_s = max(float(np.median(np.diff(true_s))), 1e-3)
    known = ~np.isnan(channels.wheel_mps)
    allowed_mps = SPIKE_LEAST_MPS
    if channels.has_accel:
        own_mps = np.interp(true_s, channels.t_s, channels.summed_mps)
    elif channels.has_wheel:
        own_mps = np.interp(true_s, channels.t_s[known], channels.wheel_mps[known])
        allowed_mps = WHEEL_LEAST_MPS
    else:
        own_mps = _foretold_by_neighbours(fix_mps, interval_s)
        allowed_mps = BARE_LEAST_MPS
    left_mps = fix_mps - own_mps
    half = int(np.clip(round(MEDIAN_S / interval_s), 2, 12))
    padded = np.pad(left_mps, half, mode="reflect" if len(left_mps) > half else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    off = np.abs(left_mps - np.median(windows, axis=1))
    alone: NDArray[np.bool_] = off > allowed_mps
    return alone


def _foretold_by_neighbours(fix_mps: Floats, interval_s: float) -> Floats:
    """Return what its neighbours would make of each fix: the median of lines through two of them.

    Neighbours are those within `NEIGHBOURS_S`, two on either side at least.
    """
    reach = int(np.clip(round(NEIGHBOURS_S / interval_s), 2, 4))
    count = len(fix_mps)
    aside = np.array([step for step in range(-reach, reach + 1) if step])
    at = np.arange(count)[:, None] + aside
    inside = (at >= 0) & (at < count)
    near_mps = np.where(inside, fix_mps[np.clip(at, 0, count - 1)], np.nan)
    one, other = np.triu_indices(len(aside), 1)
    slopes = (near_mps[:, other] - near_mps[:, one]) / (aside[other] - aside[one])
    foretold: Floats = np.nanmedian(near_mps[:, one] - slopes * aside[one], axis=1)
    return foretold
