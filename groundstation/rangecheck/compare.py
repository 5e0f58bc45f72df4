"""Today's levels against this vehicle's earlier checks, at equal distance and heading.

Owns the pairing and two tests. The level test asks whether all of it is lower than before: the
Hodges-Lehmann shift from each earlier check, their median, and the spread of this vehicle from day
to day, which is taken from the history and, while that is short, from what is usual. The pattern
test asks whether one heading has dropped more than the others: what the day did to all of them
cancels, so an exact permutation of the paired differences tells. Rule: a hold at one mark and
heading is one observation, however many reports it is made of; and where it cannot be told, it
says so.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log10, sqrt
from statistics import fmean, median, variance

from groundstation.rangecheck.record import Hold
from groundstation.rangecheck.small_samples import (
    hodges_lehmann,
    permutation_p,
    signed_rank_p,
    welch,
)

SIGNIFICANT = 0.05
LEAST_PAIRS = 5
"""Four signs that agree still happen by chance 1 time in 16."""
LEAST_DROP_DB = 2.0
"""A drop that is certain but this small is the weather (common practice, no source)."""
LEAST_HEADING_DROP_DB = 4.0
"""The same for one heading against the others."""
MOST_APART = 1.25
"""Factor by which a distance may lie outside an earlier check's marks."""
OUTSIDE_EXPONENT = 4.0
"""Carries a level over that factor."""

DAY_SIGMA_DB = 1.4
DAY_DEGREES = 6.0
"""How far one check of a car lies from the next at the same marks, while its history does not tell,
and how many checks that is worth (common practice, no source). With these, three earlier checks
and 500 simulated cars, an aerial that lost 6 dB is held in 97.6 % and one that lost none in 2.4 %
(tests/benchmarks/rangecheck.py)."""
ELSEWHERE_SIGMA_DB = 3.0
"""The same where the earlier checks were made at another place."""
MEDIAN_COST = 1.35
"""Variance of a median of three to ten against that of the mean (exact 1.347 for three normal
values, at most pi / 2)."""


