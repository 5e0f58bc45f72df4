"""The log-distance law of one check, and the margin that it forecasts.

Owns the step from holds to `LinkPrior`, one law over all marks, and to the 5 % margin. The margin
is forecast by the live estimate (`radio.estimate.LinkEstimate`), walked from mark to mark, so that
a check and the pass after it look ahead alike. Rule: one mark is one observation; the headings of a
mark share its shadow, and what they do not share is measured from their own scatter.

The law is Bayesian linear regression with shadows that are correlated along the course, one for
each strength of shadow held possible, weighed by the evidence (C. M. Bishop, Pattern Recognition
and Machine Learning, 2006, sections 3.3 to 3.5; from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt
from statistics import fmean, variance

import numpy as np

from groundstation.radio.estimate import (
    SHADOW_DISTANCE_M,
    SHADOW_SIGMAS_DB,
    SHADOW_WEIGHTS,
    LinkEstimate,
    LinkPrior,
)
from groundstation.radio.forecast import QUANTILE_5
from groundstation.rangecheck.record import Hold

HOLD_SIGMA_DB = 1.5
HOLD_DEGREES = 4.0
"""Scatter of one hold beyond mark and heading, before it is measured, and how many degrees of
freedom that is worth: fading of a standing car, placed by hand (common practice, no source)."""

SETTLED_DB = 1e-9
MOST_ROUNDS = 200
"""Of the alternating means; a whole table settles in two."""

AT_10_M = (-50.0, 25.0)
EXPONENT = (3.4, 0.9)
"""Level at 10 m and exponent before the check, mean and one sigma: free space to the plane earth
and beyond (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class MarkLevel:
    """One mark: the mean of its headings."""

    distance_m: float
    level_dbm: float
    headings: int


@dataclass(frozen=True, slots=True)
class CheckFit:
    """What the holds come to."""

    prior: LinkPrior
    estimate: LinkEstimate
    marks: tuple[MarkLevel, ...]
    hold_sigma_db: float
    """Of one hold about its mark and heading."""
    headings_db: dict[int, float]
    """Each heading's mean level against the mean of all."""

    @property
    def worst_heading_deg(self) -> int:
        """The heading of the weakest level."""
        return min(self.headings_db, key=lambda heading: self.headings_db[heading])

    @property
    def worst_depth_db(self) -> float:
        """By how much the weakest heading lies under the mean; 0 where there is only one."""
        return max(-self.headings_db[self.worst_heading_deg], 0.0)

    def margin_p05_db(self, distance_m: float, threshold_dbm: float) -> tuple[float, float]:
        """Return the expected margin at a distance, and its 5 % quantile, in the worst heading."""
        level_dbm, level_variance = self.estimate.predict(distance_m)
        margin_db = level_dbm - self.worst_depth_db - threshold_dbm
        return margin_db, margin_db - QUANTILE_5 * sqrt(level_variance)


def usable(holds: Sequence[Hold], least_reports: int) -> list[Hold]:
    """Return the holds that are levels, made of enough reports."""
    return [
        hold
        for hold in holds
        if hold.level_dbm is not None and not hold.bounded and hold.reports >= least_reports
    ]


def fit_holds(holds: Sequence[Hold]) -> CheckFit | None:
    """Return the law of usable holds; None where they are of fewer than two distances."""
    levels = {(hold.mark, hold.heading_deg): hold.level_dbm or 0.0 for hold in holds}
    distances = {hold.mark: hold.distance_m for hold in holds}
    if len(set(distances.values())) < 2:
        return None
    marks, headings = _additive(levels)
    hold_variance = _hold_variance(levels, marks, headings)
    pattern_variance = variance(headings.values()) if len(headings) > 1 else 0.0
    counts = {mark: sum(1 for held, _ in levels if held == mark) for mark in marks}
    ordered = sorted(
        (MarkLevel(distances[mark], marks[mark], counts[mark]) for mark in marks),
        key=lambda mark: mark.distance_m,
    )
    estimate = LinkEstimate()
    at_m = 0.0
    for mark in ordered:
        estimate.move(mark.distance_m, mark.distance_m - at_m)
        estimate.observe(mark.level_dbm, hold_variance / mark.headings)
        at_m = mark.distance_m
    prior = _law(ordered, hold_variance, pattern_variance)
    return CheckFit(prior, estimate, tuple(ordered), sqrt(hold_variance), headings)


def _additive(
    levels: dict[tuple[int, int], float],
) -> tuple[dict[int, float], dict[int, float]]:
    """Return the level of each mark and the offset of each heading, by least squares.

    Headings that a mark lacks are allowed for (alternating means converge to the least squares
    of an additive two-way table; T. Hastie and R. Tibshirani, Generalized Additive Models, 1990,
    backfitting; from memory).
    """
    marks = {mark: 0.0 for mark, _ in sorted(levels)}
    headings = {heading: 0.0 for _, heading in sorted(levels)}
    settled = dict(headings)
    for _ in range(MOST_ROUNDS):
        for mark in marks:
            marks[mark] = fmean(
                level - headings[heading]
                for (held, heading), level in levels.items()
                if held == mark
            )
        for heading in headings:
            headings[heading] = fmean(
                level - marks[mark] for (mark, held), level in levels.items() if held == heading
            )
        middle = fmean(headings.values())
        headings = {heading: offset - middle for heading, offset in headings.items()}
        moved_db = max(abs(headings[each] - settled[each]) for each in headings)
        settled = headings
        if moved_db < SETTLED_DB:
            break
    return marks, headings


def _hold_variance(
    levels: dict[tuple[int, int], float], marks: dict[int, float], headings: dict[int, float]
) -> float:
    """Return the variance of one hold: what is measured, joined with what is expected."""
    degrees = max(len(levels) - len(marks) - len(headings) + 1, 0)
    squares = sum(
        (level - marks[mark] - headings[heading]) ** 2 for (mark, heading), level in levels.items()
    )
    return (HOLD_DEGREES * HOLD_SIGMA_DB**2 + squares) / (HOLD_DEGREES + degrees)


def _law(marks: Sequence[MarkLevel], hold_variance: float, pattern_variance: float) -> LinkPrior:
    """Return the law of the marks.

    What the strengths of shadow disagree by is part of the variance. A pass shows any heading, so
    the pattern is too.
    """
    distances = np.array([mark.distance_m for mark in marks])
    levels = np.array([mark.level_dbm for mark in marks])
    noise = np.diag([hold_variance / mark.headings for mark in marks])
    along = np.exp(-np.abs(distances[:, None] - distances[None, :]) / SHADOW_DISTANCE_M)
    rows = np.column_stack([np.ones(len(marks)), -10.0 * np.log10(distances / 10.0)])
    before = np.array([AT_10_M[0], EXPONENT[0]])
    spread = np.diag([AT_10_M[1] ** 2, EXPONENT[1] ** 2])
    off = levels - rows @ before
    means, covariances, evidence = [], [], []
    for sigma_db, weight in zip(SHADOW_SIGMAS_DB, SHADOW_WEIGHTS, strict=True):
        total = rows @ spread @ rows.T + sigma_db**2 * along + noise
        gain = np.linalg.solve(total, rows @ spread).T
        means.append(before + gain @ off)
        covariances.append(spread - gain @ rows @ spread)
        likelihood = off @ np.linalg.solve(total, off) + np.linalg.slogdet(total)[1]
        evidence.append(log(weight) - 0.5 * float(likelihood))
    weights = np.exp(np.array(evidence) - max(evidence))
    weights /= weights.sum()
    mean = weights @ np.array(means)
    covariance = np.zeros((2, 2))
    for weight, each, inner in zip(weights, means, covariances, strict=True):
        apart = each - mean
        covariance += weight * (inner + np.outer(apart, apart))
    # From 10 m to 1 m: the level grows by ten times the exponent.
    turn = np.array([[1.0, 10.0], [0.0, 1.0]])
    at_1m = turn @ mean
    covariance = turn @ covariance @ turn.T
    return LinkPrior(
        level_at_1m_dbm=float(at_1m[0]),
        exponent=float(at_1m[1]),
        level_variance_db2=float(covariance[0, 0]) + pattern_variance,
        exponent_variance=float(covariance[1, 1]),
        covariance_db=float(covariance[0, 1]),
        reach_m=marks[-1].distance_m,
    )
