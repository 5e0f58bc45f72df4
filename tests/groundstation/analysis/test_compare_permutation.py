"""The permutation test against published and independent values, and its interval."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import permutation_test as scipy_test

from groundstation.analysis.compare_permutation import DRAWN_DEALS, permutation_test

# B. Efron and R. J. Tibshirani, An Introduction to the Bootstrap, 1993, table 2.1: survival of
# mice, days.
CONTROL = [52.0, 104.0, 146.0, 10.0, 51.0, 30.0, 40.0, 27.0, 46.0]
TREATED = [94.0, 197.0, 16.0, 38.0, 99.0, 141.0, 23.0]


def sides(first: int, second: int) -> np.ndarray:
    return np.arange(first + second) >= first


def test_mouse_data() -> None:
    found = permutation_test(np.array(CONTROL + TREATED), sides(9, 7))
    assert found.difference == pytest.approx(30.635, abs=5e-4)
    assert found.deals == 11_440
    assert found.exact
    assert found.p_higher == pytest.approx(0.140997, abs=5e-7)
    told = scipy_test((TREATED, CONTROL), lambda a, b: np.mean(a) - np.mean(b), n_resamples=np.inf)
    # scipy doubles the smaller side; the share of larger differences is not the same, but near.
    assert found.p == pytest.approx(float(told.pvalue), abs=0.02)


def test_three_and_three() -> None:
    found = permutation_test(np.array([1.0, 2.0, 3.0, 11.0, 12.0, 13.0]), sides(3, 3))
    assert found.p == found.least_p == pytest.approx(0.10)
    assert (found.low, found.high) == (None, None)


def test_two_and_five_have_no_mirror() -> None:
    found = permutation_test(np.array([1.0, 2.0, 5.0, 6.0, 7.0, 8.0, 9.0]), sides(2, 5))
    assert found.least_p == pytest.approx(1 / 21)
    assert found.p == pytest.approx(1 / 21)


def test_interval_holds_what_the_test_does_not_reject() -> None:
    source = np.random.default_rng(5)
    values, second = source.normal(size=11), sides(5, 6)
    found = permutation_test(values, second)
    assert found.low is not None
    assert found.high is not None

    def p_higher(sign: float, true_difference: float) -> float:
        moved = np.where(second, values - true_difference, values)
        return permutation_test(sign * moved, second).p_higher

    step = 1e-6
    assert p_higher(1.0, found.low - step) <= 0.025 < p_higher(1.0, found.low + step)
    assert p_higher(-1.0, found.high + step) <= 0.025 < p_higher(-1.0, found.high - step)


def test_interval_covers_as_often_as_it_says() -> None:
    source = np.random.default_rng(11)
    held = 0
    for _ in range(400):
        values = source.standard_t(3, size=11)
        second = sides(5, 6)
        found = permutation_test(np.where(second, values + 2.0, values), second)
        assert found.low is not None
        assert found.high is not None
        held += found.low <= 2.0 <= found.high
    # 95 % or a little more, as p comes in steps; 400 trials leave one per cent of doubt.
    assert 0.92 <= held / 400 <= 0.99


def test_many_are_drawn_with_a_seed() -> None:
    source = np.random.default_rng(2)
    values = source.normal(size=40) + 0.3 * sides(20, 20)
    first, again = (permutation_test(values, sides(20, 20), seed=4) for _ in range(2))
    assert first == again
    assert not first.exact
    assert first.deals == DRAWN_DEALS + 1
    told = scipy_test(
        (values[20:], values[:20]),
        lambda a, b: np.mean(a) - np.mean(b),
        n_resamples=20_000,
        rng=1,
    )
    assert first.p == pytest.approx(float(told.pvalue), abs=0.01)
    assert first.p > 0.0


def test_blocks_take_out_what_is_common() -> None:
    # Two sessions that differ by 50; within each the second set-up is 1 higher.
    values = np.array([10.0, 10.1, 10.2, 11.0, 11.1, 11.2, 60.0, 60.1, 60.2, 61.0, 61.1, 61.2])
    second = np.tile(sides(3, 3), 2)
    blocks = np.repeat([0, 1], 6)
    found = permutation_test(values, second, blocks)
    assert found.difference == pytest.approx(1.0)
    assert found.deals == 400
    assert found.p == found.least_p == pytest.approx(2 / 400)
    assert permutation_test(values, second).p > 0.5


def test_a_block_of_one_group() -> None:
    with pytest.raises(ValueError, match="one group"):
        permutation_test(
            np.arange(4.0), np.array([True, True, False, True]), np.array([0, 0, 1, 1])
        )


def test_equal_numbers() -> None:
    found = permutation_test(np.full(8, 3.0), sides(4, 4))
    assert (found.difference, found.p) == (0.0, 1.0)
    assert (found.low, found.high) == (pytest.approx(0.0), pytest.approx(0.0))
