"""Statistics of a few values, against tables."""

from __future__ import annotations

from itertools import product
from statistics import fmean

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from groundstation.rangecheck.small_samples import (
    Summary,
    hodges_lehmann,
    permutation_p,
    signed_rank_p,
    welch,
    welch_of,
)

VALUES = st.lists(
    st.floats(-50.0, 50.0).filter(lambda value: abs(value) > 1e-3),
    min_size=1,
    max_size=12,
    unique_by=abs,
)


def test_exact_permutation_of_the_mouse_data() -> None:
    # B. Efron and R. Tibshirani, An Introduction to the Bootstrap, 1993, table 2.1 (from memory):
    # 11 440 splits, one-sided p = .140997.
    treated = [94, 197, 16, 38, 99, 141, 23]
    control = [52, 104, 146, 10, 51, 30, 40, 27, 46]
    assert permutation_p(treated, control) == pytest.approx(0.140997, abs=5e-7)
    assert fmean(treated) - fmean(control) == pytest.approx(30.635, abs=5e-4)


def test_a_permutation_of_too_many_splits_is_refused() -> None:
    assert permutation_p([1.0] * 12, [2.0] * 30) is None


@pytest.mark.parametrize(
    ("first", "second", "t", "degrees", "p"),
    [
        # Published as t/df/p -1.57/9.9/.149 and -2.22/24.5/.036 (from memory).
        (
            "17.2 20.9 22.6 18.1 21.7 21.4 23.5 24.2 14.7 21.8",
            "21.5 22.8 21.0 23.0 21.6 23.6 22.5 20.7 23.4 21.8 20.7 21.7 21.5 22.5 23.6 21.5 22.5 "
            "23.5 21.5 21.8",
            -1.5654,
            9.9047,
            0.14884,
        ),
        (
            "19.8 20.4 19.6 17.8 18.5 18.9 18.3 18.9 19.5 22.0",
            "28.2 26.6 20.1 23.3 25.2 22.1 17.7 27.6 20.6 13.7 23.2 17.5 20.6 18.0 23.9 21.6 24.3 "
            "20.4 24.0 13.2",
            -2.2192,
            24.4962,
            0.03597,
        ),
    ],
)
def test_welch(first: str, second: str, t: float, degrees: float, p: float) -> None:
    tested = welch([float(x) for x in first.split()], [float(x) for x in second.split()])
    assert tested.t == pytest.approx(t, abs=5e-5)
    assert tested.degrees == pytest.approx(degrees, abs=5e-5)
    assert tested.p_two_sided == pytest.approx(p, abs=5e-6)
    low, high = tested.difference - tested.half_width, tested.difference + tested.half_width
    assert (low < 0.0 < high) == (p > 0.05)


def test_welch_from_summaries() -> None:
    # NIST/SEMATECH e-Handbook 1.3.5.3, AUTO83B: miles per gallon of American and Japanese cars.
    found = welch_of(Summary(20.14458, 6.414700, 249), Summary(30.48101, 6.107710, 79))
    assert found.t == pytest.approx(-12.9463, abs=5e-4)


def test_one_value_has_no_spread() -> None:
    with pytest.raises(ValueError, match="two data points"):
        welch([1.0], [1.0, 2.0])


def test_welch_without_any_scatter() -> None:
    assert welch([1.0, 1.0], [1.0, 1.0]).p_two_sided == 1.0
    assert welch([2.0, 2.0], [1.0, 1.0]).p_two_sided == 0.0


@given(VALUES)
def test_signed_rank_is_the_exact_one_of_scipy(values: list[float]) -> None:
    expected = stats.wilcoxon(values, alternative="less", mode="exact").pvalue
    assert signed_rank_p(values) == pytest.approx(float(expected), rel=1e-9)


def test_signed_rank_with_ties_counts_every_pattern_of_signs() -> None:
    values = [-3.0, -3.0, 1.0, -1.0, 2.0]
    ranks = stats.rankdata(np.abs(values))
    observed = sum(rank for rank, value in zip(ranks, values, strict=True) if value > 0)
    sums = [
        sum(rank for rank, sign in zip(ranks, signs, strict=True) if sign)
        for signs in product((False, True), repeat=len(values))
    ]
    expected = sum(each <= observed + 1e-9 for each in sums) / len(sums)
    assert signed_rank_p(values) == pytest.approx(expected)


def test_four_signs_that_agree_are_no_proof() -> None:
    assert signed_rank_p([-5.0, -6.0, -7.0, -8.0]) == 1 / 16
    assert signed_rank_p([]) == 1.0


@given(VALUES)
def test_hodges_lehmann_is_where_the_signed_ranks_balance(values: list[float]) -> None:
    # By definition (Hodges and Lehmann 1963) the statistic of scipy's signed-rank test is balanced
    # about the estimate: as many pair means above as below.
    shift = hodges_lehmann(values)
    walsh = [0.5 * (x + y) for i, x in enumerate(values) for y in values[i:]]
    above = sum(mean > shift + 1e-9 for mean in walsh)
    below = sum(mean < shift - 1e-9 for mean in walsh)
    assert abs(above - below) <= len(walsh) - above - below
    left = [value - (shift - 1e-6) for value in values]
    right = [value - (shift + 1e-6) for value in values]
    high = stats.wilcoxon(left, alternative="greater", mode="approx").statistic
    low = stats.wilcoxon(right, alternative="greater", mode="approx").statistic
    half = len(values) * (len(values) + 1) / 4
    assert low <= half <= high


def test_hodges_lehmann_shrugs_off_one_wild_value() -> None:
    assert hodges_lehmann([-6.0, -5.0, -7.0, -6.5, 40.0]) == pytest.approx(-5.75)
