"""The control link's air: transmitted power in, received power at the car out.

Owns path loss, shadows, fading, the pattern of the car's aerial and what is wrong with it. Shadows
belong to the place, fading to the distance travelled, so that both are the same whatever the rate
at which they are asked. The local mean is the power with the fading averaged out.

Shadows: M. Gudmundson, "Correlation model for shadow fading in mobile radio systems",
Electronics Letters 27(23), 1991: correlation exp(-distance / decorrelation distance).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from math import atan2, cos, exp, hypot, log10, pi, radians, sin, sqrt

from groundstation.simulator.ground import SPEED_OF_LIGHT_MPS, Ground, Polarisation
from groundstation.simulator.noise import Stream, generator, normal_rows

LOSS_STEP_M = 0.5
LOSS_REACH_M = 2500.0
NEAREST_M = 1.0
"""Closer than this the loss is held: nobody drives over the driver."""

SHADOW_STEP_M = 0.5
SHADOW_REACH_M = (-200.0, 1500.0)

FADE_GRID_WAVELENGTHS = 0.38
"""Clarke's correlation J0(2 pi d / wavelength) is first zero at this distance."""


@dataclass(frozen=True, slots=True)
class Lobe:
    """One harmonic of an aerial pattern over the direction in which the driver stands."""

    harmonic: int
    amplitude_db: float
    towards_deg: float = 0.0
    """Direction of a maximum, from the car's nose to the left."""


@dataclass(frozen=True, slots=True)
class ChannelParameters:
    """The radio path from the transmitter to the car."""

    frequency_hz: float = 2.4e9
    polarisation: Polarisation = Polarisation.VERTICAL
    transmitter_height_m: float = 1.5
    car_height_m: float = 0.05
    ground: Ground = field(default_factory=Ground)
    transmit_power_dbm: float = 20.0
    transmitter_gain_dbi: float = 2.0
    car_gain_dbi: float = 0.0
    other_losses_db: float = 1.0
    pattern: tuple[Lobe, ...] = (Lobe(1, 0.8, 180.0), Lobe(2, 0.6, 0.0))
    disturbance_db: float = 0.0
    """What an aerial that lies wrong costs in every direction."""
    shadow_sigma_db: float = 2.0
    shadow_distance_m: float = 18.0
    """Over which shadows decorrelate to 1/e."""
    rician_k_db: float = 9.0
    hand_motion_mps: float = 0.08
    """The driver's hand is never still, so a standing car fades too."""


@lru_cache(maxsize=32)
def _loss_table_db(
    frequency_hz: float,
    polarisation: Polarisation,
    transmitter_height_m: float,
    car_height_m: float,
    ground: Ground,
) -> tuple[float, ...]:
    import numpy as np

    from groundstation.simulator.propagation import two_ray_loss_db

    distances_m = np.maximum(np.arange(0.0, LOSS_REACH_M, LOSS_STEP_M), NEAREST_M)
    losses_db = two_ray_loss_db(
        distances_m,
        transmitter_height_m=transmitter_height_m,
        receiver_height_m=car_height_m,
        frequency_hz=frequency_hz,
        polarisation=polarisation,
        ground=ground,
    )
    return tuple(losses_db.tolist())


def shadow_map_db(parameters: ChannelParameters, seed: int) -> list[float]:
    """Return the shadows along the course, one each `SHADOW_STEP_M` of `SHADOW_REACH_M`."""
    first_m, last_m = SHADOW_REACH_M
    count = int((last_m - first_m) / SHADOW_STEP_M) + 2
    fresh = generator(seed, Stream.SHADOW).standard_normal(count).tolist()
    keep = exp(-SHADOW_STEP_M / parameters.shadow_distance_m)
    share = sqrt(1.0 - keep * keep)
    level = fresh[0]
    shadows_db = [parameters.shadow_sigma_db * level]
    for value in fresh[1:]:
        level = keep * level + share * value
        shadows_db.append(parameters.shadow_sigma_db * level)
    return shadows_db


