"""The mean of two runs in opposite directions, so that wind and slope fall out.

Owns both ways to take it, side by side and named, because record rules differ. Total distance over
total time is the mean of the times (for equal distances the harmonic mean of the speeds), never
larger than the mean of the speeds; it is the one shown first.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import hypot

from groundstation.analysis.timed import TimedRun

BY_TIME = "total distance over total time (mean of the times)"
BY_SPEED = "mean of the two speeds"

RULES_DIFFER = (
    "record rules differ: some take the mean of the times, some the mean of the speeds; "
    "some want both runs within one hour, some within two"
)

WITHIN_S = 3600.0
"""Between the starts of the two runs."""

SAME_DISTANCE = 0.01
"""Distances that differ by a larger share are pointed out."""


@dataclass(frozen=True, slots=True)
class TwoWayMean:
    """Two runs, taken together."""

    first: TimedRun
    second: TimedRun
    """Later."""
    by_time_mps: float
    """`BY_TIME`."""
    by_time_sigma_mps: float
    by_speed_mps: float
    """`BY_SPEED`."""
    by_speed_sigma_mps: float
    apart_s: float
    """From start to start."""
    opposite: bool | None
    """None where a direction is not known."""
    within_the_hour: bool
    remarks: tuple[str, ...]
    """What stands against calling it a two-way mean, in words; empty where nothing does."""


def two_way_mean(one: TimedRun, other: TimedRun) -> TwoWayMean:
    """Return the mean of two runs, given in either order."""
    first, second = sorted((one, other), key=lambda run: run.start_s)
    runs = (first, second)
    total_s = first.time_s + second.time_s
    by_time_mps = (first.distance_m + second.distance_m) / total_s
    # A run's share of the error is its share of the time.
    shares = (run.time_s / total_s * run.sigma_mps / run.speed_mps for run in runs)
    apart_s = second.start_s - first.start_s
    opposite = None
    if first.forward is not None and second.forward is not None:
        opposite = first.forward is not second.forward
    return TwoWayMean(
        first=first,
        second=second,
        by_time_mps=by_time_mps,
        by_time_sigma_mps=by_time_mps * hypot(*shares),
        by_speed_mps=0.5 * (first.speed_mps + second.speed_mps),
        by_speed_sigma_mps=0.5 * hypot(first.sigma_mps, second.sigma_mps),
        apart_s=apart_s,
        opposite=opposite,
        within_the_hour=apart_s <= WITHIN_S,
        remarks=tuple(_remarks(first, second, opposite, apart_s)),
    )


def best_two_way(runs: Sequence[TimedRun]) -> TwoWayMean | None:
    """Return the fastest mean of two opposite runs within the hour; None where there are none."""
    means = (two_way_mean(one, other) for one, other in combinations(runs, 2))
    allowed = [mean for mean in means if mean.opposite and mean.within_the_hour]
    return max(allowed, key=lambda mean: mean.by_time_mps, default=None)


def _remarks(first: TimedRun, second: TimedRun, opposite: bool | None, apart_s: float) -> list[str]:
    remarks = []
    if opposite is None:
        remarks.append("the direction of a run is not known")
    elif not opposite:
        remarks.append("both runs go the same way")
    if apart_s > WITHIN_S:
        remarks.append(f"the runs began {apart_s / 60.0:.0f} minutes apart, more than an hour")
    larger_m = max(first.distance_m, second.distance_m)
    if abs(first.distance_m - second.distance_m) > SAME_DISTANCE * larger_m:
        remarks.append("the two distances differ")
    return remarks
