"""How a wave gets from a hand-held transmitter to an aerial a hand's breadth above the ground.

Owns free space and the direct wave plus the one reflected by flat ground, with the reflection
coefficients of real ground. The simulated car's own copy: nothing that estimates shares it.

Reflection coefficients: Fresnel, in the form of T. S. Rappaport, Wireless Communications,
2nd ed., section 4.5 (from memory). Free space: ITU-R P.525.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from groundstation.simulator.ground import SPEED_OF_LIGHT_MPS, Ground, Polarisation


def free_space_loss_db(distance_m: NDArray[np.float64], frequency_hz: float) -> NDArray[np.float64]:
    """Return the loss between isotropic aerials in free space (ITU-R P.525)."""
    wavelength_m = SPEED_OF_LIGHT_MPS / frequency_hz
    return np.asarray(20.0 * np.log10(4.0 * np.pi * distance_m / wavelength_m))


def reflection_coefficient(
    grazing_rad: NDArray[np.float64],
    *,
    ground: Ground,
    frequency_hz: float,
    polarisation: Polarisation,
) -> NDArray[np.complex128]:
    """Return the complex reflection coefficient of flat ground at a grazing angle."""
    wavelength_m = SPEED_OF_LIGHT_MPS / frequency_hz
    permittivity = ground.permittivity - 60j * ground.conductivity_s_per_m * wavelength_m
    sine = np.sin(grazing_rad)
    root = np.sqrt(permittivity - np.cos(grazing_rad) ** 2)
    if polarisation is Polarisation.VERTICAL:
        return np.asarray((permittivity * sine - root) / (permittivity * sine + root))
    return np.asarray((sine - root) / (sine + root))


def two_ray_loss_db(
    distance_m: NDArray[np.float64],
    *,
    transmitter_height_m: float,
    receiver_height_m: float,
    frequency_hz: float,
    polarisation: Polarisation = Polarisation.VERTICAL,
    ground: Ground | None = None,
) -> NDArray[np.float64]:
    """Return the loss of the direct and the ground-reflected wave together.

    Args:
        distance_m: Along the ground.
        transmitter_height_m: Above the ground.
        receiver_height_m: Above the ground.
        frequency_hz: Carrier.
        polarisation: Of both aerials.
        ground: None for a coefficient of -1, the plane-earth bound.
    """
    wave_number = 2.0 * np.pi * frequency_hz / SPEED_OF_LIGHT_MPS
    direct_m = np.hypot(distance_m, transmitter_height_m - receiver_height_m)
    reflected_m = np.hypot(distance_m, transmitter_height_m + receiver_height_m)
    coefficient: NDArray[np.complex128] | float = -1.0
    if ground is not None:
        grazing_rad = np.arctan2(transmitter_height_m + receiver_height_m, distance_m)
        coefficient = reflection_coefficient(
            grazing_rad, ground=ground, frequency_hz=frequency_hz, polarisation=polarisation
        )
    direct = np.exp(-1j * wave_number * direct_m) / direct_m
    field = direct + coefficient * np.exp(-1j * wave_number * reflected_m) / reflected_m
    return np.asarray(-20.0 * np.log10(np.abs(field) / (2.0 * wave_number)))
