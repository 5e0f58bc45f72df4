"""Margins against a budget reckoned elsewhere, against the two rays, and near the transmitter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.planning.course import Radio
from groundstation.planning.grounds import GROUNDS
from groundstation.planning.margins import (
    Checked,
    fresnel_clearance,
    local_loss_db,
    loss_of_doubling_db,
    margins,
    smooth_from_m,
)
from groundstation.radio.propagation import (
    Ground,
    Polarisation,
    first_fresnel_radius_m,
    two_ray_loss_db,
)
from tests.groundstation.planning.examples import BUDGET, PRIOR, RADIO, V4, V15, stronger

# Computed independently: +20 dBm, +2 dBi, 0 dBi, 3 dB, -95 dBm, 1.5 m and 0.05 m, 2.4 GHz.
DISTANCES_M = np.array([100.0, 200.0, 400.0])


def test_worked_budget() -> None:
    found = margins(DISTANCES_M, RADIO)
    assert found.free_space_db == pytest.approx([33.95, 27.93, 21.91], abs=0.0051)
    assert found.plane_earth_db == pytest.approx([11.50, -0.54, -12.58], abs=0.0051)
    # 114 dB less the vertical two-ray losses 97.34, 109.11 and 121.02 dB.
    assert found.two_ray_db == pytest.approx([16.66, 4.89, -7.02], abs=0.0051)
    assert found.checked_db is None
    assert found.deciding_db is found.two_ray_db


@pytest.mark.parametrize(
    ("heights_m", "frequency_hz", "ground", "losses_db"),
    # Vertical two-ray losses at 100, 200 and 400 m, computed independently.
    [
        ((1.2, 0.03), 2.4e9, V4, (103.75, 115.67, 127.65)),
        ((1.2, 0.03), 2.4e9, V15, (100.05, 111.88, 123.82)),
        ((1.2, 0.03), 868e6, V15, (91.69, 103.52, 115.46)),
        ((1.5, 0.05), 2.4e9, V4, (100.05, 111.93, 123.90)),
        ((1.5, 0.05), 2.4e9, V15, (97.34, 109.11, 121.02)),
        ((1.5, 0.05), 868e6, V15, (89.66, 101.44, 113.35)),
    ],
)
def test_low_antennas(
    heights_m: tuple[float, float],
    frequency_hz: float,
    ground: Ground,
    losses_db: tuple[float, ...],
) -> None:
    radio = Radio(
        budget=BUDGET,
        transmitter_height_m=heights_m[0],
        car_height_m=heights_m[1],
        frequency_hz=frequency_hz,
        ground=ground,
    )
    assert local_loss_db(DISTANCES_M, radio) == pytest.approx(losses_db, abs=0.0051)


def test_twice_as_far_costs_twelve_decibels_far_out() -> None:
    far = margins(np.array([150.0, 300.0]), RADIO).plane_earth_db
    assert far[0] - far[1] == pytest.approx(12.04, abs=0.005)
    # Over real ground the same is reached from below.
    assert loss_of_doubling_db(1000.0, RADIO) == pytest.approx(12.04, abs=0.05)
    assert loss_of_doubling_db(200.0, RADIO) < 12.04


radios = st.builds(
    lambda sender_m, car_m, frequency_hz, ground, polarisation: Radio(
        budget=BUDGET,
        transmitter_height_m=sender_m,
        car_height_m=car_m,
        frequency_hz=frequency_hz,
        ground=ground,
        polarisation=polarisation,
    ),
    st.floats(0.5, 4.0),
    st.floats(0.01, 1.0),
    st.sampled_from([433e6, 868e6, 2.4e9, 5.8e9]),
    st.sampled_from(list(GROUNDS.values())),
    st.sampled_from(list(Polarisation)),
)


@given(radios)
def test_behind_the_last_maximum_the_law_is_the_two_rays_and_falls(radio: Radio) -> None:
    # At angles flatter than half of Brewster's the ground reflects both polarisations with a minus.
    heights_m = radio.transmitter_height_m + radio.car_height_m
    flat_m = 2.0 * heights_m * np.sqrt(radio.ground.relative_permittivity)
    along_m = np.geomspace(max(smooth_from_m(radio), flat_m), 5000.0, 200)
    loss_db = local_loss_db(along_m, radio)
    assert np.array_equal(
        loss_db,
        two_ray_loss_db(
            along_m,
            transmitter_height_m=radio.transmitter_height_m,
            receiver_height_m=radio.car_height_m,
            frequency_hz=radio.frequency_hz,
            polarisation=radio.polarisation,
            ground=radio.ground,
        ),
    )
    assert (np.diff(loss_db) > 0.0).all()


def test_narrow_nulls_are_averaged_and_nothing_jumps() -> None:
    # Antennas held high make many maxima and nulls: the last maximum is at 48 m.
    radio = replace(
        RADIO, car_height_m=1.0, polarisation=Polarisation.HORIZONTAL, transmitter_height_m=1.5
    )
    assert smooth_from_m(radio) == pytest.approx(48.0, abs=0.1)
    along_m = np.linspace(6.0, 20.0, 4000)
    exact_db = two_ray_loss_db(
        along_m,
        transmitter_height_m=1.5,
        receiver_height_m=1.0,
        frequency_hz=2.4e9,
        polarisation=Polarisation.HORIZONTAL,
        ground=V15,
    )
    averaged_db = local_loss_db(along_m, radio)
    # A null of 20 dB and more is left as a ripple of a few; the mean power is the same.
    assert np.max(exact_db - averaged_db) > 10.0
    assert np.max(np.abs(np.diff(averaged_db))) < 0.1
    around_m = smooth_from_m(radio) * np.array([1.0 - 1e-6, 1.0 + 1e-6])
    below_db, above_db = local_loss_db(around_m, radio)
    assert below_db == pytest.approx(above_db, abs=1e-3)


@given(radios, st.floats(0.0, 5000.0))
def test_every_margin_is_finite_and_the_bound_is_under_free_space(
    radio: Radio, distance_m: float
) -> None:
    found = margins(distance_m, radio)
    for curve in (found.free_space_db, found.two_ray_db, found.plane_earth_db):
        assert np.isfinite(curve).all()
    assert found.plane_earth_db <= found.free_space_db
    # Two waves are at most 6 dB over one.
    assert found.two_ray_db <= found.free_space_db + 6.03


@given(radios, st.floats(1.0, 2000.0))
def test_fresnel_clearance_is_the_tightest_place_of_the_path(
    radio: Radio, distance_m: float
) -> None:
    shares = np.linspace(1e-4, 1.0 - 1e-4, 20_001)
    sight_m = radio.car_height_m + shares * (radio.transmitter_height_m - radio.car_height_m)
    radius_m = first_fresnel_radius_m(
        shares * distance_m, (1.0 - shares) * distance_m, radio.frequency_hz
    )
    tightest = np.min(sight_m / radius_m)
    assert fresnel_clearance(distance_m, radio) == pytest.approx(tightest, rel=0.01)


def test_checked_law_is_the_checks_own_line() -> None:
    checked = Checked(PRIOR, RADIO)
    found = margins(np.array([10.0, 100.0]), RADIO, checked)
    assert found.checked_db is not None
    assert found.checked_p05_db is not None
    # -8 dBm at 1 m, exponent 3.8: -46 dBm at 10 m, -84 dBm at 100 m; the threshold is -95 dBm.
    assert found.checked_db == pytest.approx([49.0, 11.0], abs=1e-9)
    assert found.deciding_db is found.checked_p05_db
    assert (found.checked_p05_db < found.checked_db - 3.0).all()
    # Farther than was walked, less is sure.
    far = margins(np.array([100.0, 200.0, 400.0]), RADIO, checked)
    assert far.checked_db is not None
    assert far.checked_p05_db is not None
    assert (np.diff(far.checked_db - far.checked_p05_db) > 0.0).all()


def test_a_change_shifts_the_checked_law_by_what_two_rays_make_of_it() -> None:
    checked = Checked(PRIOR, RADIO)
    raised = replace(stronger(RADIO, 3.0), transmitter_height_m=2.0)
    before, after = (margins(DISTANCES_M, radio, checked) for radio in (RADIO, raised))
    assert before.checked_db is not None
    assert after.checked_db is not None
    gained_db = after.two_ray_db - before.two_ray_db
    assert after.checked_db - before.checked_db == pytest.approx(gained_db, abs=1e-9)
    # Twice the height is 6 dB over plane earth; a third more is 2.5 dB, and less over real ground.
    assert gained_db == pytest.approx([5.4, 5.4, 5.5], abs=0.15)
    # A deafer receiver loses what it is deafer, whatever the check found.
    deafer = replace(RADIO, budget=replace(RADIO.budget, threshold_dbm=-90.0))
    lost = margins(DISTANCES_M, deafer, checked).checked_db
    assert lost is not None
    assert before.checked_db - lost == pytest.approx([5.0, 5.0, 5.0], abs=1e-9)
