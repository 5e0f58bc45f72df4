"""The worlds in which warnings are judged: cars, radios and two ways to build the air between them.

Owns what is drawn at random for a pass, from its seed alone. The first air is the simulator's. The
second, here, shares nothing with it: a path of two slopes, shadows that are a sum of sinusoids
(correlation falling as a Gaussian, not as an exponential), Rician fading as a sum of plane waves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import atan2, cos, hypot, log10, pi
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from groundstation.simulator.channel import ChannelParameters, ControlChannel, Lobe
from groundstation.simulator.control_receiver import ControlReceiverParameters
from groundstation.simulator.drive import DriveParameters
from groundstation.simulator.driver_plan import DriverPlan, Pass, Wait
from groundstation.simulator.propagation import two_ray_loss_db
from groundstation.simulator.satellite import SatelliteParameters
from groundstation.simulator.scenario import (
    CarParameters,
    CourseParameters,
    Scenario,
    SensorParameters,
)

WAIT_S = 2.0
"""At rest beside the driver before the throttle opens."""

SINUSOIDS = 80
WAVES = 14


class Fading(Protocol):
    """Fast fading along the distance travelled."""

    def fade_db(self, travelled_m: float) -> float:
        """Return the power relative to its mean."""


class Air(Protocol):
    """What lies between transmitter and car, as the simulated world asks for it."""

    fading: Fading

    def distance_m(self, along_m: float, across_m: float) -> float:
        """Return the distance from the driver to a place."""

    def local_mean_dbm(self, along_m: float, across_m: float, heading_rad: float) -> float:
        """Return the power received at a place, fading averaged out."""


@dataclass(frozen=True, slots=True)
class Draw:
    """All that a pass is made of but its noise."""

    scenario: Scenario
    air: Air
    shadow_sigma_db: float
    shadow_distance_m: float
    mean_distances_m: NDArray[np.float64]
    mean_dbm: NDArray[np.float64]
    """Received power without shadows, over those distances; with what is wrong with the aerial."""
    undisturbed_dbm: NDArray[np.float64]
    """The same on a good day: what earlier range checks have seen."""
    react_s: float
    """From the warning to the finger, this time."""
    share_window_s: float


class PlaneWaves:
    """A steady wave and scattered ones from all around (Clarke's picture, summed wave by wave)."""

    def __init__(self, k_db: float, wavelength_m: float, source: np.random.Generator) -> None:
        k = 10.0 ** (k_db / 10.0)
        angles = source.uniform(0.0, 2.0 * pi, WAVES)
        self._per_m = 2.0 * pi / wavelength_m * np.cos(angles)
        self._phases = source.uniform(0.0, 2.0 * pi, WAVES)
        self._steady_per_m = 2.0 * pi / wavelength_m * cos(source.uniform(-0.1, 0.1))
        self._steady, self._each = (k / (k + 1.0)) ** 0.5, (1.0 / (k + 1.0) / WAVES) ** 0.5

    def fade_db(self, travelled_m: float) -> float:
        """Return the power relative to its mean."""
        waves = np.exp(1j * (self._per_m * travelled_m + self._phases))
        field = self._steady * np.exp(1j * self._steady_per_m * travelled_m)
        return 20.0 * log10(abs(field + self._each * waves.sum()) + 1e-6)


class TwoSlopeAir:
    """A path of two slopes (Feuerstein et al., IEEE Trans. Veh. Techn. 43(3), 1994; smoothed)."""

    def __init__(
        self,
        source: np.random.Generator,
        *,
        driver_m: tuple[float, float],
        level_dbm: float,
        sigma_db: float,
        correlation_m: float,
        k_db: float,
        wavelength_m: float,
    ) -> None:
        self._driver_m = driver_m
        self.level_dbm = level_dbm
        """At one metre."""
        self.near_exponent = source.uniform(1.8, 2.6)
        self.far_exponent = source.uniform(3.5, 4.4)
        self.break_m = float(np.exp(source.uniform(np.log(12.0), np.log(60.0))))
        # The transform of a Gaussian correlation is Gaussian: so are the spatial frequencies.
        self._per_m = source.normal(0.0, 2.0**0.5 / correlation_m, SINUSOIDS)
        self._phases = source.uniform(0.0, 2.0 * pi, SINUSOIDS)
        self._amplitude_db = sigma_db * (2.0 / SINUSOIDS) ** 0.5
        self._lobe_db = source.uniform(0.0, 1.5)
        self.fading: Fading = PlaneWaves(k_db, wavelength_m, source)

    def mean_dbm(self, distance_m: float) -> float:
        """Return the level at a distance, without shadows."""
        far = 10.0 * (self.far_exponent - self.near_exponent)
        bend = 0.3 * log10(1.0 + (distance_m / self.break_m) ** (1.0 / 0.3))
        return self.level_dbm - 10.0 * self.near_exponent * log10(distance_m) - far * bend

    def distance_m(self, along_m: float, across_m: float) -> float:
        """Return the distance from the driver to a place."""
        return max(hypot(along_m - self._driver_m[0], across_m - self._driver_m[1]), 1.0)

    def local_mean_dbm(self, along_m: float, across_m: float, heading_rad: float) -> float:
        """Return the power received at a place, fading averaged out."""
        shadow_db = self._amplitude_db * float(np.cos(self._per_m * along_m + self._phases).sum())
        towards = atan2(self._driver_m[1] - across_m, self._driver_m[0] - along_m) - heading_rad
        level_dbm = self.mean_dbm(self.distance_m(along_m, across_m))
        return level_dbm + shadow_db + self._lobe_db * cos(towards)


class BehindVehicle:
    """Any air with a vehicle parked so that it stands between driver and car over a stretch."""

    def __init__(self, air: Air, *, middle_m: float, width_m: float, depth_db: float) -> None:
        self._air = air
        self.fading = air.fading
        self._middle_m, self._width_m, self._depth_db = middle_m, width_m, depth_db

    def distance_m(self, along_m: float, across_m: float) -> float:
        """Return the distance from the driver to a place."""
        return self._air.distance_m(along_m, across_m)

    def local_mean_dbm(self, along_m: float, across_m: float, heading_rad: float) -> float:
        """Return the power received at a place, fading averaged out."""
        # Soft edges: diffraction round the vehicle's ends.
        off = abs(along_m - self._middle_m) / (0.5 * self._width_m)
        loss_db = self._depth_db / (1.0 + off**6)
        return self._air.local_mean_dbm(along_m, across_m, heading_rad) - loss_db


def draw_world(seed: int, *, second: bool, disturbed: bool, notched: bool, beside: bool) -> Draw:
    """Return the world of one pass.

    Args:
        seed: Not negative.
        second: The air that is built here, not the simulator's.
        disturbed: The car's aerial lies wrong from the start.
        notched: A vehicle is parked beside the course.
        beside: The car starts beside the driver, not up to 60 m before.
    """
    source = np.random.default_rng([seed, 20, second, disturbed, notched])
    scenario = _scenario(source)
    if beside:
        scenario = replace(scenario, course=replace(scenario.course, driver_along_m=0.0))
    course = scenario.course
    driver_m = (course.driver_along_m, course.driver_across_m)
    edge_m = source.uniform(180.0, 560.0)
    sigma_db, correlation_m = source.uniform(1.0, 3.2), source.uniform(9.0, 32.0)
    k_db = source.uniform(5.0, 12.0)
    wrong_db = source.uniform(4.0, 10.0) if disturbed else 0.0
    distances_m = np.geomspace(1.0, 2400.0, 400)
    channel = replace(
        scenario.channel,
        shadow_sigma_db=sigma_db,
        shadow_distance_m=correlation_m,
        rician_k_db=k_db,
    )
    air: Air
    if second:
        wavelength_m = 299_792_458.0 / channel.frequency_hz
        own = TwoSlopeAir(
            source,
            driver_m=driver_m,
            level_dbm=source.uniform(-38.0, -20.0),
            sigma_db=sigma_db,
            correlation_m=correlation_m,
            k_db=k_db,
            wavelength_m=wavelength_m,
        )
        good_dbm = np.array([own.mean_dbm(each) for each in distances_m.tolist()])
        own.level_dbm -= wrong_db
        air = own
    else:
        loss_db = two_ray_loss_db(
            distances_m,
            transmitter_height_m=channel.transmitter_height_m,
            receiver_height_m=channel.car_height_m,
            frequency_hz=channel.frequency_hz,
            polarisation=channel.polarisation,
            ground=channel.ground,
        )
        gains_db = channel.transmitter_gain_dbi + channel.car_gain_dbi - channel.other_losses_db
        good_dbm = channel.transmit_power_dbm + gains_db - loss_db
        channel = replace(channel, disturbance_db=wrong_db)
        air = ControlChannel(
            channel, driver_along_m=driver_m[0], driver_across_m=driver_m[1], seed=seed
        )
    # The radio is drawn so that a good day's range ends at the distance drawn.
    sensitivity_dbm = round(float(np.interp(edge_m, distances_m, good_dbm)))
    if notched:
        air = BehindVehicle(
            air,
            middle_m=edge_m * source.uniform(0.25, 0.9),
            width_m=source.uniform(8.0, 22.0),
            depth_db=source.uniform(4.0, 9.0),
        )
    receiver = _receiver(source, sensitivity_dbm)
    return Draw(
        scenario=replace(scenario, channel=channel, receiver=receiver),
        air=air,
        shadow_sigma_db=sigma_db,
        shadow_distance_m=correlation_m,
        mean_distances_m=distances_m,
        mean_dbm=good_dbm - wrong_db,
        undisturbed_dbm=good_dbm,
        react_s=float(np.clip(source.normal(0.3, 0.05), 0.18, 0.45)),
        share_window_s=receiver.share_window * receiver.packet_interval_s,
    )


def _scenario(source: np.random.Generator) -> Scenario:
    drive = DriveParameters(
        mass_kg=source.uniform(4.0, 6.0),
        drag_area_m2=source.uniform(0.008, 0.014),
        power_limit_w=source.uniform(900.0, 2300.0),
        brake_limit_mps2=source.uniform(6.0, 9.0),
    )
    lobes = (
        Lobe(1, source.uniform(0.0, 1.5), source.uniform(-180.0, 180.0)),
        Lobe(2, source.uniform(0.0, 1.0), source.uniform(-90.0, 90.0)),
    )
    limit_mps = source.uniform(24.0, 60.0)
    leg = Pass(lift_at_m=5000.0, speed_limit_mps=limit_mps, brake=1.0)
    return Scenario(
        name="benchmark",
        summary="A pass drawn at random.",
        duration_s=70.0,
        plan=DriverPlan(legs=(Wait(WAIT_S), leg)),
        car=CarParameters(drive=drive),
        course=CourseParameters(
            driver_along_m=float(source.choice([0.0, source.uniform(0.0, 60.0)])),
            driver_across_m=-source.uniform(3.0, 10.0),
        ),
        channel=ChannelParameters(
            frequency_hz=float(source.choice([2.4e9, 2.4e9, 868e6])),
            transmitter_height_m=source.uniform(1.0, 1.8),
            car_height_m=source.uniform(0.03, 0.10),
            transmit_power_dbm=source.uniform(10.0, 20.0),
            other_losses_db=source.uniform(0.0, 4.0),
            pattern=lobes,
        ),
        sensors=SensorParameters(
            satellite=SatelliteParameters(position_drift_m=source.uniform(0.4, 2.0))
        ),
    )


def _receiver(source: np.random.Generator, sensitivity_dbm: float) -> ControlReceiverParameters:
    return ControlReceiverParameters(
        sensitivity_dbm=sensitivity_dbm,
        noise_dbm=sensitivity_dbm - 8.0,
        reported_floor_dbm=sensitivity_dbm - 4.0,
        packet_interval_s=float(source.choice([0.004, 0.007, 0.011])),
        loss_slope_db=source.uniform(0.4, 1.0),
        report_delay_s=source.uniform(0.03, 0.10),
        report_average_s=source.uniform(0.04, 0.16),
        failsafe_after_s=source.uniform(0.3, 0.6),
    )
