"""The log-distance law: received level falls by 10 n dB a decade, and scatters around that.

Owns the law, its inverse, its rate of change for a moving car and its least-squares fit to measured
levels. Source: T. S. Rappaport, Wireless Communications, 2nd ed., section 4.9 (from memory).
Exponent 2 is free space, 4 both aerials low over flat ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import erfc, log, sqrt

import numpy as np

from groundstation.radio.propagation import Array, Numbers


def log_distance_loss_db(
    distance_m: Numbers, *, exponent: float, reference_loss_db: float, reference_m: float = 1.0
) -> Array:
    """Return the loss at a distance: the loss at the reference distance and 10 n log(d / d0)."""
    decades = np.log10(np.asarray(distance_m) / reference_m)
    return np.asarray(reference_loss_db + 10.0 * exponent * decades)


def log_distance_reach_m(
    loss_db: Numbers, *, exponent: float, reference_loss_db: float, reference_m: float = 1.0
) -> Array:
    """Return the distance at which the loss is reached: the inverse of `log_distance_loss_db`."""
    decades = (np.asarray(loss_db) - reference_loss_db) / (10.0 * exponent)
    return np.asarray(reference_m * np.power(10.0, decades))


def loss_rate_db_per_s(distance_m: Numbers, *, speed_mps: float, exponent: float) -> Array:
    """Return how fast the loss grows for a car that moves straight away: (10 n / ln 10) v / d."""
    return np.asarray(10.0 * exponent / log(10.0) * speed_mps / np.asarray(distance_m))


@dataclass(frozen=True, slots=True, kw_only=True)
class LogDistanceFit:
    """A log-distance law fitted to measured levels."""

    exponent: float
    reference_m: float
    reference_level_dbm: float
    """The law's level at the reference distance."""
    sum_of_squares_db2: float
    """Of the residuals."""
    count: int
    """Levels that were fitted."""
    fitted: int
    """Parameters that were fitted: 1 with a given reference level, else 2."""

    @property
    def sigma_db(self) -> float:
        """Standard deviation of the levels about the law, of greatest likelihood (divisor N)."""
        return sqrt(self.sum_of_squares_db2 / self.count)

    @property
    def unbiased_sigma_db(self) -> float | None:
        """The same with divisor N less fitted parameters; None where nothing is left over."""
        left = self.count - self.fitted
        return sqrt(self.sum_of_squares_db2 / left) if left else None

    def level_dbm(self, distance_m: Numbers) -> Array:
        """Return the law's level, the median of what is measured there."""
        decades = np.log10(np.asarray(distance_m) / self.reference_m)
        return np.asarray(self.reference_level_dbm - 10.0 * self.exponent * decades)

    def probability_above(self, level_dbm: float, distance_m: float) -> float:
        """Return the share of places at a distance where the level is higher than `level_dbm`.

        With log-normal shadowing of `sigma_db`. A fit without scatter gives 0 or 1.
        """
        above_db = float(self.level_dbm(distance_m)) - level_dbm
        if self.sigma_db == 0.0:
            return float(above_db > 0.0)
        return 0.5 * erfc(-above_db / (self.sigma_db * sqrt(2.0)))


def fit_log_distance(
    distance_m: Array,
    level_dbm: Array,
    *,
    reference_m: float,
    reference_level_dbm: float | None = None,
) -> LogDistanceFit:
    """Return the log-distance law that fits measured levels best, by least squares.

    Args:
        distance_m: Where it was measured; shape (N,).
        level_dbm: What was measured; shape (N,).
        reference_m: Distance at which the law is anchored.
        reference_level_dbm: Holds the law to a level there; None fits the level too.

    Raises:
        ValueError: The distances do not determine the law.
    """
    decades = np.log10(np.asarray(distance_m, dtype=np.float64) / reference_m)
    levels = np.asarray(level_dbm, dtype=np.float64)
    if reference_level_dbm is None:
        fitted, from_x, from_y = 2, float(decades.mean()), float(levels.mean())
    else:
        fitted, from_x, from_y = 1, 0.0, reference_level_dbm
    across, down = decades - from_x, levels - from_y
    spread = float(across @ across)
    # Equal distances leave rounding only, which is not a spread.
    if spread <= 1e-12 * max(1, decades.size):
        raise ValueError("the distances do not determine a log-distance law")
    slope = float(across @ down) / spread
    residuals = down - slope * across
    return LogDistanceFit(
        exponent=-slope / 10.0,
        reference_m=reference_m,
        reference_level_dbm=from_y - slope * from_x,
        sum_of_squares_db2=float(residuals @ residuals),
        count=levels.size,
        fitted=fitted,
    )
