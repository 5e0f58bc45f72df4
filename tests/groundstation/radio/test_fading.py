"""Fading against computed and published figures, and against waves added up by hand.

"Computed": reckoned independently of this code, without a publication; "from memory": the
source's text was not seen.
"""

from __future__ import annotations

from math import inf

import numpy as np
import pytest

from groundstation.radio.fading import (
    CountedFrom,
    crossing_rate_per_s,
    fade_duration_s,
    maximum_doppler_hz,
    rayleigh_margin_db,
    rayleigh_outage,
    rician_margin_db,
    rician_outage,
    selection_gain_db,
    selection_margin_db,
    selection_outage,
    shadowing_margin_db,
)

MEAN, MEDIAN = CountedFrom.MEAN, CountedFrom.MEDIAN
OUTAGES = np.array([0.10, 0.05, 0.01, 0.001])


@pytest.mark.parametrize(
    ("counted_from", "margins_db"),
    # Computed from 1 - exp(-1/M).
    [(MEAN, (9.773, 12.899, 19.978, 29.998)), (MEDIAN, (8.181, 11.308, 18.386, 28.406))],
)
def test_rayleigh_margins(counted_from: CountedFrom, margins_db: tuple[float, ...]) -> None:
    computed_db = rayleigh_margin_db(OUTAGES, counted_from=counted_from)
    assert computed_db == pytest.approx(margins_db, abs=5.1e-4)
    assert rayleigh_outage(computed_db, counted_from=counted_from) == pytest.approx(OUTAGES)


@pytest.mark.parametrize(
    ("k_db", "margins_db"),
    # Computed with scipy.stats.ncx2(2, 2K), relative to the mean.
    [
        (0, (8.643, 11.671, 18.667, 28.667)),
        (3, (7.032, 9.691, 16.246, 26.115)),
        (6, (5.021, 6.855, 11.546, 19.996)),
        (9, (3.416, 4.564, 7.209, 11.487)),
        (10, (2.998, 3.982, 6.184, 9.520)),
        (12, (2.311, 3.042, 4.602, 6.754)),
    ],
)
def test_rician_margins(k_db: float, margins_db: tuple[float, ...]) -> None:
    computed_db = rician_margin_db(OUTAGES, k_db=k_db, counted_from=MEAN)
    assert computed_db == pytest.approx(margins_db, abs=5.1e-4)


@pytest.mark.parametrize(
    ("k_db", "margin_db"),
    # Problem set EE433 no. 5: questions published, answers computed.
    [(12.0, 2.912), (6.0, 6.406), (-inf, 11.308)],
)
def test_five_percent_outage_under_the_median(k_db: float, margin_db: float) -> None:
    assert rician_margin_db(0.05, k_db=k_db, counted_from=MEDIAN) == pytest.approx(
        margin_db, abs=5.1e-4
    )


@pytest.mark.parametrize(("k_db", "above"), [(9.0, 0.99815), (3.0, 0.96184)])
def test_share_of_time_above_ten_decibels_under_the_median(k_db: float, above: float) -> None:
    # Problem set EE433 no. 5: questions published, answers computed.
    outage = rician_outage(10.0, k_db=k_db, counted_from=MEDIAN)
    assert 1 - outage == pytest.approx(above, abs=5.1e-6)


@pytest.mark.parametrize("counted_from", CountedFrom)
def test_no_direct_wave_is_rayleigh_fading(counted_from: CountedFrom) -> None:
    rician_db = rician_margin_db(OUTAGES, k_db=-inf, counted_from=counted_from)
    rayleigh_db = rayleigh_margin_db(OUTAGES, counted_from=counted_from)
    assert rician_db == pytest.approx(rayleigh_db, abs=1e-6)


@pytest.mark.parametrize("k_db", [-5.0, 0.0, 7.0, 15.0, 25.0])
@pytest.mark.parametrize("counted_from", CountedFrom)
def test_rician_margin_is_the_inverse_of_outage(k_db: float, counted_from: CountedFrom) -> None:
    margins_db = rician_margin_db(OUTAGES, k_db=k_db, counted_from=counted_from)
    outages = rician_outage(margins_db, k_db=k_db, counted_from=counted_from)
    assert outages == pytest.approx(OUTAGES, rel=1e-6)


@pytest.mark.parametrize("counted_from", CountedFrom)
def test_rician_outage_against_waves_added_up(counted_from: CountedFrom) -> None:
    random = np.random.default_rng(20310504)
    scattered = random.normal(size=200_000) + 1j * random.normal(size=200_000)
    direct = np.sqrt(2.0 * 10**0.6)  # 6 dB over the scattered waves' power of 2
    power = np.abs(direct + scattered) ** 2
    whole = power.mean() if counted_from is MEAN else np.median(power)
    share = np.mean(power < whole * 10**-0.5)
    expected = float(rician_outage(5.0, k_db=6.0, counted_from=counted_from))
    # Four standard errors of a share of 0.1 in 200,000.
    assert share == pytest.approx(expected, abs=0.0027)


