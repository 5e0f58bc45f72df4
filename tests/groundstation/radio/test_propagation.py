"""Path loss against published figures, other libraries and the laws themselves.

"From memory" stands where a source's text was not seen; "computed" where a figure was reckoned
independently of this code, without a publication.
"""

from __future__ import annotations

from math import pi

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.radio.propagation import (
    SPEED_OF_LIGHT_MPS,
    Ground,
    Polarisation,
    effective_height_m,
    first_fresnel_radius_m,
    free_space_loss_db,
    fresnel_touch_m,
    minimum_effective_height_m,
    plane_earth_crossover_m,
    plane_earth_loss_db,
    reflection_coefficient,
    two_ray_loss_db,
)
from groundstation.simulator import propagation as simulated

V15 = Ground(relative_permittivity=15.0, conductivity_s_per_m=0.005)
V4 = Ground(relative_permittivity=4.0, conductivity_s_per_m=0.01)

# Test suite of the ns-3 network simulator, propagation-loss-model: 17 dBm, wavelength 0.125 m.
NS3_POWER_W = 0.05035702
NS3_FREQUENCY_HZ = 2_398_339_664.0


def ns3_received_w(loss_db: np.ndarray) -> np.ndarray:
    return NS3_POWER_W * 10 ** (-loss_db / 10)


@pytest.mark.parametrize(
    ("frequency_mhz", "distance_m", "loss_db"),
    # ITU-R P.525-5: 32.4 + 20 log f + 20 log d (MHz, km); digits beyond the constant computed.
    [
        (2400, 1, 40.0520),
        (2400, 100, 80.0520),
        (2400, 1000, 100.0520),
        (2440, 100, 80.1956),
        (868, 1, 31.2182),
        (868, 100, 71.2182),
        (868.3, 1000, 91.2212),
        (915, 100, 71.6762),
        (433.92, 1, 25.1960),
        (1, 1000, 32.4478),
    ],
)
def test_free_space(frequency_mhz: float, distance_m: float, loss_db: float) -> None:
    computed_db = free_space_loss_db(distance_m, frequency_mhz * 1e6)
    assert computed_db == pytest.approx(loss_db, abs=5e-5)


def test_free_space_against_ns_3() -> None:
    distance_m = np.array([100.0, 500.0, 1000.0, 2000.0])
    received_w = ns3_received_w(free_space_loss_db(distance_m, NS3_FREQUENCY_HZ))
    assert received_w == pytest.approx(
        [4.98265e-10, 1.99306e-11, 4.98265e-12, 1.24566e-12], rel=3e-6
    )


@pytest.mark.parametrize(
    ("distance_m", "level_dbm"),
    # Rappaport, Wireless Communications, 2nd ed., example 4.2 (from memory): 47 dBm, 900 MHz;
    # printed -24.5 and -64.5, exactly -24.54 and -64.54.
    [(100, -24.54), (10_000, -64.54)],
)
def test_free_space_against_a_textbook(distance_m: float, level_dbm: float) -> None:
    # 50 W are 46.99 dBm.
    level = 10 * np.log10(50e3) - free_space_loss_db(distance_m, 900e6)
    assert level == pytest.approx(level_dbm, abs=0.005)


def test_free_space_against_a_worked_problem() -> None:
    # A problem set's 1 W, 2.4 GHz, 1.6 km: -74.16 dBm with a rounded wavelength, exactly -74.13.
    assert 30.0 - free_space_loss_db(1600.0, 2.4e9) == pytest.approx(-74.13, abs=0.005)


