"""Level and exponent of the control link against log distance, with how sure they are.

Owns the Bayesian estimate. The model is the log-distance law plus a shadow that belongs to the
place: level = reference - 10 exponent log10(distance / 10 m) + shadow. How strong the shadows of
this course are is not known beforehand, so a Kalman filter runs for each of a few strengths
and the data weigh them (multiple-model estimation: Y. Bar-Shalom et al., Estimation with
Applications to Tracking and Navigation, 2001, section 11.6; from memory).

Rule: samples that are close together share their shadow and are not counted as independent. The
shadow decorrelates with the way travelled (M. Gudmundson, Electronics Letters 27(23), 1991).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import erfc, exp, log10, pi, sqrt

from groundstation.radio.hypothesis import (
    EXPONENT_FORGETS,
    EXPONENT_SIGMA,
    FAR_EXPONENT,
    Hypothesis,
)
from groundstation.radio.hypothesis import REFERENCE_M as REFERENCE_M

NEAREST_M = 3.0
"""Closer than this the law is not followed: aerial patterns and heights rule there."""

DAY_SIGMA_DB = 2.0
"""How far the level of one car and course moves from a range check to the next
(common practice, no source)."""
MEASURED_DAY_SIGMA_DB = 12.0
"""The same for a receiver that measures its level: today's reports shall find an aerial that lies
wrong since the check, not explain it away as a shadow."""

SHADOW_SIGMAS_DB = (1.0, 1.8, 2.8, 4.5)
SHADOW_WEIGHTS = (0.2, 0.4, 0.3, 0.1)
"""Strengths of shadow held possible, and how likely before the first report: low aerials with free
sight give 1 to 4 dB (common practice, no source)."""
SHADOW_DISTANCE_M = 25.0
"""Over which a shadow falls to 1/e (beside low aerials 10 to 30 m; common practice, no source)."""

JUMP_SLACK = 0.75
JUMP_LIMIT = 7.0
"""CUSUM of the innovations in sigmas: slack K and limit H (E. S. Page, Biometrika 41, 1954)."""
JUMP_SIGMA_DB = 7.0
"""How far an aerial that is knocked changes the level: the estimate is opened by so much."""

CHECK_SHARE = 0.3
"""Up to this share of its reach a range check's exponent holds. It is the mean slope over all of
the check's distances; at the far end the path has bent further towards the plane earth's."""

UNMEASURED = -100.0
"""As 10 log10 of a distance: nowhere."""

MODEL_VARIANCE_DB2 = 2.2
"""Of a forecast, for what the law leaves out: aerial patterns, ground that changes, a receiver that
reads high or low. Without it twice as many truths as should lay under the 5 % quantile
(tests/benchmarks/warnings.py, seed 2)."""

LEAST_WEIGHT = 1e-4
"""A strength of shadow is never ruled out for good: the course may change."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkPrior:
    """What the last range check of this vehicle found."""

    level_at_1m_dbm: float
    exponent: float
    level_variance_db2: float
    exponent_variance: float
    covariance_db: float
    """Of level and exponent."""
    reach_m: float
    """Farthest distance of the check; up to `CHECK_SHARE` of it its exponent holds."""


@dataclass(frozen=True, slots=True)
class Fit:
    """The law as it is held now."""

    level_at_1m_dbm: float
    exponent: float
    level_sigma_db: float
    """Of the level where the car is."""
    exponent_sigma: float
    shadow_sigma_db: float


def _hypotheses() -> list[Hypothesis]:
    return [
        Hypothesis(sigma_db=sigma_db, weight=weight, shadow_shadow=sigma_db * sigma_db)
        for sigma_db, weight in zip(SHADOW_SIGMAS_DB, SHADOW_WEIGHTS, strict=True)
    ]


