"""The interval of a share against published values."""

from __future__ import annotations

import pytest

from tests.benchmarks._shares import wilson


@pytest.mark.parametrize(
    ("hits", "trials", "low", "high"),
    [
        # R. G. Newcombe, Statistics in Medicine 17, 1998, table I.
        (81, 263, 0.2553, 0.3662),
        (15, 148, 0.0624, 0.1605),
        (0, 20, 0.0, 0.1611),
        (1, 29, 0.0061, 0.1718),
        (29, 29, 0.8830, 1.0),
        # Reckoned with statsmodels and scipy.stats.binomtest, which agree.
        (0, 50, 0.0, 0.0713),
        (0, 100, 0.0, 0.0370),
        (3, 100, 0.0103, 0.0845),
        (5, 100, 0.0215, 0.1118),
        (95, 100, 0.8882, 0.9785),
        (1, 10, 0.0179, 0.4042),
    ],
)
def test_wilson(hits: int, trials: int, low: float, high: float) -> None:
    assert wilson(hits, trials) == (
        pytest.approx(low, abs=5e-5),
        pytest.approx(high, abs=5e-5),
    )


def test_wilson_without_trials() -> None:
    assert wilson(0, 0) == (0.0, 1.0)
