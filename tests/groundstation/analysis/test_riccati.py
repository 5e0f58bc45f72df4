"""Steady filters against scipy's solver of the discrete Riccati equation."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import solve_discrete_are

from groundstation.analysis.riccati import steady_covariance

SEES = np.array([[0.0, 1.0, 0.0, 0.0, 0.0], [0.0, 0.0, 0.0, 0.0, 1.0]])


@pytest.mark.parametrize("sensors", [np.diag([1e-4, 0.1]), np.diag([0.05, 1e8])])
def test_covariance_is_the_one_scipy_finds(sensors: np.ndarray) -> None:
    source = np.random.default_rng(5)
    moves = 0.4 * source.normal(size=(3, 2, 5, 5))
    # One that grows without its filter.
    moves[0, 0] = np.diag([1.05, 0.5, 0.9, 0.2, 0.1])
    moves[0, 0, 1, 0] = moves[0, 0, 4, 0] = 1.0
    root = source.normal(size=(3, 2, 5, 5))
    noise = root @ root.swapaxes(-1, -2)
    found = steady_covariance(moves, noise, SEES, sensors)
    for index in np.ndindex(3, 2):
        wanted = solve_discrete_are(moves[index].T, SEES.T, noise[index], sensors)
        assert found[index] == pytest.approx(wanted, rel=1e-6, abs=1e-9)


def test_slow_states_are_filtered_to_the_end() -> None:
    # A state that hardly forgets: p = q + a^2 p r / (p + r) has a closed form.
    forget, noise, sensor = 0.999, 1e-4, 1.0
    found = steady_covariance(
        np.array([[forget]]), np.array([[noise]]), np.eye(1), np.array([[sensor]])
    )
    half = noise + (forget**2 - 1.0) * sensor
    wanted = 0.5 * (half + np.sqrt(half**2 + 4.0 * noise * sensor))
    assert found[0, 0] == pytest.approx(wanted, rel=1e-9)
