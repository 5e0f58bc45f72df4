"""The cumulative sum against two published tables, and the onset it dates back to."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.analysis.incident_onset import cusum, excursions


def test_montgomery_and_runger() -> None:
    # Applied Statistics and Probability for Engineers, 3rd ed., example 16-6, table 16-8.
    values = np.array(
        [102.0, 94.8, 98.3, 98.4, 102.0, 98.5, 99.0, 97.7, 100.0, 98.1,
         101.3, 98.7, 101.1, 98.4, 97.0, 96.7, 100.3, 101.4, 97.2, 101.0]
    )  # fmt: skip
    high, low = cusum(values, target=99.0, slack=1.0)
    assert high == pytest.approx(
        [2, 0, 0, 0, 2, 0.5, 0, 0, 0, 0, 1.3, 0, 1.1, 0, 0, 0, 0.3, 1.7, 0, 1.0], abs=1e-9
    )
    assert low == pytest.approx(
        [0, 3.2, 2.9, 2.5, 0, 0, 0, 0.3, 0, 0, 0, 0, 0, 0, 1.0, 2.3, 0, 0, 0.8, 0], abs=1e-9
    )
    assert max(high.max(), low.max()) < 10.0


def test_nist() -> None:
    # NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.3.
    values = np.array(
        [324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
         324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350]
    )  # fmt: skip
    high, low = cusum(values, target=325.0, slack=0.3175)
    assert high[12:] == pytest.approx(
        [3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04], abs=0.006
    )
    assert low[[3, 6, 7, 8, 9, 10]] == pytest.approx(
        [0.33, 0.56, 0.72, 0.17, 0.25, 0.31], abs=0.006
    )
    assert int(np.argmax(high > 4.1959)) + 1 == 14


def test_dated_back_to_where_it_began() -> None:
    t_s = np.arange(0.0, 5.0, 0.01)
    beyond = np.full(len(t_s), -0.8)
    beyond[300:400] = 0.2
    (out,) = excursions(t_s, beyond, certain_s=0.05, rest_s=0.3)
    assert out.first == 300
    assert t_s[out.alarm] == pytest.approx(3.24, abs=0.015)
    assert out.last == 399


def test_one_wild_value_is_not_certain() -> None:
    t_s = np.arange(0.0, 5.0, 0.01)
    beyond = np.full(len(t_s), -0.8)
    beyond[100] = 50.0
    assert excursions(t_s, beyond, certain_s=0.03, rest_s=0.3) == []


def test_a_short_return_is_no_return() -> None:
    t_s = np.arange(0.0, 5.0, 0.01)
    swing = 3.0 * np.abs(np.sin(2.0 * np.pi * 1.5 * t_s)) - 1.0
    swing[t_s < 2.0] = -1.0
    (out,) = excursions(t_s, swing, certain_s=0.03, rest_s=0.4)
    assert t_s[out.first] == pytest.approx(2.0, abs=0.05)
    assert t_s[out.last] > 4.8


def test_lost_frames_count_for_little() -> None:
    t_s = np.array([0.0, 0.01, 5.0, 5.01, 5.02])
    beyond = np.array([-1.0, -1.0, 1.0, -1.0, -1.0])
    assert excursions(t_s, beyond, certain_s=0.2, rest_s=0.1) == []
    assert excursions(np.empty(0), np.empty(0), certain_s=0.2, rest_s=0.1) == []


def test_unknown_values_are_normal() -> None:
    t_s = np.arange(0.0, 2.0, 0.01)
    beyond = np.full(len(t_s), np.nan)
    beyond[100:] = 0.5
    (out,) = excursions(t_s, beyond, certain_s=0.05, rest_s=0.1)
    assert out.first == 100
