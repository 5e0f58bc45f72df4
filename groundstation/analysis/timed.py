"""Speed over a distance: between two places on the course, or the fastest so many metres.

Owns the crossing times and their error. v = D / t, and (sigma_v / v)^2 = (sigma_D / D)^2 +
(sigma_t / t)^2 with the errors of both crossings in sigma_t (propagation of errors, any text on
measurement). A crossing lies between samples and is interpolated: at 10 fixes a second and 45 m/s
they are 4.5 m apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot, sqrt

import numpy as np

from groundstation.analysis.course import is_forward
from groundstation.analysis.record import Columns, Floats
from groundstation.analysis.speed import PassSpeed


@dataclass(frozen=True, slots=True)
class TimedRun:
    """One run over a distance."""

    pass_number: int
    distance_m: float
    time_s: float
    start_s: float
    """When it was entered, vehicle clock."""
    speed_mps: float
    sigma_mps: float
    forward: bool | None
    """Toward growing places of the course; None where the direction is not known."""

    @property
    def end_s(self) -> float:
        """When it was left, vehicle clock."""
        return self.start_s + self.time_s


def speed_over(
    distance_m: float,
    time_s: float,
    *,
    distance_sigma_m: float = 0.0,
    edge_sigmas_s: tuple[float, float] = (0.0, 0.0),
) -> tuple[float, float]:
    """Return speed and standard deviation over a distance.

    Args:
        distance_m: Between the edges.
        time_s: From edge to edge.
        distance_sigma_m: How well the distance is known.
        edge_sigmas_s: How well each crossing time is known.
    """
    speed_mps = distance_m / time_s
    share = hypot(distance_sigma_m / distance_m, hypot(*edge_sigmas_s) / time_s)
    return speed_mps, speed_mps * share


def timed_between(
    speed: PassSpeed,
    place: Columns,
    from_m: float,
    to_m: float,
    *,
    distance_sigma_m: float = 0.0,
) -> TimedRun | None:
    """Return a pass's run between two places; None where it did not cross both at speed.

    Args:
        speed: Of the pass.
        place: Of the pass, as `course.place_over_time` gives it.
        from_m: One place along the course.
        to_m: The other; the pass may come from either side.
        distance_sigma_m: How well the distance between them was measured.
    """
    if from_m == to_m:
        return None
    along_m, forward = _along_m(speed, place)
    sign = 1.0 if forward is not False else -1.0
    first_m, last_m = sorted((sign * from_m, sign * to_m))
    start_s = _crossing_s(speed, sign * along_m, first_m)
    end_s = _crossing_s(speed, sign * along_m, last_m)
    if start_s is None or end_s is None or end_s <= start_s:
        return None
    doubts_m = np.interp([start_s, end_s], speed.t_s, speed.doubt_m())
    # What the way between is in doubt by, halved in square between its two ends.
    edge_m = float(doubts_m[1] - doubts_m[0]) / sqrt(2.0)
    start_mps, end_mps = (max(speed.at(each)[0], 0.5) for each in (start_s, end_s))
    mean_mps, sigma_mps = speed_over(
        last_m - first_m,
        end_s - start_s,
        distance_sigma_m=distance_sigma_m,
        edge_sigmas_s=(edge_m / start_mps, edge_m / end_mps),
    )
    return TimedRun(
        pass_number=speed.span.number,
        distance_m=last_m - first_m,
        time_s=end_s - start_s,
        start_s=start_s,
        speed_mps=mean_mps,
        sigma_mps=sigma_mps,
        forward=forward,
    )


def fastest_over(
    speed: PassSpeed, length_m: float, *, place: Columns | None = None
) -> TimedRun | None:
    """Return the fastest so many metres of a pass; None where it was shorter.

    Args:
        speed: Of the pass.
        length_m: More than 0.
        place: Of the pass; tells the direction.
    """
    inside = (speed.t_s >= speed.span.start_s) & (speed.t_s <= speed.span.end_s)
    t_s, way_m = speed.t_s[inside], speed.way_m()[inside]
    if len(t_s) < 2 or length_m <= 0.0 or way_m[-1] - way_m[0] < length_m:
        return None
    # The best stretch begins or ends at a sample, or so near that it makes no difference.
    begins = t_s[way_m <= way_m[-1] - length_m]
    begin_ways_m = way_m[: len(begins)]
    ends = t_s[way_m >= way_m[0] + length_m]
    end_ways_m = way_m[len(way_m) - len(ends) :]
    starts_s = np.concatenate([begins, np.interp(end_ways_m - length_m, way_m, t_s)])
    stops_s = np.concatenate([np.interp(begin_ways_m + length_m, way_m, t_s), ends])
    best = int(np.argmin(stops_s - starts_s))
    start_s, time_s = float(starts_s[best]), float(stops_s[best] - starts_s[best])
    doubts_m = np.interp([start_s, start_s + time_s], speed.t_s, speed.doubt_m())
    return TimedRun(
        pass_number=speed.span.number,
        distance_m=length_m,
        time_s=time_s,
        start_s=start_s,
        speed_mps=length_m / time_s,
        sigma_mps=float(doubts_m[1] - doubts_m[0]) / time_s,
        forward=None if place is None else _along_m(speed, place)[1],
    )


def _along_m(speed: PassSpeed, place: Columns) -> tuple[Floats, bool | None]:
    """Return the place at each time of the curve, and the direction.

    The way, summed up, has the better shape; the fixes tell where it lies on the course.
    """
    way_m, forward = speed.way_m(), is_forward(place)
    if forward is None:
        return way_m - np.interp(speed.span.start_s, speed.t_s, way_m), None
    way_m = way_m if forward else -way_m
    known = ~np.isnan(place["along_m"])
    t_s, along_m = place.t_s[known], place["along_m"][known]
    on_curve = (t_s >= speed.t_s[0]) & (t_s <= speed.t_s[-1])
    offsets_m = along_m[on_curve] - np.interp(t_s[on_curve], speed.t_s, way_m)
    return way_m + float(np.median(offsets_m)), forward


def _crossing_s(speed: PassSpeed, growing_m: Floats, at_m: float) -> float | None:
    """Return when a growing place is first reached; None where it is not, or before it began."""
    inside = (speed.t_s >= speed.span.start_s) & (speed.t_s <= speed.span.end_s)
    t_s, growing_m = speed.t_s[inside], growing_m[inside]
    beyond = np.flatnonzero(growing_m >= at_m)
    if not len(beyond) or beyond[0] == 0:
        return None
    pair = slice(int(beyond[0]) - 1, int(beyond[0]) + 1)
    return float(np.interp(at_m, growing_m[pair], t_s[pair]))
