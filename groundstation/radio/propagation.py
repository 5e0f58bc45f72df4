"""How much a radio wave loses between two aerials: the textbook laws, over flat ground.

Owns path loss as a function of distance, and the distances and heights at which a law begins or
ends. Losses are positive decibels between isotropic aerials. Every function takes a number or an
array and returns an array of the same shape. The simulated car has its own copy of these laws, on
purpose: an estimator that is tested against its own formula proves nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

SPEED_OF_LIGHT_MPS = 299_792_458.0

Numbers = float | NDArray[np.float64]
Array = NDArray[np.float64]


class Polarisation(StrEnum):
    """Which way the electric field stands to the ground."""

    VERTICAL = "vertical"
    HORIZONTAL = "horizontal"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """Electrical properties of flat ground; the defaults are those of average soil.

    The orders of magnitude are in ITU-R P.527 (from memory).
    """

    relative_permittivity: float = 15.0
    conductivity_s_per_m: float = 0.005


def wavelength_m(frequency_hz: float) -> float:
    """Return the wavelength in free space."""
    return SPEED_OF_LIGHT_MPS / frequency_hz


def free_space_loss_db(distance_m: Numbers, frequency_hz: float) -> Array:
    """Return the loss in free space: 20 log(4 pi d / lambda) (ITU-R P.525-5)."""
    turns = 4.0 * np.pi * np.asarray(distance_m) / wavelength_m(frequency_hz)
    return np.asarray(20.0 * np.log10(turns))


def plane_earth_loss_db(
    distance_m: Numbers, *, transmitter_height_m: float, receiver_height_m: float
) -> Array:
    """Return the far limit over ground that reflects with -1: 40 log d - 20 log(ht hr).

    The frequency has cancelled out. True only well beyond `plane_earth_crossover_m`, and a
    pessimistic bound where an aerial is lower than `minimum_effective_height_m`.
    Source: T. S. Rappaport, Wireless Communications, 2nd ed., section 4.6 (from memory).
    """
    heights_m2 = transmitter_height_m * receiver_height_m
    return np.asarray(40.0 * np.log10(distance_m) - 20.0 * np.log10(heights_m2))


def two_ray_loss_db(
    distance_m: Numbers,
    *,
    transmitter_height_m: float,
    receiver_height_m: float,
    frequency_hz: float,
    polarisation: Polarisation = Polarisation.VERTICAL,
    ground: Ground | None = None,
) -> Array:
    """Return the loss of the direct and the reflected wave together, with no approximation.

    The field is exp(-jk d1)/d1 + R exp(-jk d2)/d2, R the reflection coefficient at the angle at
    which the reflected wave meets the ground (Rappaport, section 4.6, from memory).

    Args:
        distance_m: Along the ground.
        transmitter_height_m: Above the ground.
        receiver_height_m: Above the ground.
        frequency_hz: Of the carrier.
        polarisation: Of both aerials.
        ground: None for a reflection coefficient of -1, whatever the angle.
    """
    along_m = np.asarray(distance_m)
    sum_m = transmitter_height_m + receiver_height_m
    direct_m = np.hypot(along_m, transmitter_height_m - receiver_height_m)
    reflected_m = np.hypot(along_m, sum_m)
    coefficient: NDArray[np.complex128] | float = -1.0
    if ground is not None:
        coefficient = reflection_coefficient(
            sum_m / reflected_m,
            ground=ground,
            frequency_hz=frequency_hz,
            polarisation=polarisation,
        )
    wave_number = 2.0 * np.pi / wavelength_m(frequency_hz)
    # The reflected wave relative to the direct one: the common phase is of no interest, and the
    # difference of two nearly equal paths, taken as such, would cost digits at long range.
    detour_m = 4.0 * transmitter_height_m * receiver_height_m / (reflected_m + direct_m)
    reflected = coefficient * (direct_m / reflected_m) * np.exp(-1j * wave_number * detour_m)
    gained_db = 20.0 * np.log10(np.abs(1.0 + reflected))
    return np.asarray(free_space_loss_db(direct_m, frequency_hz) - gained_db)


def reflection_coefficient(
    grazing_sine: Numbers, *, ground: Ground, frequency_hz: float, polarisation: Polarisation
) -> NDArray[np.complex128]:
    """Return Fresnel's complex reflection coefficient of flat ground.

    Source: Rappaport, section 4.5 (from memory). At grazing incidence it is -1 for both
    polarisations.

    Args:
        grazing_sine: Sine of the angle between the wave and the ground.
        ground: What reflects.
        frequency_hz: Of the carrier.
        polarisation: Vertical is the field in the plane of incidence.
    """
    sine = np.asarray(grazing_sine)
    permittivity = _complex_permittivity(ground, frequency_hz)
    root = np.sqrt(permittivity - 1.0 + sine**2)
    scaled = permittivity * sine if polarisation is Polarisation.VERTICAL else sine
    return np.asarray((scaled - root) / (scaled + root))


def fresnel_touch_m(
    *, transmitter_height_m: float, receiver_height_m: float, frequency_hz: float
) -> float:
    """Return the distance at which the first Fresnel zone touches the ground: 4 ht hr / lambda.

    Beyond it the last interference maximum is past. ITU-R P.1411 calls it the breakpoint (from
    memory). Not the distance at which to change from free space to plane earth: the two laws
    differ by 20 log(pi) = 9.94 dB here.
    """
    return 4.0 * transmitter_height_m * receiver_height_m / wavelength_m(frequency_hz)


def plane_earth_crossover_m(
    *, transmitter_height_m: float, receiver_height_m: float, frequency_hz: float
) -> float:
    """Return the distance at which free space and plane earth lose the same: 4 pi ht hr / lambda.

    The only distance at which a model that is free space before and plane earth behind is
    continuous.
    """
    return np.pi * fresnel_touch_m(
        transmitter_height_m=transmitter_height_m,
        receiver_height_m=receiver_height_m,
        frequency_hz=frequency_hz,
    )


def minimum_effective_height_m(
    frequency_hz: float, *, ground: Ground, polarisation: Polarisation
) -> float:
    """Return the height under which lowering an aerial makes no difference any more.

    With the ground's permittivity e and conductivity s, and lambda in metres:
    vertical (lambda / 2 pi) [(e + 1)^2 + (60 lambda s)^2]^(1/4),
    horizontal (lambda / 2 pi) [(e - 1)^2 + (60 lambda s)^2]^(-1/4).
    Source: K. Bullington, Bell System Technical Journal 36, 1957 (from memory).
    """
    loss = 60.0 * wavelength_m(frequency_hz) * ground.conductivity_s_per_m
    reach_m = wavelength_m(frequency_hz) / (2.0 * np.pi)
    if polarisation is Polarisation.VERTICAL:
        return float(reach_m * np.hypot(ground.relative_permittivity + 1.0, loss) ** 0.5)
    return float(reach_m * np.hypot(ground.relative_permittivity - 1.0, loss) ** -0.5)


def effective_height_m(
    height_m: float, *, frequency_hz: float, ground: Ground, polarisation: Polarisation
) -> float:
    """Return the height to put into the plane-earth law for an aerial over real ground.

    The root of the sum of squares of the height and the minimum effective height (Bullington,
    1957, from memory); within half a decibel of the exact two-ray loss where both are low.
    """
    least_m = minimum_effective_height_m(frequency_hz, ground=ground, polarisation=polarisation)
    return float(np.hypot(height_m, least_m))


def first_fresnel_radius_m(near_m: Numbers, far_m: Numbers, frequency_hz: float) -> Array:
    """Return the radius of the first Fresnel zone: sqrt(lambda d1 d2 / (d1 + d2)).

    ITU-R P.526 rounds the same to 550 sqrt(d1 d2 / ((d1 + d2) f)) in km and MHz, 0.5 % more.

    Args:
        near_m: From one aerial.
        far_m: From the other.
        frequency_hz: Of the carrier.
    """
    near, far = np.asarray(near_m), np.asarray(far_m)
    return np.asarray(np.sqrt(wavelength_m(frequency_hz) * near * far / (near + far)))


def _complex_permittivity(ground: Ground, frequency_hz: float) -> complex:
    # 60 is 1 / (2 pi c e0), rounded as everywhere in the literature (exact: 59.96).
    loss = 60.0 * wavelength_m(frequency_hz) * ground.conductivity_s_per_m
    return complex(ground.relative_permittivity, -loss)
