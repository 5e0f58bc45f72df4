"""How surely a share is known (E. B. Wilson, J. American Statistical Association 22, 1927)."""

from __future__ import annotations

from math import sqrt

DEVIATE_95 = 1.959964


def wilson(hits: int, trials: int) -> tuple[float, float]:
    """Return the 95 % score interval of a share; everything where there were no trials."""
    if trials == 0:
        return 0.0, 1.0
    share, square = hits / trials, DEVIATE_95**2
    middle = (share + square / (2 * trials)) / (1 + square / trials)
    spread = share * (1 - share) / trials + square / (4 * trials**2)
    half = DEVIATE_95 * sqrt(spread) / (1 + square / trials)
    return (
        0.0 if hits == 0 else max(middle - half, 0.0),
        1.0 if hits == trials else min(middle + half, 1.0),
    )