@pytest.mark.parametrize(
    ("outage", "margins_db"),
    # Computed: sigma Q^-1(p), Q(1.6449) = 0.05, Q(2.3263) = 0.01.
    [
        (0.10, (5.126, 7.689, 10.252, 12.816)),
        (0.05, (6.579, 9.869, 13.159, 16.449)),
        (0.01, (9.305, 13.958, 18.611, 23.263)),
    ],
)
def test_shadowing_margins(outage: float, margins_db: tuple[float, ...]) -> None:
    computed_db = shadowing_margin_db(outage, sigma_db=np.array([4.0, 6.0, 8.0, 10.0]))
    assert computed_db == pytest.approx(margins_db, abs=5.1e-4)


@pytest.mark.parametrize(("quantile", "outage"), [(1.0, 0.158655), (1.6449, 0.05), (2.3263, 0.01)])
def test_normal_quantiles(quantile: float, outage: float) -> None:
    # Q(x) from the tables of any statistics book.
    assert shadowing_margin_db(outage, sigma_db=1.0) == pytest.approx(quantile, abs=5.1e-5)


@pytest.mark.parametrize(
    ("aerials", "published", "exact"),
    # Rappaport, Wireless Communications, 2nd ed., example 7.4 (from memory): threshold 10 dB
    # under the mean; exact figures computed.
    [(1, 0.095, 0.095163), (4, 0.000082, 8.201e-5)],
)
def test_selection_against_a_textbook(aerials: int, published: float, exact: float) -> None:
    outage = selection_outage(10.0, aerials=aerials)
    assert outage == pytest.approx(published, rel=0.005)
    assert outage == pytest.approx(exact, rel=6e-5)


def test_selection_margins_and_gain() -> None:
    # Computed: 1 % of time with 1 to 4 aerials, and 10 log(sum of 1/k).
    margins_db = [float(selection_margin_db(0.01, aerials=count)) for count in (1, 2, 3, 4)]
    assert margins_db == pytest.approx([19.978, 9.773, 6.150, 4.201], abs=5.1e-4)
    gains_db = [selection_gain_db(count) for count in (1, 2, 3, 4)]
    assert gains_db == pytest.approx([0.0, 1.761, 2.632, 3.188], abs=5.1e-4)


def test_selection_against_waves_added_up() -> None:
    random = np.random.default_rng(7)
    power = random.exponential(size=(200_000, 3)).max(axis=1)
    assert 10 * np.log10(power.mean()) == pytest.approx(selection_gain_db(3), abs=0.02)
    share = np.mean(power < 10 ** (-float(selection_margin_db(0.05, aerials=3)) / 10))
    assert share == pytest.approx(0.05, abs=0.002)


def test_crossing_rate_against_a_textbook() -> None:
    # Rappaport, example 5.7 (from memory): 20 Hz, rho 1: 18.44 a second; computed 18.443.
    assert crossing_rate_per_s(0.0, 20.0) == pytest.approx(18.443, abs=5.1e-4)


def test_fade_duration_against_a_textbook() -> None:
    # Rappaport, example 5.8 (from memory): 200 Hz, rho 0.01, 0.1, 1: 19.9 us, 200 us, 3.43 ms;
    # computed 19.95 us, 200.5 us, 3.427 ms. Rho 0.01 is 40 dB under the mean power.
    duration_s = fade_duration_s(np.array([40.0, 20.0, 0.0]), 200.0)
    assert duration_s == pytest.approx([19.95e-6, 200.5e-6, 3.427e-3], rel=3e-4)


def test_fade_duration_against_a_problem_set() -> None:
    # Question published, answers computed: mean 30 dB, 10 Hz, thresholds 0, 15, 25 dB.
    duration_s = fade_duration_s(30.0 - np.array([0.0, 15.0, 25.0]), 10.0)
    assert duration_s * 1000 == pytest.approx([1.262, 7.208, 26.387], abs=5.1e-4)


def test_duration_and_rate_make_the_outage() -> None:
    margins_db = np.linspace(-3.0, 30.0, 12)
    rate_per_s, duration_s = (
        crossing_rate_per_s(margins_db, 360.0),
        fade_duration_s(margins_db, 360.0),
    )
    outage = rayleigh_outage(margins_db, counted_from=MEAN)
    assert rate_per_s * duration_s == pytest.approx(outage)


def test_fades_of_a_fast_car() -> None:
    # Computed: 45 m/s at 2.4 GHz is 360 Hz, half a wavelength each 1.39 ms.
    doppler_hz = maximum_doppler_hz(45.0, 2.4e9)
    assert doppler_hz == pytest.approx(360.0, abs=0.5)
    assert 0.5 / doppler_hz == pytest.approx(1.39e-3, abs=5e-6)
