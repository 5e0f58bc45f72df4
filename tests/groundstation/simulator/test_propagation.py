"""Path loss against published and independently computed figures."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.simulator.ground import Ground, Polarisation
from groundstation.simulator.propagation import (
    free_space_loss_db,
    reflection_coefficient,
    two_ray_loss_db,
)

WET, DRY = Ground(15.0, 0.005), Ground(4.0, 0.01)


@pytest.mark.parametrize(
    ("frequency_hz", "distance_m", "loss_db"),
    # ITU-R P.525-5, 20 log(4 pi d f / c).
    [
        (2400e6, 1.0, 40.0520),
        (2400e6, 100.0, 80.0520),
        (2440e6, 100.0, 80.1956),
        (868e6, 100.0, 71.2182),
        (433.92e6, 1.0, 25.1960),
    ],
)
def test_free_space(frequency_hz: float, distance_m: float, loss_db: float) -> None:
    assert free_space_loss_db(np.array([distance_m]), frequency_hz)[0] == pytest.approx(
        loss_db, abs=1e-4
    )


@pytest.mark.parametrize(
    ("heights_m", "frequency_hz", "ground", "losses_db"),
    # Exact two-ray field, vertical polarisation, computed independently; None is R = -1, which
    # is the plane-earth law 40 log d - 20 log(ht hr) here.
    [
        ((1.5, 0.05), 2.4e9, None, {100: 102.50, 200: 114.54, 400: 126.58}),
        ((1.5, 0.05), 2.4e9, WET, {100: 97.34, 200: 109.11, 400: 121.02}),
        ((1.5, 0.05), 2.4e9, DRY, {100: 100.05, 200: 111.93, 400: 123.90}),
        ((1.5, 0.05), 868e6, WET, {100: 89.66, 200: 101.44, 400: 113.35}),
        ((1.2, 0.03), 2.4e9, None, {100: 108.88, 200: 120.92, 400: 132.96}),
        ((1.2, 0.03), 2.4e9, WET, {100: 100.05, 200: 111.88, 400: 123.82}),
        ((1.2, 0.03), 868e6, WET, {100: 91.69, 400: 115.46}),
        ((1.5, 0.03), 2.4e9, DRY, {100: 101.90, 400: 125.76}),
    ],
)
def test_two_rays_over_ground(
    heights_m: tuple[float, float],
    frequency_hz: float,
    ground: Ground | None,
    losses_db: dict[int, float],
) -> None:
    computed_db = two_ray_loss_db(
        np.array(list(losses_db), dtype=float),
        transmitter_height_m=heights_m[0],
        receiver_height_m=heights_m[1],
        frequency_hz=frequency_hz,
        ground=ground,
    )
    # The plane-earth column is the far limit; the exact sum is within 0.05 dB of it.
    assert computed_db == pytest.approx(list(losses_db.values()), abs=0.05)


def test_twice_as_far_costs_twelve_decibels() -> None:
    near_db, far_db = two_ray_loss_db(
        np.array([150.0, 300.0]),
        transmitter_height_m=1.5,
        receiver_height_m=0.05,
        frequency_hz=2.4e9,
    )
    assert far_db - near_db == pytest.approx(12.04, abs=0.01)


def test_ground_reflects_like_a_mirror_at_grazing_and_spares_vertical_waves_at_brewster() -> None:
    grazing_rad = np.array([1e-5])
    for polarisation in Polarisation:
        coefficient = reflection_coefficient(
            grazing_rad, ground=WET, frequency_hz=2.4e9, polarisation=polarisation
        )
        assert abs(coefficient[0] + 1.0) < 1e-3
    # Brewster's angle of a lossless ground: tan(grazing) = 1 / sqrt(permittivity).
    brewster_rad = np.array([np.arctan(1 / np.sqrt(15.0))])
    lossless = Ground(15.0, 0.0)
    vertical, horizontal = (
        reflection_coefficient(
            brewster_rad, ground=lossless, frequency_hz=2.4e9, polarisation=polarisation
        )[0]
        for polarisation in (Polarisation.VERTICAL, Polarisation.HORIZONTAL)
    )
    assert abs(vertical) < 1e-12
    assert abs(horizontal) > 0.8
