"""Intervals and tests for few numbers, with their sources.

Owns the score interval of a share (E. B. Wilson, J. American Statistical Association 22, 1927) and
the comparison of two means with unequal spreads (B. L. Welch, Biometrika 34, 1947; degrees of
freedom after Satterthwaite).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import sqrt
from statistics import NormalDist, fmean, variance


@dataclass(frozen=True, slots=True)
class Summary:
    """What is left of a group of numbers."""

    mean: float
    deviation: float
    """Standard deviation, divisor n - 1."""
    count: int


@dataclass(frozen=True, slots=True)
class MeanDifference:
    """The first group's mean less the second's, and how surely it is not 0."""

    difference: float
    low: float
    high: float
    """Interval of the difference, at the confidence asked for."""
    t: float
    degrees_of_freedom: float
    p: float
    """Two-sided."""


def wilson_interval(hits: int, trials: int, *, confidence: float = 0.95) -> tuple[float, float]:
    """Return the score interval of a share; everything where there were no trials.

    Args:
        hits: How often it happened.
        trials: Of how many; independent of each other.
        confidence: Share of such intervals that hold the truth.
    """
    if trials == 0:
        return 0.0, 1.0
    square = NormalDist().inv_cdf(0.5 + 0.5 * confidence) ** 2
    share = hits / trials
    middle = (share + square / (2 * trials)) / (1 + square / trials)
    spread = share * (1 - share) / trials + square / (4 * trials**2)
    half = sqrt(square * spread) / (1 + square / trials)
    return (
        0.0 if hits == 0 else max(middle - half, 0.0),
        1.0 if hits == trials else min(middle + half, 1.0),
    )


def summary_of(values: Sequence[float]) -> Summary:
    """Return mean, deviation and count of two numbers or more.

    Raises:
        ValueError: There are fewer.
    """
    if len(values) < 2:
        raise ValueError("a spread needs two numbers or more")
    return Summary(fmean(values), sqrt(variance(values)), len(values))


def welch(first: Summary, second: Summary, *, confidence: float = 0.95) -> MeanDifference:
    """Return the difference of two means, the groups' spreads not taken as equal.

    Raises:
        ValueError: Neither group has any spread.
    """
    from scipy.stats import t as student

    shares = [each.deviation**2 / each.count for each in (first, second)]
    total = sum(shares)
    if total == 0.0:
        raise ValueError("numbers without any spread cannot be compared")
    freedom = total**2 / sum(
        share**2 / (each.count - 1) for share, each in zip(shares, (first, second), strict=True)
    )
    difference = first.mean - second.mean
    ratio = difference / sqrt(total)
    half = float(student.ppf(0.5 + 0.5 * confidence, freedom)) * sqrt(total)
    return MeanDifference(
        difference=difference,
        low=difference - half,
        high=difference + half,
        t=ratio,
        degrees_of_freedom=freedom,
        p=2.0 * float(student.sf(abs(ratio), freedom)),
    )
