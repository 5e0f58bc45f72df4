"""What the inertial sensors do to the truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from groundstation.simulator.inertial import InertialParameters, InertialSensors, clip

IDEAL = InertialParameters(
    accel_noise_g=0.0, accel_bias_g=0.0, gyro_noise_dps=0.0, gyro_bias_dps=0.0
)


def test_at_rest_up_reads_plus_one() -> None:
    # Specific force, ISO 8855 axes.
    reading = InertialSensors(IDEAL, seed=1).read(
        yaw_rate_dps=0.0, x_g=[0.0], y_g=[0.0], z_g=[1.0] * 10
    )
    assert (reading.accel_x_g, reading.accel_y_g, reading.accel_z_g) == (0.0, 0.0, 1.0)
    assert (reading.accel_z_max_g, reading.accel_z_min_g) == (1.0, 1.0)
    assert (reading.yaw_rate_dps, reading.clipped_samples) == (0.0, 0)


def test_peaks_are_held_and_clipped_samples_counted() -> None:
    samples = [1.0, 5.0, 17.0, 30.0, 16.0, 2.0, -20.0, -1.0, 0.0, 1.0]
    reading = InertialSensors(IDEAL, seed=1).read(
        yaw_rate_dps=3000.0, x_g=[-40.0, 0.0], y_g=[0.5], z_g=samples
    )
    assert (reading.accel_z_max_g, reading.accel_z_min_g) == (16.0, -16.0)
    assert reading.clipped_samples == 4
    assert reading.accel_z_g == pytest.approx(np.clip(samples, -16, 16).mean())
    assert reading.accel_x_g == -8.0
    assert reading.yaw_rate_dps == IDEAL.gyro_full_scale_dps


def test_clip_leaves_what_fits() -> None:
    assert clip([0.0, 15.9, -15.9], 16.0) == ([0.0, 15.9, -15.9], 0)


def test_bias_belongs_to_the_sensor_and_noise_averages_out() -> None:
    parameters = replace(InertialParameters(), gyro_noise_dps=0.4)
    sensors = InertialSensors(parameters, seed=3)
    readings = [
        sensors.read(yaw_rate_dps=0.0, x_g=[0.0], y_g=[0.0], z_g=[1.0] * 10) for _ in range(4000)
    ]
    rates = np.array([reading.yaw_rate_dps for reading in readings])
    forward = np.array([reading.accel_x_g for reading in readings])
    assert rates.mean() == pytest.approx(sensors.gyro_bias_dps, abs=0.03)
    assert rates.std() == pytest.approx(0.4, rel=0.05)
    assert forward.mean() == pytest.approx(sensors.accel_bias_g[0], abs=1e-3)
    assert forward.std() == pytest.approx(parameters.accel_noise_g / 10**0.5, rel=0.05)
    assert InertialSensors(parameters, seed=3).gyro_bias_dps == sensors.gyro_bias_dps
    assert InertialSensors(parameters, seed=4).gyro_bias_dps != sensors.gyro_bias_dps
