"""Shares and means against published values."""

from __future__ import annotations

import pytest

from groundstation.analysis.intervals import Summary, summary_of, welch, wilson_interval


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
    assert wilson_interval(hits, trials) == (
        pytest.approx(low, abs=6e-5),
        pytest.approx(high, abs=6e-5),
    )


def test_wilson_without_trials() -> None:
    assert wilson_interval(0, 0) == (0.0, 1.0)


FIRST = ([17.2, 20.9, 22.6, 18.1, 21.7, 21.4, 23.5, 24.2, 14.7, 21.8],
         [21.5, 22.8, 21.0, 23.0, 21.6, 23.6, 22.5, 20.7, 23.4, 21.8,
          20.7, 21.7, 21.5, 22.5, 23.6, 21.5, 22.5, 23.5, 21.5, 21.8])  # fmt: skip
SECOND = ([19.8, 20.4, 19.6, 17.8, 18.5, 18.9, 18.3, 18.9, 19.5, 22.0],
          [28.2, 26.6, 20.1, 23.3, 25.2, 22.1, 17.7, 27.6, 20.6, 13.7,
           23.2, 17.5, 20.6, 18.0, 23.9, 21.6, 24.3, 20.4, 24.0, 13.2])  # fmt: skip


@pytest.mark.parametrize(
    ("groups", "t", "freedom", "p"),
    [
        # The two published examples of unequal sizes for Welch's test: -1.57, 9.9, .149 and
        # -2.22, 24.5, .036.
        (FIRST, -1.5654, 9.9047, 0.14884),
        (SECOND, -2.2192, 24.4962, 0.03597),
    ],
)
def test_welch(groups: tuple[list[float], list[float]], t: float, freedom: float, p: float) -> None:
    found = welch(summary_of(groups[0]), summary_of(groups[1]))
    assert found.t == pytest.approx(t, abs=5e-5)
    assert found.degrees_of_freedom == pytest.approx(freedom, abs=5e-5)
    assert found.p == pytest.approx(p, abs=5e-6)
    assert (found.low < 0.0 < found.high) == (p > 0.05)


def test_welch_from_summaries() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: miles per gallon of American and Japanese cars.
    found = welch(Summary(20.14458, 6.414700, 249), Summary(30.48101, 6.107710, 79))
    assert found.t == pytest.approx(-12.9463, abs=5e-4)


def test_nothing_to_compare() -> None:
    with pytest.raises(ValueError, match="two numbers"):
        summary_of([1.0])
    with pytest.raises(ValueError, match="spread"):
        welch(Summary(1.0, 0.0, 3), Summary(2.0, 0.0, 3))
