"""The log-distance law and its fit against published figures; "from memory" as it says there."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.radio.budget import LinkBudget
from groundstation.radio.log_distance import (
    LogDistanceFit,
    fit_log_distance,
    log_distance_loss_db,
    log_distance_reach_m,
    loss_rate_db_per_s,
)

# Rappaport, Wireless Communications, 2nd ed., example 4.9 (from memory).
MEASURED_M = np.array([100.0, 200.0, 1000.0, 3000.0])
MEASURED_DBM = np.array([0.0, -20.0, -35.0, -70.0])


def test_law_against_ns_3() -> None:
    # Test suite of the ns-3 network simulator: 17 dBm, 40.045997 dB at 1 m, exponent 3.
    loss_db = log_distance_loss_db(
        np.array([10.0, 20.0, 40.0, 80.0]), exponent=3.0, reference_loss_db=40.045997
    )
    received_w = 0.05035702 * 10 ** (-loss_db / 10)
    assert received_w == pytest.approx(
        [4.98265e-9, 6.22831e-10, 7.78539e-11, 9.73173e-12], rel=3e-6
    )


@pytest.mark.parametrize(("threshold_dbm", "reach_m"), [(-98.0, 136.0), (-99.0, 147.0)])
def test_reach_against_a_lecture(threshold_dbm: float, reach_m: float) -> None:
    # Lecture notes ECE5325: -98 = 0 + 6 - 40 - 30 log d.
    budget = LinkBudget(transmit_power_dbm=0.0, transmit_gain_dbi=6.0, threshold_dbm=threshold_dbm)
    computed_m = log_distance_reach_m(budget.allowed_loss_db, exponent=3.0, reference_loss_db=40.0)
    assert computed_m == pytest.approx(reach_m, abs=0.5)


@given(st.floats(1.0, 5000.0), st.floats(1.5, 6.0), st.floats(0.5, 100.0))
def test_reach_is_the_inverse_of_loss(
    distance_m: float, exponent: float, reference_m: float
) -> None:
    law = {"exponent": exponent, "reference_loss_db": 40.0, "reference_m": reference_m}
    loss_db = log_distance_loss_db(distance_m, **law)
    assert log_distance_reach_m(loss_db, **law) == pytest.approx(distance_m, rel=1e-9)


@pytest.mark.parametrize(
    ("exponent", "speed_mps", "distance_m", "rate_db_per_s"),
    # Computed: 4.343 n v / d.
    [(4, 40, 100, 6.95), (4, 40, 400, 1.74), (2, 40, 100, 3.47)],
)
def test_loss_grows_at_a_rate(
    exponent: float, speed_mps: float, distance_m: float, rate_db_per_s: float
) -> None:
    computed = loss_rate_db_per_s(distance_m, speed_mps=speed_mps, exponent=exponent)
    assert computed == pytest.approx(rate_db_per_s, abs=0.005)
    step_m = speed_mps * 1e-4
    ahead_db, behind_db = log_distance_loss_db(
        np.array([distance_m + step_m, distance_m - step_m]),
        exponent=exponent,
        reference_loss_db=40.0,
    )
    assert computed == pytest.approx((ahead_db - behind_db) / 2e-4, rel=1e-6)


def test_fit_held_to_its_reference_against_a_textbook() -> None:
    # Printed with the exponent rounded first: n = 4.4, sigma 6.17 dB, -57.24 dBm, 67.4 %. The
    # exact figures, computed: 4.4131, J = 151.64, 6.157 dB, -57.42 dBm, 66.3 %.
    fit = fit_log_distance(MEASURED_M, MEASURED_DBM, reference_m=100.0, reference_level_dbm=0.0)
    assert fit.exponent == pytest.approx(4.4131, abs=5e-5)
    assert fit.exponent == pytest.approx(4.4, abs=0.05)
    assert fit.sum_of_squares_db2 == pytest.approx(151.64, abs=0.005)
    assert fit.sigma_db == pytest.approx(6.157, abs=5e-4)
    assert fit.level_dbm(2000.0) == pytest.approx(-57.42, abs=0.005)
    assert fit.probability_above(-60.0, 2000.0) == pytest.approx(0.663, abs=5e-4)
    assert fit.unbiased_sigma_db == pytest.approx((151.64 / 3) ** 0.5, abs=5e-4)


def test_free_fit_is_the_least_squares_line() -> None:
    fit = fit_log_distance(MEASURED_M, MEASURED_DBM, reference_m=100.0)
    slope, intercept = np.polyfit(np.log10(MEASURED_M / 100.0), MEASURED_DBM, 1)
    assert (-10 * fit.exponent, fit.reference_level_dbm) == pytest.approx((slope, intercept))
    assert (fit.count, fit.fitted) == (4, 2)


def test_fit_finds_the_law_that_made_the_levels() -> None:
    random = np.random.default_rng(20310504)
    distance_m = 10 ** random.uniform(0.5, 2.5, 20_000)
    level_dbm = -20.0 - 38.0 * np.log10(distance_m / 10.0) + random.normal(0.0, 4.0, 20_000)
    fit = fit_log_distance(distance_m, level_dbm, reference_m=10.0)
    # Four standard errors: 4 dB / sqrt(20000) / 0.58 decades, and / sqrt(2) for sigma.
    assert fit.exponent == pytest.approx(3.8, abs=0.02)
    assert fit.sigma_db == pytest.approx(4.0, abs=0.08)
    share = np.mean(level_dbm[(distance_m > 95) & (distance_m < 105)] > -60.0)
    assert fit.probability_above(-60.0, 100.0) == pytest.approx(share, abs=0.06)


def test_two_levels_leave_no_scatter_to_judge_by() -> None:
    fit = fit_log_distance(np.array([10.0, 100.0]), np.array([-40.0, -80.0]), reference_m=10.0)
    assert (fit.exponent, fit.reference_level_dbm) == pytest.approx((4.0, -40.0))
    assert fit.unbiased_sigma_db is None
    assert fit.probability_above(-81.0, 100.0) == pytest.approx(1.0)


def test_a_law_without_scatter_is_above_a_level_or_not() -> None:
    fit = LogDistanceFit(
        exponent=4.0,
        reference_m=10.0,
        reference_level_dbm=-40.0,
        sum_of_squares_db2=0.0,
        count=3,
        fitted=2,
    )
    levels_dbm = (-81.0, -80.0, -79.0)
    assert [fit.probability_above(level_dbm, 100.0) for level_dbm in levels_dbm] == [1.0, 0.0, 0.0]


@pytest.mark.parametrize("held_dbm", [None, -40.0])
def test_one_distance_determines_nothing(held_dbm: float | None) -> None:
    with pytest.raises(ValueError, match=r"^the distances do not determine a log-distance law$"):
        fit_log_distance(
            np.full(3, 33.3),
            np.array([-50.0, -51.0, -52.0]),
            reference_m=33.3,
            reference_level_dbm=held_dbm,
        )
