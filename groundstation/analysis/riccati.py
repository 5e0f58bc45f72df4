"""Steady Kalman filters, many at once: the discrete Riccati equation by doubling.

Each round doubles the time that has been filtered, so a dozen rounds stand for minutes.

Structure-preserving doubling: Chu, Fan, Lin and Wang, "Structure-preserving algorithms for periodic
discrete-time algebraic Riccati equations", International Journal of Control 77, 2004 (from memory).
"""

from __future__ import annotations

import numpy as np

from groundstation.analysis.record import Floats

ROUNDS = 12


def steady_covariance(moves: Floats, noise: Floats, sees: Floats, sensors: Floats) -> Floats:
    """Return the covariance of the state before it is measured, once it no longer changes.

    Args:
        moves: (..., n, n) what a step makes of the state.
        noise: (..., n, n) what it adds to the state's covariance.
        sees: (m, n) what the sensors tell of the state.
        sensors: (m, m) covariance of their noise.
    """
    unit = np.eye(moves.shape[-1])
    over = moves.swapaxes(-1, -2)
    told = sees.T @ np.linalg.solve(sensors, sees)
    spread = noise
    for _ in range(ROUNDS):
        both = np.linalg.inv(unit + told @ spread)
        through = over @ both
        spread, told, over = (
            spread + over.swapaxes(-1, -2) @ spread @ both @ over,
            told + through @ told @ over.swapaxes(-1, -2),
            through @ over,
        )
    return np.asarray(0.5 * (spread + spread.swapaxes(-1, -2)), dtype=np.float64)