@dataclass(frozen=True, slots=True)
class EarlierCheck:
    """What of an earlier check is compared."""

    holds: tuple[Hold, ...]
    """Usable ones."""
    same_place: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class HeadingDrop:
    """The heading that lost most against the others."""

    heading_deg: int
    drop_db: float
    """Positive is weaker than before, the others' change taken off."""
    half_width_db: float
    """Of the two-sided 95 % interval (Welch)."""
    p: float
    """One-sided, times the number of headings it was picked from."""

    @property
    def significant(self) -> bool:
        """Whether it is a drop."""
        return self.p < SIGNIFICANT and self.drop_db >= LEAST_HEADING_DROP_DB


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Today against the earlier checks."""

    checks: int
    """Earlier ones with enough pairs."""
    pairs: int
    """Mark and heading pairs, the median over those checks."""
    shift_db: float
    """Negative is weaker than before."""
    day_sigma_db: float
    low_db: float
    high_db: float
    """Each a one-sided 95 % bound of the shift."""
    p: float
    """One-sided chance of so large a drop from day to day."""
    sign_p: float
    """Exact signed-rank chance that the pairs agree so well on a drop."""
    same_place: bool
    heading: HeadingDrop | None
    """None where marks or headings are too few to tell."""

    @property
    def dropped(self) -> bool:
        """Whether the level is significantly lower than before."""
        certain = self.p < SIGNIFICANT and self.sign_p < SIGNIFICANT
        return certain and self.shift_db <= -LEAST_DROP_DB


def compare(today: Sequence[Hold], earlier: Sequence[EarlierCheck]) -> Comparison | None:
    """Return the comparison of usable holds; None where too few pairs can be made."""
    paired = [(check, _differences(today, check.holds)) for check in earlier]
    paired = [(check, pairs) for check, pairs in paired if len(pairs) >= LEAST_PAIRS]
    if any(check.same_place for check, _ in paired):
        paired = [(check, pairs) for check, pairs in paired if check.same_place]
    if not paired:
        return None
    same_place = paired[0][0].same_place
    shifts = [hodges_lehmann([*pairs.values()]) for _, pairs in paired]
    shift_db, count = median(shifts), len(shifts)
    usual_db = DAY_SIGMA_DB if same_place else ELSEWHERE_SIGMA_DB
    within = median(_mark_variance(pairs) for _, pairs in paired)
    # The scatter within a pair of checks is of both of them.
    usual = max(usual_db**2, 0.5 * within)
    degrees = DAY_DEGREES + count - 1
    squares = variance(shifts) * (count - 1) if count > 1 else 0.0
    day_sigma_db = sqrt((DAY_DEGREES * usual + squares) / degrees)
    cost = MEDIAN_COST if count > 2 else 1.0
    error_db = day_sigma_db * sqrt(1.0 + cost / count)
    p, reach = _student(shift_db / error_db, degrees)
    typical = _typical([pairs for _, pairs in paired])
    return Comparison(
        checks=count,
        pairs=round(median(len(pairs) for _, pairs in paired)),
        shift_db=shift_db,
        day_sigma_db=day_sigma_db,
        low_db=shift_db - reach * error_db,
        high_db=shift_db + reach * error_db,
        p=p,
        sign_p=signed_rank_p([*typical.values()]),
        same_place=same_place,
        heading=_heading_drop(typical),
    )


def level_at(holds: Sequence[Hold], distance_m: float, heading_deg: int) -> float | None:
    """Return an earlier check's level at a distance and heading, None where it does not tell.

    Between two marks along the logarithm of distance; up to `MOST_APART` outside them by the plane
    earth's exponent.
    """
    known = sorted(
        (hold.distance_m, hold.level_dbm)
        for hold in holds
        if hold.heading_deg == heading_deg and hold.level_dbm is not None
    )
    if not known:
        return None
    nearer = [mark for mark in known if mark[0] <= distance_m]
    farther = [mark for mark in known if mark[0] >= distance_m]
    if nearer and farther:
        (near_m, near_dbm), (far_m, far_dbm) = nearer[-1], farther[0]
        if near_m == far_m:
            return near_dbm
        share = log10(distance_m / near_m) / log10(far_m / near_m)
        return near_dbm + share * (far_dbm - near_dbm)
    edge_m, edge_dbm = nearer[-1] if nearer else farther[0]
    if max(edge_m / distance_m, distance_m / edge_m) > MOST_APART:
        return None
    return edge_dbm - 10.0 * OUTSIDE_EXPONENT * log10(distance_m / edge_m)


def _differences(today: Sequence[Hold], before: Sequence[Hold]) -> dict[tuple[int, int], float]:
    """Return today less before by mark and heading."""
    differences: dict[tuple[int, int], float] = {}
    for hold in today:
        level_dbm = level_at(before, hold.distance_m, hold.heading_deg)
        if hold.level_dbm is not None and level_dbm is not None:
            differences[hold.mark, hold.heading_deg] = hold.level_dbm - level_dbm
    return differences


def _mark_variance(pairs: dict[tuple[int, int], float]) -> float:
    """Return the variance of the mean over marks, which share no shadow; 0 where there is one."""
    by_mark: dict[int, list[float]] = {}
    for (mark, _), difference in pairs.items():
        by_mark.setdefault(mark, []).append(difference)
    means = [fmean(differences) for differences in by_mark.values()]
    return variance(means) / len(means) if len(means) > 1 else 0.0


def _typical(checks: Sequence[dict[tuple[int, int], float]]) -> dict[tuple[int, int], float]:
    """Return the median difference of each mark and heading over the earlier checks."""
    cells = sorted({cell for pairs in checks for cell in pairs})
    return {cell: median(pairs[cell] for pairs in checks if cell in pairs) for cell in cells}


def _heading_drop(typical: dict[tuple[int, int], float]) -> HeadingDrop | None:
    """Return the heading that lost most against the others at the same marks."""
    headings = sorted({heading for _, heading in typical})
    whole = [
        mark
        for mark in sorted({mark for mark, _ in typical})
        if all((mark, heading) in typical for heading in headings)
    ]
    if len(headings) < 3 or len(whole) < 3:
        return None
    middle = {mark: fmean(typical[mark, heading] for heading in headings) for mark in whole}
    lost = {
        heading: [middle[mark] - typical[mark, heading] for mark in whole] for heading in headings
    }
    worst = max(headings, key=lambda heading: fmean(lost[heading]))
    others = [value for heading in headings if heading != worst for value in lost[heading]]
    tested = welch(lost[worst], others)
    p = permutation_p(lost[worst], others)
    if p is None:
        p = 0.5 * tested.p_two_sided
    return HeadingDrop(
        heading_deg=worst,
        drop_db=tested.difference,
        half_width_db=tested.half_width,
        p=min(p * len(headings), 1.0),
    )


def _student(t: float, degrees: float) -> tuple[float, float]:
    """Return the chance of a value under `t`, and the 95 % quantile, of Student's distribution."""
    from scipy.special import stdtr, stdtrit

    return float(stdtr(degrees, t)), float(stdtrit(degrees, 0.95))
