"""A log as another logger might write it: invented, with the truth beside it.

A car at 50 Hz with SAE axes (z down, y and yaw to the right) in m/s^2 and degrees, speed in km/h,
and a satellite receiver at 10 Hz whose values the logger repeats in every row. It stands, drives
off, turns left and right in wide bends, and brakes.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from geographiclib.geodesic import Geodesic
from numpy.typing import NDArray

RATE_HZ = 50
REPEATED = 5
"""Rows to a fix."""
G = 9.80665
START_DEG = (10.0, 20.0)


@dataclass(frozen=True)
class Truth:
    time_s: NDArray[np.float64]
    speed_mps: NDArray[np.float64]
    course_deg: NDArray[np.float64]
    yaw_rate_dps: NDArray[np.float64]
    """ISO 8855: to the left."""
    accel_x_g: NDArray[np.float64]
    accel_y_g: NDArray[np.float64]
    latitude_deg: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]


def drive() -> Truth:
    time_s = np.arange(60 * RATE_HZ) / RATE_HZ
    accel_mps2 = np.select(
        [time_s < 5, time_s < 15, time_s < 45, time_s < 53], [0.0, 2.5, 0.0, -3.0], 0.0
    )
    speed_mps = np.clip(np.cumsum(accel_mps2) / RATE_HZ, 0, None)
    accel_mps2 = np.where(speed_mps > 0, accel_mps2, 0.0)
    turning = (time_s > 16) & (time_s < 44)
    yaw_rate_dps = np.where(turning, 8 * np.sin(2 * np.pi * (time_s - 16) / 14), 0.0)
    course_deg = (30 - np.cumsum(yaw_rate_dps) / RATE_HZ) % 360
    places = [START_DEG]
    for speed, course in zip(speed_mps[1:].tolist(), course_deg[1:].tolist(), strict=True):
        moved = Geodesic.WGS84.Direct(*places[-1], course, speed / RATE_HZ)
        places.append((moved["lat2"], moved["lon2"]))
    latitude_deg, longitude_deg = np.array(places).T
    return Truth(
        time_s,
        speed_mps,
        course_deg,
        yaw_rate_dps,
        accel_mps2 / G,
        speed_mps * np.radians(yaw_rate_dps) / G,
        latitude_deg,
        longitude_deg,
    )


def write_foreign(path: Path, truth: Truth, *, units_row: bool = False) -> None:
    """Write the log, ended by an empty cell in each row, with a decimal comma."""
    noise = np.random.default_rng(5).normal(0, 0.02, (3, len(truth.time_s)))
    ax, ay, az = (
        truth.accel_x_g * G + noise[0],
        -truth.accel_y_g * G + noise[1],
        -G + noise[2],
    )
    held = np.arange(len(truth.time_s)) // REPEATED * REPEATED
    columns: dict[str, tuple[str, NDArray[np.float64], int]] = {
        "Time": ("ms", truth.time_s * 1000 + 81_000, 0),
        "GPS Latitude": ("deg", truth.latitude_deg[held], 8),
        "GPS Longitude": ("deg", truth.longitude_deg[held], 8),
        "GPS Speed": ("km/h", truth.speed_mps[held] * 3.6, 3),
        "Wheel Speed": ("km/h", truth.speed_mps * 3.6, 2),
        "Heading": ("deg", truth.course_deg[held], 2),
        "AccX": ("m/s2", ax, 4),
        "AccY": ("m/s2", ay, 4),
        "AccZ": ("m/s2", az, 4),
        "GyroZ": ("deg/s", -truth.yaw_rate_dps, 3),
        "Motor": ("rpm", np.round(truth.speed_mps * 531.0), 0),
    }
    rows = zip(
        *([f"{value:.{digits}f}" for value in values] for _, values, digits in columns.values()),
        strict=True,
    )
    lines = ["Invented logger", ";".join(columns)]
    if units_row:
        lines.append(";".join(unit for unit, _, _ in columns.values()))
    lines += [";".join(row).replace(".", ",") + ";" for row in rows]
    path.write_text("\r\n".join(lines), encoding="cp1252")