@pytest.mark.parametrize(
    ("heights_m", "crossover_m", "distance_m", "received_w"),
    # ns-3's two-ray model is plane earth beyond 4 pi ht hr / lambda.
    [
        ((1.5, 1.5), 226.195, 500, 4.07891862e-12),
        ((1.5, 1.5), 226.195, 1000, 2.5493241375e-13),
        ((1.5, 1.5), 226.195, 2000, 1.593327585938e-14),
        ((1.5, 2.5), 376.99, 500, 1.13303295e-11),
        ((1.5, 5.5), 829.38, 1000, 3.42742467375e-12),
        ((1.5, 11.5), 1734.15, 2000, 9.36522547734e-13),
    ],
)
def test_plane_earth_against_ns_3(
    heights_m: tuple[float, float], crossover_m: float, distance_m: float, received_w: float
) -> None:
    sender_m, receiver_m = heights_m
    loss_db = plane_earth_loss_db(
        distance_m, transmitter_height_m=sender_m, receiver_height_m=receiver_m
    )
    assert ns3_received_w(loss_db) == pytest.approx(received_w, rel=2e-9)
    computed_m = plane_earth_crossover_m(
        transmitter_height_m=sender_m,
        receiver_height_m=receiver_m,
        frequency_hz=NS3_FREQUENCY_HZ,
    )
    # Printed to two places, cut rather than rounded.
    assert computed_m == pytest.approx(crossover_m, abs=0.01)


def test_plane_earth_field_against_a_textbook() -> None:
    # Rappaport, example 4.6 (from memory): 1 mV/m at 1 km, 900 MHz, 50 and 1.5 m high, at 5 km
    # 113.1 uV/m and, into 0.016 m2, -92.68 dBm; -92.65 without its intermediate rounding.
    loss_db = plane_earth_loss_db(5000.0, transmitter_height_m=50.0, receiver_height_m=1.5)
    beyond_free_space_db = loss_db - free_space_loss_db(5000.0, 900e6)
    field_v_per_m = 1e-3 * (1000 / 5000) * 10 ** (-beyond_free_space_db / 20)
    # The example's wavelength is 1/3 m.
    assert field_v_per_m == pytest.approx(113.10e-6, rel=1e-3)
    received_dbm = 10 * np.log10(field_v_per_m**2 / (120 * pi) * 0.016) + 30
    assert received_dbm == pytest.approx(-92.65, abs=0.01)


# Heights; 4 ht hr / lambda and pi times that at 2.4 GHz; distance; free space, R = -1, ground V4,
# ground V15 at 2.4 GHz; free space, plane earth, V15 at 868 MHz. All computed.
LOW_AERIALS = [
    ((1.2, 0.03), (1.153, 3.622), 100, (80.05, 108.88, 103.75, 100.05), (71.22, 108.88, 91.69)),
    ((1.2, 0.03), (1.153, 3.622), 200, (86.07, 120.92, 115.67, 111.88), (77.24, 120.92, 103.52)),
    ((1.2, 0.03), (1.153, 3.622), 400, (92.09, 132.96, 127.65, 123.82), (83.26, 132.96, 115.46)),
    ((1.5, 0.03), (1.441, 4.527), 100, (80.05, 106.94, 101.90, 98.25), (71.22, 106.94, 89.89)),
    ((1.5, 0.03), (1.441, 4.527), 400, (92.09, 131.02, 125.76, 121.94), (83.26, 131.02, 113.58)),
    ((1.2, 0.05), (1.921, 6.036), 100, (80.05, 104.44, 101.89, 99.12), (71.22, 104.44, 91.43)),
    ((1.5, 0.05), (2.402, 7.545), 100, (80.05, 102.50, 100.05, 97.34), (71.22, 102.50, 89.66)),
    ((1.5, 0.05), (2.402, 7.545), 200, (86.07, 114.54, 111.93, 109.11), (77.24, 114.54, 101.44)),
    ((1.5, 0.05), (2.402, 7.545), 400, (92.09, 126.58, 123.90, 121.02), (83.26, 126.58, 113.35)),
]


