"""A straight line that a few wild points do not move, and a spread that they do not widen.

Owns the median of the slopes of all pairs of points (H. Theil, Proc. Koninklijke Nederlandse
Akademie van Wetenschappen 53, 1950; P. K. Sen, J. American Statistical Association 63, 1968) and
the median absolute deviation. Up to 29 % of the points may be wrong in a line, half of them in a
spread.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.record import Floats

NORMAL_PER_DEVIATION = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""

MOST_POINTS = 400
"""More are thinned evenly: the pairs grow with the square."""


@dataclass(frozen=True, slots=True)
class RobustLine:
    """y = intercept + slope x."""

    slope: float
    intercept: float
    sigma: float
    """Robust standard deviation of the points about it."""
    count: int
    """Points it was fitted to."""

    def at(self, x: Floats) -> Floats:
        """Return the line's values."""
        return self.intercept + self.slope * x


def robust_line(x: Floats, y: Floats) -> RobustLine | None:
    """Return the line through points; None where all have the same `x` or there are fewer than 2.

    The intercept is the median of y less the slope times the median of x (Conover's; as
    `scipy.stats.theilslopes`).

    Args:
        x: (n), known.
        y: (n), known.
    """
    if len(x) > MOST_POINTS:
        chosen = np.linspace(0, len(x) - 1, MOST_POINTS).astype(int)
        x, y = x[chosen], y[chosen]
    first, second = np.triu_indices(len(x), 1)
    across, up = x[second] - x[first], y[second] - y[first]
    apart = across != 0.0
    if not apart.any():
        return None
    slope = float(np.median(up[apart] / across[apart]))
    intercept = float(np.median(y) - slope * np.median(x))
    return RobustLine(slope, intercept, robust_sigma(y - intercept - slope * x), len(x))


def robust_sigma(values: Floats) -> float:
    """Return the spread of known values about their median, as a standard deviation; 0 for none."""
    if not len(values):
        return 0.0
    return NORMAL_PER_DEVIATION * float(np.median(np.abs(values - np.median(values))))
