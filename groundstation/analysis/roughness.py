"""How rough the course is, each ten metres of it.

Owns the rms of vertical acceleration by place, over all passes, its slow part taken off. The speed
is given beside it, not taken out: how acceleration grows with speed depends on the road and on the
suspension, and neither is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Floats, Record

CELL_M = 10.0
SLOW_S = 0.5
"""Means over this long are taken off: slope, pitch under braking, bias."""
LEAST_FRAMES = 5


@dataclass(frozen=True, slots=True)
class RoughCell:
    """Ten metres of the course."""

    from_m: float
    to_m: float
    rms_g: float
    """Of vertical acceleration."""
    mean_speed_mps: float
    frames: int
    passes: int
    """That went over it."""


def roughness_of(
    record: Record, spans: Sequence[PassSpan], places: Sequence[Columns]
) -> list[RoughCell]:
    """Return the cells in which enough was heard, in order of place.

    Args:
        record: One vehicle's recording.
        spans: Its passes.
        places: Of each of them, as `course.place_over_time` gives it.
    """
    cells: list[Floats] = []
    for span, place in zip(spans, places, strict=True):
        motion = record.motion.between(span.start_s, span.end_s)
        if not len(motion):
            continue
        along_m = place["along_m"]
        known = ~np.isnan(along_m) & ~np.isnan(motion["accel_z_g"])
        if known.sum() < LEAST_FRAMES:
            continue
        lift_g = motion["accel_z_g"][known]
        lift_g = lift_g - _slow(motion.t_s[known], lift_g)
        cells.append(
            np.stack(
                [
                    np.floor(along_m[known] / CELL_M),
                    lift_g**2,
                    motion["speed_mps"][known],
                    np.full(int(known.sum()), float(span.number)),
                ]
            )
        )
    if not cells:
        return []
    cell, square, speed_mps, number = np.concatenate(cells, axis=1)
    found = []
    for each in np.unique(cell).tolist():
        here = cell == each
        if here.sum() >= LEAST_FRAMES:
            found.append(
                RoughCell(
                    from_m=each * CELL_M,
                    to_m=(each + 1.0) * CELL_M,
                    rms_g=float(np.sqrt(square[here].mean())),
                    mean_speed_mps=float(np.nanmean(speed_mps[here])),
                    frames=int(here.sum()),
                    passes=len(np.unique(number[here])),
                )
            )
    return found


def _slow(t_s: Floats, values: Floats) -> Floats:
    """Return the mean of what lies within half of `SLOW_S` of each moment."""
    summed = np.concatenate([[0.0], np.cumsum(values)])
    first = np.searchsorted(t_s, t_s - SLOW_S / 2.0)
    last = np.searchsorted(t_s, t_s + SLOW_S / 2.0, side="right")
    return np.asarray((summed[last] - summed[first]) / (last - first))