@pytest.mark.parametrize(("heights_m", "breaks_m", "distance_m", "at_2400", "at_868"), LOW_AERIALS)
def test_low_aerials(
    heights_m: tuple[float, float],
    breaks_m: tuple[float, float],
    distance_m: float,
    at_2400: tuple[float, ...],
    at_868: tuple[float, ...],
) -> None:
    sender_m, receiver_m = heights_m

    def two_ray_db(frequency_hz: float, ground: Ground | None) -> float:
        return float(
            two_ray_loss_db(
                distance_m,
                transmitter_height_m=sender_m,
                receiver_height_m=receiver_m,
                frequency_hz=frequency_hz,
                ground=ground,
            )
        )

    plane_db = plane_earth_loss_db(
        distance_m, transmitter_height_m=sender_m, receiver_height_m=receiver_m
    )
    computed_2400 = (
        free_space_loss_db(distance_m, 2.4e9),
        two_ray_db(2.4e9, None),
        two_ray_db(2.4e9, V4),
        two_ray_db(2.4e9, V15),
    )
    computed_868 = (
        free_space_loss_db(distance_m, 868e6),
        two_ray_db(868e6, None),
        two_ray_db(868e6, V15),
    )
    assert computed_2400 == pytest.approx(at_2400, abs=0.0051)
    assert computed_868 == pytest.approx(at_868, abs=0.0051)
    # The plane-earth law is the far limit of R = -1, here within 0.01 dB.
    assert plane_db == pytest.approx(at_2400[1], abs=0.01)
    heights = {"transmitter_height_m": sender_m, "receiver_height_m": receiver_m}
    touch_m = fresnel_touch_m(frequency_hz=2.4e9, **heights)
    crossover_m = plane_earth_crossover_m(frequency_hz=2.4e9, **heights)
    assert (touch_m, crossover_m) == pytest.approx(breaks_m, abs=0.00051)


def test_only_one_break_distance_is_continuous() -> None:
    heights = {"transmitter_height_m": 1.5, "receiver_height_m": 0.05}
    crossover_m = plane_earth_crossover_m(frequency_hz=2.4e9, **heights)
    touch_m = fresnel_touch_m(frequency_hz=2.4e9, **heights)
    at_m = np.array([crossover_m, touch_m])
    jump_db = free_space_loss_db(at_m, 2.4e9) - plane_earth_loss_db(at_m, **heights)
    # 20 log(pi) = 9.94 dB.
    assert jump_db == pytest.approx([0.0, 9.94], abs=0.005)


def test_twice_as_far_costs_twelve_decibels() -> None:
    near_db, far_db = plane_earth_loss_db(
        np.array([150.0, 300.0]), transmitter_height_m=1.5, receiver_height_m=0.05
    )
    assert far_db - near_db == pytest.approx(12.04, abs=0.005)


@pytest.mark.parametrize(
    ("frequency_hz", "least_m", "loss_db"),
    # Bullington, Bell System Technical Journal 36, 1957 (formula from memory); figures computed.
    [(2.4e9, 0.0795, 97.01), (868e6, 0.220, 89.32)],
)
def test_minimum_effective_height(frequency_hz: float, least_m: float, loss_db: float) -> None:
    vertical = {"ground": V15, "polarisation": Polarisation.VERTICAL}
    computed_m = minimum_effective_height_m(frequency_hz, **vertical)
    assert computed_m == pytest.approx(least_m, abs=0.0005)
    sender_m, receiver_m = (
        effective_height_m(height_m, frequency_hz=frequency_hz, **vertical)
        for height_m in (1.5, 0.05)
    )
    computed_db = plane_earth_loss_db(
        100.0, transmitter_height_m=sender_m, receiver_height_m=receiver_m
    )
    assert computed_db == pytest.approx(loss_db, abs=0.005)


def test_a_horizontal_aerial_gains_from_the_last_centimetre() -> None:
    # The same source; figures computed: 0.1249 m / 2 pi, over the root of 14, and of 3.
    for ground, least_m in ((V15, 0.00531), (V4, 0.01148)):
        computed_m = minimum_effective_height_m(
            2.4e9, ground=ground, polarisation=Polarisation.HORIZONTAL
        )
        assert computed_m == pytest.approx(least_m, abs=5e-6)
    # Where the ground only conducts: over the root of 60 * 0.124914 * 5.
    computed_m = minimum_effective_height_m(
        2.4e9,
        ground=Ground(relative_permittivity=1.0, conductivity_s_per_m=5.0),
        polarisation=Polarisation.HORIZONTAL,
    )
    assert computed_m == pytest.approx(0.0198806 / 37.4741**0.5, rel=1e-4)


