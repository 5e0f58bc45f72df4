"""Shadows, fading and the aerial's pattern."""

from __future__ import annotations

from dataclasses import replace
from math import exp, pi

import numpy as np
import pytest

from groundstation.simulator.channel import (
    SHADOW_STEP_M,
    ChannelParameters,
    ControlChannel,
    FadingPath,
    Lobe,
    shadow_map_db,
)

WAVELENGTH_M = 0.125
PLAIN = ChannelParameters(shadow_sigma_db=0.0, pattern=())


def fades_db(k_db: float, seeds: range = range(8)) -> np.ndarray:
    """Return independent fades: a whole wavelength apart."""
    return np.array(
        [
            path.fade_db(index * WAVELENGTH_M)
            for path in (FadingPath(k_db, WAVELENGTH_M, seed) for seed in seeds)
            for index in range(5000)
        ]
    )


@pytest.mark.parametrize(
    ("k_db", "depths_db"),
    # Depth below the mean power at 10, 5 and 1 % (noncentral chi-square; computed with scipy).
    [
        (-60.0, (9.773, 12.899, 19.978)),  # Rayleigh
        (3.0, (7.032, 9.691, 16.246)),
        (9.0, (3.416, 4.564, 7.209)),
    ],
)
def test_fading_quantiles(k_db: float, depths_db: tuple[float, float, float]) -> None:
    fades = fades_db(k_db)
    assert 10 * np.log10(np.mean(10 ** (fades / 10))) == pytest.approx(0.0, abs=0.1)
    measured_db = -np.quantile(fades, (0.10, 0.05, 0.01))
    assert measured_db == pytest.approx(depths_db, abs=0.6)


def test_fading_changes_over_a_fraction_of_a_wavelength() -> None:
    path = FadingPath(-60.0, WAVELENGTH_M, 1)
    powers = np.array([10 ** (path.fade_db(k * WAVELENGTH_M / 50) / 10) for k in range(100_000)])
    centred = powers - powers.mean()

    def correlation(lag: int) -> float:
        return float(np.mean(centred[:-lag] * centred[lag:]) / np.mean(centred**2))

    assert correlation(1) > 0.97
    assert correlation(10) > 0.5
    assert abs(correlation(50)) < 0.1


def test_fading_depends_on_the_way_not_on_how_often_it_is_asked() -> None:
    often, seldom = (FadingPath(6.0, WAVELENGTH_M, 2) for _ in range(2))
    dense = [often.fade_db(k * 0.003) for k in range(2000)]
    assert [seldom.fade_db(k * 0.03) for k in range(200)] == pytest.approx(dense[::10], abs=1e-6)


def test_shadows_have_their_spread_and_decorrelate_exponentially() -> None:
    parameters = ChannelParameters(shadow_sigma_db=4.0, shadow_distance_m=18.0)
    maps = np.array([shadow_map_db(parameters, seed) for seed in range(40)])
    assert maps.mean() == pytest.approx(0.0, abs=0.15)
    assert maps.std() == pytest.approx(4.0, rel=0.04)
    # Gudmundson: correlation exp(-d / decorrelation distance).
    for distance_m in (9.0, 18.0, 36.0):
        lag = round(distance_m / SHADOW_STEP_M)
        correlation = np.mean(maps[:, :-lag] * maps[:, lag:]) / np.mean(maps**2)
        assert correlation == pytest.approx(exp(-distance_m / 18.0), abs=0.06)
    # 5 % of a normal spread lie 1.645 sigma below.
    assert np.quantile(maps, 0.05) == pytest.approx(-6.579, abs=0.4)


def test_budget_along_the_line() -> None:
    # 20 dBm + 2 dBi + 0 dBi - 3 dB over 97.34 / 109.11 / 121.02 dB at 100 / 200 / 400 m.
    channel = ControlChannel(
        replace(PLAIN, other_losses_db=3.0), driver_along_m=0.0, driver_across_m=0.0, seed=1
    )
    levels_dbm = [channel.local_mean_dbm(along_m, 0.0, 0.0) for along_m in (100.0, 200.0, 400.0)]
    assert levels_dbm == pytest.approx([-78.34, -90.11, -102.02], abs=0.02)
    assert channel.distance_m(30.0, 40.0) == 50.0


def test_a_disturbed_aerial_costs_the_same_everywhere() -> None:
    good, bad = (
        ControlChannel(
            ChannelParameters(disturbance_db=loss_db),
            driver_along_m=0.0,
            driver_across_m=-6.0,
            seed=3,
        )
        for loss_db in (0.0, 9.0)
    )
    for along_m in (10.0, 123.4, 456.7):
        drop_db = good.local_mean_dbm(along_m, 1.0, 0.2) - bad.local_mean_dbm(along_m, 1.0, 0.2)
        assert drop_db == pytest.approx(9.0)


def test_pattern_turns_with_the_car() -> None:
    channel = ControlChannel(
        replace(PLAIN, pattern=(Lobe(1, 5.0, 90.0),)),
        driver_along_m=0.0,
        driver_across_m=0.0,
        seed=1,
    )
    # The driver is behind a car at 100 m; the lobe looks to the car's left.
    behind, left, right = (
        channel.local_mean_dbm(100.0, 0.0, heading) for heading in (0.0, pi / 2, -pi / 2)
    )
    assert left - behind == pytest.approx(5.0, abs=1e-6)
    assert right - behind == pytest.approx(-5.0, abs=1e-6)


def test_far_away_is_still_a_number() -> None:
    channel = ControlChannel(ChannelParameters(), driver_along_m=0.0, driver_across_m=-6.0, seed=1)
    assert channel.local_mean_dbm(1e5, 0.0, 0.0) < channel.local_mean_dbm(1400.0, 0.0, 0.0)
