"""The banded answer against dense least squares, a written-out smoother, and the normal law."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from groundstation.analysis.smoother import Chain


def _level(values: np.ndarray, *, step: float, noise: float, start: float) -> Chain:
    """A level that walks by `step` a node and is read with `noise` at every node."""
    count = len(values)
    chain = Chain(count, 1)
    links = np.tile([-1.0, 1.0], (count - 1, 1))
    chain.add(np.arange(count - 1), links, 0.0, np.full(count - 1, step))
    chain.add(np.array([0]), np.array([[1.0, 0.0]]), 0.0, np.array([start]))
    node = np.minimum(np.arange(count), count - 2)
    reads = np.tile([1.0, 0.0], (count, 1))
    reads[-1] = 0.0, 1.0
    chain.add(node, reads, values, np.full(count, noise))
    return chain


def test_equals_kalman_filter_and_backward_pass() -> None:
    values = np.random.default_rng(3).normal(2.0, 1.0, 40)
    solved = _level(values, step=0.3, noise=0.8, start=5.0).solve()
    # The scalar filter and Rauch-Tung-Striebel pass, written out.
    means, variances, mean, variance = [], [], 0.0, 25.0
    for at, value in enumerate(values):
        variance += 0.09 if at else 0.0
        gain = variance / (variance + 0.64)
        mean, variance = mean + gain * (value - mean), (1.0 - gain) * variance
        means.append(mean)
        variances.append(variance)
    for at in range(len(values) - 2, -1, -1):
        gain = variances[at] / (variances[at] + 0.09)
        means[at] += gain * (means[at + 1] - means[at])
        variances[at] += gain**2 * (variances[at + 1] - variances[at] - 0.09)
    assert solved.estimate[:, 0] == pytest.approx(means, abs=1e-9)
    node = np.minimum(np.arange(40), 38)
    weights = np.tile([1.0, 0.0], (40, 1))
    weights[-1] = 0.0, 1.0
    assert solved.sigmas(node, weights) ** 2 == pytest.approx(variances, abs=1e-9)


def test_equals_dense_least_squares_with_several_unknowns() -> None:
    source = np.random.default_rng(4)
    count, unknowns, rows = 7, 3, 60
    chain = Chain(count, unknowns)
    node = source.integers(0, count - 1, rows)
    weights = source.normal(size=(rows, 2 * unknowns))
    values, sigmas = source.normal(size=rows), source.uniform(0.5, 2.0, rows)
    chain.add(node, weights, values, sigmas)
    dense = np.zeros((rows, count * unknowns))
    for row in range(rows):
        start = node[row] * unknowns
        dense[row, start : start + 2 * unknowns] = weights[row]
    scaled = dense / sigmas[:, None]
    solved = chain.solve()
    expected = np.linalg.lstsq(scaled, values / sigmas, rcond=None)[0]
    assert solved.estimate.ravel() == pytest.approx(expected, abs=1e-9)
    spread = dense[:5] @ np.linalg.inv(scaled.T @ scaled) @ dense[:5].T
    assert solved.covariance(node[:5], weights[:5]) == pytest.approx(spread, abs=1e-9)


def test_evidence_is_the_likelihood_of_the_readings() -> None:
    values = np.random.default_rng(5).normal(0.0, 1.0, 12)

    def expected(step: float, noise: float) -> float:
        at = np.arange(12)
        cov = 4.0 + step**2 * np.minimum.outer(at, at) + noise**2 * np.eye(12)
        return float(multivariate_normal(np.zeros(12), cov).logpdf(values))

    def told(step: float, noise: float) -> float:
        return _level(values, step=step, noise=noise, start=2.0).solve().evidence

    # Equal but for a constant, so differences are compared.
    for pair in ((0.1, 0.5), (1.0, 2.0)):
        difference = expected(*pair) - expected(0.4, 1.0)
        assert told(*pair) - told(0.4, 1.0) == pytest.approx(difference, abs=1e-9)


def test_a_copy_goes_on_by_itself() -> None:
    chain = _level(np.ones(5), step=1.0, noise=1.0, start=1.0)
    other = chain.copy()
    other.add(np.array([0]), np.array([[1.0, 0.0]]), 9.0, np.array([0.01]))
    assert other.solve().estimate[0, 0] == pytest.approx(9.0, abs=0.01)
    assert chain.solve().estimate[0, 0] < 1.0
