"""The robust line against published and independent values."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import median_abs_deviation, theilslopes

from groundstation.analysis.robust_line import MOST_POINTS, robust_line, robust_sigma


def test_cloud_seeding() -> None:
    # Hollander and Wolfe, Nonparametric Statistical Methods: rainfall ratio over five years.
    line = robust_line(np.arange(1.0, 6.0), np.array([1.26, 1.27, 1.12, 1.16, 1.03]))
    assert line is not None
    assert line.slope == pytest.approx(-0.05625)


def test_one_wild_point_does_not_move_it() -> None:
    x = np.arange(1.0, 11.0)
    y = 2.0 * x + 1.0
    y[8] = 100.0
    line = robust_line(x, y)
    assert line is not None
    assert (line.slope, line.intercept) == (pytest.approx(2.0), pytest.approx(1.0))
    assert np.polyfit(x, y, 1) == pytest.approx([5.436, -9.8], abs=5e-4)


def test_same_as_scipy() -> None:
    source = np.random.default_rng(3)
    x, y = source.normal(size=60), source.standard_t(2, size=60)
    line = robust_line(x, y)
    assert line is not None
    slope, intercept, _, _ = theilslopes(y, x)
    assert (line.slope, line.intercept) == (pytest.approx(slope), pytest.approx(intercept))
    assert robust_sigma(y) == pytest.approx(median_abs_deviation(y, scale="normal"), rel=1e-4)


def test_no_line() -> None:
    assert robust_line(np.ones(4), np.arange(4.0)) is None
    assert robust_line(np.ones(1), np.ones(1)) is None
    assert robust_line(np.empty(0), np.empty(0)) is None
    assert robust_sigma(np.empty(0)) == 0.0


def test_many_points_are_thinned() -> None:
    x = np.arange(5000.0)
    line = robust_line(x, 3.0 * x)
    assert line is not None
    assert line.count == MOST_POINTS
    assert line.slope == pytest.approx(3.0)