@pytest.mark.parametrize("polarisation", Polarisation)
@pytest.mark.parametrize("frequency_hz", [868e6, 2.4e9])
@pytest.mark.parametrize("receiver_m", [0.001, 0.03, 0.2])
def test_effective_heights_stand_in_for_the_exact_field(
    polarisation: Polarisation, frequency_hz: float, receiver_m: float
) -> None:
    exact_db = two_ray_loss_db(
        1000.0,
        transmitter_height_m=1.5,
        receiver_height_m=receiver_m,
        frequency_hz=frequency_hz,
        polarisation=polarisation,
        ground=V15,
    )
    sender_m, lifted_m = (
        effective_height_m(
            height_m, frequency_hz=frequency_hz, ground=V15, polarisation=polarisation
        )
        for height_m in (1.5, receiver_m)
    )
    standing_in_db = plane_earth_loss_db(
        1000.0, transmitter_height_m=sender_m, receiver_height_m=lifted_m
    )
    # 0.47 dB is the largest difference found; without the effective heights it is up to 47 dB.
    assert standing_in_db == pytest.approx(float(exact_db), abs=0.5)


def test_ground_is_a_mirror_at_grazing_and_lets_vertical_waves_in_at_brewsters_angle() -> None:
    for polarisation in Polarisation:
        grazing = reflection_coefficient(
            1e-6, ground=V15, frequency_hz=2.4e9, polarisation=polarisation
        )
        assert abs(grazing + 1.0) < 1e-4
    # Brewster's angle of a lossless ground, from the ground: tan = 1 / sqrt(permittivity).
    sine = np.sin(np.arctan(1 / np.sqrt(15.0)))
    vertical, horizontal = (
        reflection_coefficient(
            sine,
            ground=Ground(conductivity_s_per_m=0.0),
            frequency_hz=2.4e9,
            polarisation=polarisation,
        )
        for polarisation in (Polarisation.VERTICAL, Polarisation.HORIZONTAL)
    )
    assert abs(vertical) < 1e-12
    # At that angle (1 - e) / (1 + e), by Fresnel's equations.
    assert horizontal == pytest.approx(-14 / 16)


def test_straight_down_both_polarisations_are_one() -> None:
    # (1 - n) / (1 + n) with n = sqrt(e), Fresnel; the sign convention differs by polarisation.
    vertical, horizontal = (
        reflection_coefficient(
            1.0,
            ground=Ground(relative_permittivity=9.0, conductivity_s_per_m=0.0),
            frequency_hz=2.4e9,
            polarisation=polarisation,
        )
        for polarisation in (Polarisation.VERTICAL, Polarisation.HORIZONTAL)
    )
    assert (vertical, horizontal) == (pytest.approx(0.5), pytest.approx(-0.5))


@given(
    st.floats(1.0, 2000.0),
    st.floats(0.5, 3.0),
    st.floats(0.01, 0.5),
    st.floats(4e8, 6e9),
    st.sampled_from(list(Polarisation)),
    st.sampled_from([None, V4, V15]),
)
def test_two_rays_agree_with_the_simulated_cars_own_copy(
    distance_m: float,
    sender_m: float,
    receiver_m: float,
    frequency_hz: float,
    polarisation: Polarisation,
    ground: Ground | None,
) -> None:
    ours_db = two_ray_loss_db(
        distance_m,
        transmitter_height_m=sender_m,
        receiver_height_m=receiver_m,
        frequency_hz=frequency_hz,
        polarisation=polarisation,
        ground=ground,
    )
    theirs_db = simulated.two_ray_loss_db(
        np.array([distance_m]),
        transmitter_height_m=sender_m,
        receiver_height_m=receiver_m,
        frequency_hz=frequency_hz,
        polarisation=simulated.Polarisation(polarisation),
        ground=ground
        and simulated.Ground(ground.relative_permittivity, ground.conductivity_s_per_m),
    )
    # In a null of the field the two sums of large opposite numbers keep fewer digits.
    assert ours_db == pytest.approx(theirs_db[0], abs=1e-4)


