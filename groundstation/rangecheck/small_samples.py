"""Statistics of a handful of observations: exact where it can be, robust where it must be.

All tests are one-sided towards a drop. Rule: a p-value is never smaller than the number of ways in
which the observations could have fallen allows.

Sources: J. L. Hodges and E. L. Lehmann, Annals of Mathematical Statistics 34, 1963; F. Wilcoxon,
Biometrics Bulletin 1, 1945; B. L. Welch, Biometrika 34, 1947; B. Efron and R. Tibshirani, An
Introduction to the Bootstrap, 1993, chapter 15 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from math import comb, fsum, sqrt
from statistics import fmean, median, stdev

MOST_SPLITS = 200_000
"""Of an exact permutation test; beyond it Welch's test is as good."""


def hodges_lehmann(values: Sequence[float]) -> float:
    """Return the median of the means of all pairs, each value with itself included."""
    return median(
        0.5 * (first + second) for index, first in enumerate(values) for second in values[index:]
    )


def signed_rank_p(values: Sequence[float]) -> float:
    """Return the exact chance of so small a sum of positive ranks, were the values even about 0.

    Ties share their ranks; zeros are left out.
    """
    kept = sorted((abs(value), value > 0.0) for value in values if value != 0.0)
    sizes = [size for size, _ in kept]
    # Twice the mid-rank is whole: first place plus last place of each tie, counted from 1.
    ranks = [sizes.index(size) + 1 + len(sizes) - sizes[::-1].index(size) for size in sizes]
    observed = sum(rank for rank, (_, positive) in zip(ranks, kept, strict=True) if positive)
    ways = [1] + [0] * sum(ranks)
    for rank in ranks:
        for total in range(len(ways) - 1, rank - 1, -1):
            ways[total] += ways[total - rank]
    return float(sum(ways[: observed + 1]) / 2 ** len(ranks))


def permutation_p(first: Sequence[float], second: Sequence[float]) -> float | None:
    """Return the exact chance of so large a mean of `first` over `second` among all splits.

    None where there are more than `MOST_SPLITS`.
    """
    pooled = [*first, *second]
    if comb(len(pooled), len(first)) > MOST_SPLITS:
        return None
    # Rounding must not make equal sums differ.
    reached = fsum(first) - 1e-9 * (1.0 + fsum(abs(value) for value in pooled))
    splits = combinations(pooled, len(first))
    return sum(sum(split) >= reached for split in splits) / comb(len(pooled), len(first))


@dataclass(frozen=True, slots=True)
class Summary:
    """What is left of a group of values."""

    mean: float
    deviation: float
    """Standard deviation, divisor n - 1."""
    count: int


@dataclass(frozen=True, slots=True)
class Welch:
    """Difference of two means whose variances differ."""

    difference: float
    t: float
    degrees: float
    half_width: float
    """Of the two-sided 95 % interval."""
    p_two_sided: float


def welch(first: Sequence[float], second: Sequence[float]) -> Welch:
    """Return Welch's test of mean(first) - mean(second); both need two values or more."""
    return welch_of(_summary(first), _summary(second))


def welch_of(first: Summary, second: Summary) -> Welch:
    """Return Welch's test of two groups of which only the summaries are known."""
    from scipy.special import stdtr, stdtrit

    groups = (first, second)
    parts = [group.deviation**2 / group.count for group in groups]
    spread = sum(parts)
    difference = first.mean - second.mean
    if spread == 0.0:
        certain = 0.0 if difference else 1.0
        return Welch(difference, 0.0 if certain else float("inf"), 1.0, 0.0, certain)
    degrees = spread**2 / sum(
        part**2 / (group.count - 1) for part, group in zip(parts, groups, strict=True)
    )
    t = difference / sqrt(spread)
    half_width = float(stdtrit(degrees, 0.975)) * sqrt(spread)
    return Welch(difference, t, degrees, half_width, 2.0 * float(stdtr(degrees, -abs(t))))


def _summary(values: Sequence[float]) -> Summary:
    return Summary(fmean(values), stdev(values), len(values))