class FadingPath:
    """Rician fading as a function of the distance travelled, which never shrinks.

    Complex normal values on a grid, joined by quarter waves: the joined value has exactly the
    grid's variance everywhere, and no correlation beyond two grid steps.
    """

    def __init__(self, k_db: float, wavelength_m: float, seed: int) -> None:
        k = 10.0 ** (k_db / 10.0)
        self._steady = sqrt(k / (k + 1.0))
        self._spread = sqrt(0.5 / (k + 1.0))
        """Of each of the two parts of the scattered wave."""
        self._grid_m = FADE_GRID_WAVELENGTHS * wavelength_m
        self._rows: Iterator[list[float]] = normal_rows(generator(seed, Stream.FADING), 2)
        self._cell = 0
        self._low = next(self._rows)
        self._high = next(self._rows)

    def fade_db(self, travelled_m: float) -> float:
        """Return the fading at a distance travelled, dB relative to the mean power."""
        place = travelled_m / self._grid_m
        cell = int(place)
        while self._cell < cell:
            self._low, self._high = self._high, next(self._rows)
            self._cell += 1
        angle = 0.5 * pi * (place - cell)
        low, high = cos(angle) * self._spread, sin(angle) * self._spread
        in_phase = self._steady + low * self._low[0] + high * self._high[0]
        across = low * self._low[1] + high * self._high[1]
        return 10.0 * log10(in_phase * in_phase + across * across + 1e-12)


class ControlChannel:
    """The air between one driver and one car."""

    def __init__(
        self,
        parameters: ChannelParameters,
        *,
        driver_along_m: float,
        driver_across_m: float,
        seed: int,
    ) -> None:
        self.parameters = parameters
        self._driver_m = (driver_along_m, driver_across_m)
        self._losses_db = _loss_table_db(
            parameters.frequency_hz,
            parameters.polarisation,
            parameters.transmitter_height_m,
            parameters.car_height_m,
            parameters.ground,
        )
        self._shadows_db = shadow_map_db(parameters, seed)
        self._radiated_dbm = (
            parameters.transmit_power_dbm
            + parameters.transmitter_gain_dbi
            + parameters.car_gain_dbi
            - parameters.other_losses_db
            - parameters.disturbance_db
        )
        self._lobes = [
            (lobe.harmonic, lobe.amplitude_db, radians(lobe.towards_deg))
            for lobe in parameters.pattern
        ]
        wavelength_m = SPEED_OF_LIGHT_MPS / parameters.frequency_hz
        self.fading = FadingPath(parameters.rician_k_db, wavelength_m, seed)

    def distance_m(self, along_m: float, across_m: float) -> float:
        """Return the distance from the driver to a place."""
        return hypot(along_m - self._driver_m[0], across_m - self._driver_m[1])

    def local_mean_dbm(self, along_m: float, across_m: float, heading_rad: float) -> float:
        """Return the power received at a place, fading averaged out.

        Args:
            along_m: Along the course.
            across_m: To the left of the line.
            heading_rad: Of the car, 0 along the course, positive to the left.
        """
        ahead_m, beside_m = self._driver_m[0] - along_m, self._driver_m[1] - across_m
        place = min(hypot(ahead_m, beside_m), LOSS_REACH_M - 2 * LOSS_STEP_M) / LOSS_STEP_M
        cell = int(place)
        low_db, high_db = self._losses_db[cell], self._losses_db[cell + 1]
        level_dbm = self._radiated_dbm - low_db - (high_db - low_db) * (place - cell)
        first_m, last_m = SHADOW_REACH_M
        place = (min(max(along_m, first_m), last_m) - first_m) / SHADOW_STEP_M
        cell = int(place)
        low_db, high_db = self._shadows_db[cell], self._shadows_db[cell + 1]
        level_dbm += low_db + (high_db - low_db) * (place - cell)
        return level_dbm + self.pattern_db(atan2(beside_m, ahead_m) - heading_rad)

    def pattern_db(self, direction_rad: float) -> float:
        """Return the aerial's gain toward a direction, from the nose to the left."""
        return sum(
            amplitude_db * cos(harmonic * (direction_rad - towards_rad))
            for harmonic, amplitude_db, towards_rad in self._lobes
        )
