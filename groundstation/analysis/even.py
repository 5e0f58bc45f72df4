"""A pass's steering on an even grid, cut into speed bands: what spectra need.

Owns the step from frames at 50 to 200 a second, some lost, to an even grid: between frames values
are interpolated, and a grid point inside a hole is marked. Bands lie at whole multiples
of their width, 5 m/s or, where that leaves too little time in each, 10; a band in which the pass
spent less than `LEAST_BAND_S` is left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats, Record

GRID_S = 0.01
HOLE_S = 0.045
"""Between frames: a longer one is a hole."""
BANDS_MPS = (5.0, 10.0)
"""Widths; the wider one where the car rushes through the narrower."""
WANTED_BAND_S = 2.5
LEAST_BAND_S = 1.0
LEAST_SPEED_MPS = 10.0
"""Slower, a small car does not sway."""
SPIN_DPS = 200.0
"""Yaw rate of a car that spins or rolls: the pass is over for this."""


@dataclass(frozen=True, slots=True, eq=False)
class EvenMotion:
    """A pass each `GRID_S`."""

    t_s: Floats
    speed_mps: Floats
    yaw_rate_dps: Floats
    steering_percent: Floats
    correction_percent: Floats
    whole: NDArray[np.bool_]
    """Not inside a hole."""

    @classmethod
    def of(cls, record: Record, span: PassSpan) -> Self | None:
        """Return a pass up to where it spins; None if less than a second of it was heard.

        Steering or correction that the car does not report is NaN all along.
        """
        motion = record.motion.between(span.start_s, before_spin_s(record, span))
        known = ~np.isnan(motion["speed_mps"]) & ~np.isnan(motion["yaw_rate_dps"])
        t_s = motion.t_s[known]
        if len(t_s) < 20 or t_s[-1] - t_s[0] < 1.0:
            return None
        grid_s = np.arange(t_s[0], t_s[-1], GRID_S)
        after = np.clip(np.searchsorted(t_s, grid_s), 1, len(t_s) - 1)

        def even(channel: str) -> Floats:
            column = motion[channel][known]
            there = ~np.isnan(column)
            if there.mean() < 0.5:
                return np.full(len(grid_s), np.nan)
            return np.interp(grid_s, t_s[there], column[there])

        return cls(
            t_s=grid_s,
            speed_mps=even("speed_mps"),
            yaw_rate_dps=even("yaw_rate_dps"),
            steering_percent=even("steering_percent"),
            correction_percent=even("correction_percent"),
            whole=t_s[after] - t_s[after - 1] <= HOLE_S,
        )

    def bands_mps(self) -> list[tuple[float, float]]:
        """Return the speed bands of the pass, slowest first."""
        moving_mps = self.speed_mps[self.whole & (self.speed_mps >= LEAST_SPEED_MPS)]
        bands: list[tuple[float, float]] = []
        for width_mps in BANDS_MPS:
            seconds = np.bincount((moving_mps / width_mps).astype(int)) * GRID_S
            cells = np.flatnonzero(seconds >= LEAST_BAND_S).tolist()
            bands = [(cell * width_mps, (cell + 1) * width_mps) for cell in cells]
            if cells and float(np.median(seconds[cells])) >= WANTED_BAND_S:
                break
        return bands

    def inside(self, band_mps: tuple[float, float]) -> NDArray[np.bool_]:
        """Return where the pass is in a band, and heard."""
        return (self.speed_mps >= band_mps[0]) & (self.speed_mps < band_mps[1]) & self.whole

    def segments(self, band_mps: tuple[float, float], length: int) -> NDArray[np.intp]:
        """Return where half-overlapping segments begin whose mean speed is in a band."""
        starts = np.arange(0, len(self.t_s) - length + 1, length // 2)
        summed = np.concatenate([[0.0], np.cumsum(self.speed_mps)])
        mean_mps = (summed[starts + length] - summed[starts]) / length
        holes = np.concatenate([[0], np.cumsum(~self.whole)])
        good = (mean_mps >= band_mps[0]) & (mean_mps < band_mps[1])
        chosen: NDArray[np.intp] = starts[
            good & (holes[starts + length] - holes[starts] <= length // 20)
        ]
        return chosen


def before_spin_s(record: Record, span: PassSpan) -> float:
    """Return the pass's end, or when it first turned faster than a car that is driven."""
    motion = record.motion.between(span.start_s, span.end_s)
    spun = np.flatnonzero(np.abs(motion["yaw_rate_dps"]) > SPIN_DPS)
    return float(motion.t_s[max(spun[0] - 20, 0)]) if len(spun) else span.end_s