@dataclass(slots=True)
class LinkEstimate:
    """The estimate; plain data, so that it can be kept and go on bit for bit."""

    hypotheses: list[Hypothesis] = field(default_factory=_hypotheses)
    distance_m: float = 0.0
    """From the driver, at the newest sample."""
    decades: float | None = None
    """10 log10 of that over `REFERENCE_M`; None before the first sample."""
    measured_decades: float = UNMEASURED
    """Up to where a range check, or the way in, tells the exponent."""
    taken: int = 0
    """Independent reports taken in."""
    rising: float = 0.0
    falling: float = 0.0
    """The two sums of the jump test."""
    jumps: int = 0

    def begin(self, prior: LinkPrior, *, measures: bool) -> None:
        """Start from a range check, before the first report.

        Args:
            prior: What the check found.
            measures: Whether the receiver reports levels, not only how much it receives.
        """
        day_db = MEASURED_DAY_SIGMA_DB if measures else DAY_SIGMA_DB
        far = 10.0 * log10(REFERENCE_M)
        self.measured_decades = decades_of(CHECK_SHARE * prior.reach_m)
        for each in self.hypotheses:
            each.exponent = prior.exponent
            each.level_dbm = prior.level_at_1m_dbm - far * prior.exponent
            each.exponent_exponent = prior.exponent_variance
            each.level_exponent = prior.covariance_db - far * prior.exponent_variance
            each.level_level = prior.level_variance_db2 + day_db**2
            each.level_level += far * (far * prior.exponent_variance - 2.0 * prior.covariance_db)
        self.taken = max(self.taken, 1)

    def move(self, distance_m: float, travelled_m: float) -> None:
        """Go to the place of the next report.

        Args:
            distance_m: From the driver.
            travelled_m: Way since the place of the report before.
        """
        decades = decades_of(distance_m)
        gained = 0.0 if self.decades is None else decades - self.decades
        if gained < 0.0:
            self.measured_decades = max(self.measured_decades, decades - gained)
        if gained > 0.0:
            gained = max(decades - max(decades - gained, self.measured_decades), 0.0)
        self.distance_m, self.decades = distance_m, decades
        keep = exp(-travelled_m / SHADOW_DISTANCE_M)
        for each in self.hypotheses:
            each.move(decades, gained, keep)

    def observe(self, level_dbm: float, variance_db2: float) -> None:
        """Take in a level that was measured where the car is.

        Args:
            level_dbm: The local mean.
            variance_db2: What fading, rounding and noise leave of uncertainty in it.
        """
        decades = self.decades
        if decades is None:
            return
        surprise = 0.0
        for each in self.hypotheses:
            gains = each.gains(decades)
            variance = gains[0] - decades * gains[1] + gains[2] + variance_db2
            innovation_db = level_dbm - each.level_here_dbm(decades)
            surprise += each.weight * innovation_db / sqrt(variance)
            each.correct(gains, innovation_db / variance, 1.0 / variance)
            each.weight *= exp(max(-0.5 * innovation_db * innovation_db / variance, -40.0))
            each.weight /= sqrt(variance)
        self._weigh()
        self.taken += 1
        self._watch_for_jump(surprise)

    def bound(self, level_dbm: float, sigma_db: float, *, above: bool) -> None:
        """Take in that the level is above, or below, a value (a receiver that says no more).

        The posterior is matched in its first two moments: C. E. Rasmussen and C. K. I. Williams,
        Gaussian Processes for Machine Learning, 2006, section 3.9 (from memory).

        Args:
            level_dbm: The bound.
            sigma_db: How soft it is.
            above: Whether the level is above it.
        """
        decades = self.decades
        if decades is None:
            return
        sign = 1.0 if above else -1.0
        for each in self.hypotheses:
            gains = each.gains(decades)
            variance = gains[0] - decades * gains[1] + gains[2] + sigma_db * sigma_db
            spread = sqrt(variance)
            beyond = max(sign * (each.level_here_dbm(decades) - level_dbm) / spread, -8.0)
            share = max(0.5 * erfc(-beyond / sqrt(2.0)), 1e-15)
            ratio = exp(-0.5 * beyond * beyond) / (sqrt(2.0 * pi) * share)
            each.correct(gains, sign * ratio / spread, ratio * (ratio + beyond) / variance)
            each.weight *= share
        self._weigh()

    def predict(self, distance_m: float) -> tuple[float, float]:
        """Return mean and variance of the local mean level at a distance from the driver."""
        decades = decades_of(distance_m)
        here = decades if self.decades is None else self.decades
        gained = decades - here
        keep = exp(-abs(distance_m - self.distance_m) / SHADOW_DISTANCE_M)
        fresh = 1.0 - keep * keep
        beyond = min(decades - self.measured_decades, gained)
        reach, wander = gained, 0.0
        if beyond > 0.0:
            reach, wander = _outward(beyond)
            reach += gained - beyond
        lever = here + reach
        mean = square = 0.0
        for each in self.hypotheses:
            level = each.level_dbm - lever * each.exponent + keep * each.shadow_db
            level -= (gained - reach) * FAR_EXPONENT
            variance = (
                each.level_level
                + lever * (lever * each.exponent_exponent - 2.0 * each.level_exponent)
                + keep * (keep * each.shadow_shadow + 2.0 * each.level_shadow)
                - 2.0 * keep * lever * each.exponent_shadow
                + fresh * each.sigma_db * each.sigma_db
            )
            mean += each.weight * level
            square += each.weight * (level * level + variance)
        return mean, max(square - mean * mean, 0.0) + wander + MODEL_VARIANCE_DB2

    def fit(self) -> Fit | None:
        """Return the law as it is held now; None before anything is known."""
        if self.taken == 0:
            return None
        here = self.decades or 0.0
        level = exponent = level_square = exponent_square = shadow = 0.0
        for each in self.hypotheses:
            base = each.level_dbm - here * each.exponent
            spread = each.level_level + here * (
                here * each.exponent_exponent - 2.0 * each.level_exponent
            )
            level += each.weight * base
            level_square += each.weight * (base * base + spread)
            exponent += each.weight * each.exponent
            exponent_square += each.weight * (
                each.exponent * each.exponent + each.exponent_exponent
            )
            shadow += each.weight * each.sigma_db * each.sigma_db
        return Fit(
            level_at_1m_dbm=level + (here + 10.0 * log10(REFERENCE_M)) * exponent,
            exponent=exponent,
            level_sigma_db=sqrt(max(level_square - level * level, 0.0)),
            exponent_sigma=sqrt(max(exponent_square - exponent * exponent, 0.0)),
            shadow_sigma_db=sqrt(shadow),
        )

    def _weigh(self) -> None:
        total = sum(each.weight for each in self.hypotheses)
        for each in self.hypotheses:
            each.weight = max(each.weight / total, LEAST_WEIGHT)
        total = sum(each.weight for each in self.hypotheses)
        for each in self.hypotheses:
            each.weight /= total

    def _watch_for_jump(self, surprise: float) -> None:
        self.rising, self.falling = cusum(self.rising, self.falling, surprise, slack=JUMP_SLACK)
        if max(self.rising, self.falling) <= JUMP_LIMIT:
            return
        self.rising = self.falling = 0.0
        self.jumps += 1
        for each in self.hypotheses:
            each.level_level += JUMP_SIGMA_DB * JUMP_SIGMA_DB


def cusum(rising: float, falling: float, deviation: float, *, slack: float) -> tuple[float, float]:
    """Return the two sums of Page's test after one more deviation from the target."""
    return max(rising + deviation - slack, 0.0), max(falling - deviation - slack, 0.0)


def decades_of(distance_m: float) -> float:
    """Return 10 log10 of a distance over `REFERENCE_M`: the lever of the exponent, in dB."""
    return 10.0 * log10(max(distance_m, NEAREST_M) / REFERENCE_M)


def _outward(gained: float) -> tuple[float, float]:
    """Return how far today's exponent carries, and the variance of what replaces it on the way.

    The exponent is an Ornstein-Uhlenbeck process over log distance; these are the mean and the
    variance of its integral (D. T. Gillespie, Physical Review E 54(2), 1996; from memory).
    """
    rate = EXPONENT_FORGETS
    held = exp(-rate * gained)
    reach = (1.0 - held) / rate
    wander = (2.0 * rate * gained - 3.0 + 4.0 * held - held * held) / (rate * rate)
    return reach, wander * EXPONENT_SIGMA * EXPONENT_SIGMA