@pytest.mark.parametrize(
    ("frequency_hz", "path_m", "exact_m", "rounded_m"),
    # Computed; rounded_m is ITU-R P.526-8, equation 3, with its constant of 550.
    [
        (2.4e9, 100, 1.7672, 1.7751),
        (2.4e9, 200, 2.4991, 2.5104),
        (2.4e9, 400, 3.5343, 3.5502),
        (868e6, 100, 2.9385, 2.9517),
        (1e9, 1000, 8.6573, 8.6963),
    ],
)
def test_first_fresnel_zone(
    frequency_hz: float, path_m: float, exact_m: float, rounded_m: float
) -> None:
    radius_m = first_fresnel_radius_m(path_m / 2, path_m / 2, frequency_hz)
    assert radius_m == pytest.approx(exact_m, abs=5e-5)
    assert radius_m == pytest.approx(rounded_m, rel=0.005)


def test_everything_takes_arrays() -> None:
    distance_m = np.linspace(1.0, 400.0, 12).reshape(3, 4)
    heights = {"transmitter_height_m": 1.5, "receiver_height_m": 0.05}
    for loss_db in (
        free_space_loss_db(distance_m, 2.4e9),
        plane_earth_loss_db(distance_m, **heights),
        two_ray_loss_db(distance_m, frequency_hz=2.4e9, ground=V15, **heights),
        first_fresnel_radius_m(distance_m, 401.0 - distance_m, 2.4e9),
    ):
        assert loss_db.shape == (3, 4)
    one = two_ray_loss_db(distance_m[1, 2], frequency_hz=2.4e9, ground=V15, **heights)
    every = two_ray_loss_db(distance_m, frequency_hz=2.4e9, ground=V15, **heights)
    assert every[1, 2] == one


def test_against_a_satellite_propagation_library() -> None:
    itu530 = pytest.importorskip("itur.models.itu530")
    radius_m = float(itu530.fresnel_ellipse_radius(0.05, 0.05, 2.4).value)
    # P.530 writes 17.3 sqrt(d1 d2 / (f d)): 0.1 % less.
    assert radius_m == pytest.approx(1.76567, abs=5e-6)
    assert first_fresnel_radius_m(50.0, 50.0, 2.4e9) == pytest.approx(radius_m, rel=0.002)


def test_against_a_lora_library() -> None:
    lora = pytest.importorskip("pamoja.lora")
    for distance_m, frequency_hz in [(100, 2_400_000_000), (5000, 868_100_000)]:
        loss_db = free_space_loss_db(distance_m, frequency_hz)
        theirs_db = lora.free_space_loss_db(distance_m, frequency_hz)
        assert loss_db == pytest.approx(theirs_db, abs=0.0051)
        radius_m = first_fresnel_radius_m(distance_m / 2, distance_m / 2, frequency_hz)
        theirs_mm = lora.fresnel_radius_mm(distance_m // 2, distance_m // 2, frequency_hz)
        assert radius_m * 1000 == pytest.approx(theirs_mm, abs=1.0)


def test_against_a_link_budget_library() -> None:
    fom = pytest.importorskip("linkbudget.fom")
    model = pytest.importorskip("linkbudget.propagation").TwoRayGroundReflection
    assert free_space_loss_db(250.0, 2.4e9) == pytest.approx(
        fom.free_space_path_loss_db(250.0, 2.4e9), abs=1e-9
    )
    heights = {"transmitter_height_m": 1.5, "receiver_height_m": 0.05}
    beyond = model(distance=250.0, tx_height=1.5, rx_height=0.05, frequency=2.4e9)
    theirs = beyond.propagate_signal(1.0, 0.0)
    assert plane_earth_loss_db(250.0, **heights) == pytest.approx(theirs["path_loss_db"], abs=1e-9)
    assert plane_earth_crossover_m(frequency_hz=2.4e9, **heights) == pytest.approx(
        theirs["crossover_distance"], rel=1e-9
    )


def test_wavelength_is_exact() -> None:
    assert SPEED_OF_LIGHT_MPS == 299_792_458.0
