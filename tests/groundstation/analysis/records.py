"""Records of passes up and down a course, made up column by column, for tests of single rules."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from groundstation.analysis.record import Columns, Floats, Record, record_of
from groundstation.vehicle.profile import VehicleProfile
from protocol.batch import decode

THRESHOLD_DBM = -100.0
SPEED_MPS = 20.0
REST_S = 2.0

EMPTY = record_of(
    decode(b""), vehicle=1, profile=VehicleProfile(threshold_dbm=THRESHOLD_DBM), driver=(0.0, 0.0)
)


def level_by_distance_dbm(along_m: Floats, outward: bool) -> Floats:
    """Return levels that follow the distance law, exponent 4, -60 dBm at 100 m."""
    return np.asarray(-60.0 - 40.0 * np.log10(np.maximum(np.abs(along_m), 1.0) / 100.0))


def up_and_down(
    legs: Sequence[tuple[float, float]],
    *,
    level_dbm: Callable[[Floats, bool], Floats] = level_by_distance_dbm,
    noise_db: float = 1.0,
    seed: int = 1,
) -> Record:
    """Return a record of passes at a steady speed, with rests between them.

    The course runs due east along the equator; the driver stands beside its zero.

    Args:
        legs: Where each pass begins and ends, metres.
        level_dbm: Received at places, on a pass outward or not.
        noise_db: On it, one sigma.
        seed: Of the noise.
    """
    source = np.random.default_rng(seed)
    along, levels, speed = [], [], []
    for begin_m, end_m in legs:
        count = round(abs(end_m - begin_m) / SPEED_MPS * 100.0)
        rest = np.full(round(REST_S * 100.0), begin_m)
        places = np.concatenate([rest, np.linspace(begin_m, end_m, count), np.full(50, end_m)])
        along.append(places)
        levels.append(level_dbm(places, end_m > begin_m))
        # The least bit faster all the way: the course is told by the fixes up to the peak.
        faster_mps = SPEED_MPS + 0.01 * np.arange(len(places)) / len(places)
        speed.append(np.where(np.diff(places, prepend=begin_m) == 0.0, 0.0, faster_mps))
    along_m, speed_mps = np.concatenate(along), np.concatenate(speed)
    t_s = np.arange(len(along_m)) * 0.01
    motion = Columns(
        t_s,
        {
            "speed_mps": speed_mps,
            "yaw_rate_dps": 2.0 * source.standard_normal(len(t_s)) * (speed_mps > 0.0),
            "accel_y_g": 0.05 * source.standard_normal(len(t_s)),
            "accel_z_g": 1.0 + 0.1 * source.standard_normal(len(t_s)),
            "accel_z_max_g": 1.5 + 0.1 * source.standard_normal(len(t_s)),
            "accel_z_min_g": 0.5 + 0.1 * source.standard_normal(len(t_s)),
            "clipped_samples": np.zeros(len(t_s)),
            "throttle_percent": np.where(speed_mps > 0.0, 60.0, 0.0),
            "failsafe_active": np.zeros(len(t_s)),
        },
    )
    every = slice(None, None, 10)
    fix = Columns(
        t_s[every],
        {
            "latitude_deg": np.zeros(len(t_s[every])),
            "longitude_deg": np.degrees(along_m[every] / 6378137.0),
            "ground_speed_mps": speed_mps[every],
            "course_deg": np.where(
                speed_mps[every] > 0.0,
                np.where(np.gradient(along_m)[every] < 0.0, 270.0, 90.0),
                np.nan,
            ),
            "horizontal_accuracy_m": np.full(len(t_s[every]), 0.8),
            "fix_type": np.full(len(t_s[every]), 3.0),
        },
    )
    every = slice(None, None, 4)
    level = np.concatenate(levels)[every]
    radio = Columns(
        # Reports are late by what the analysis takes off again.
        t_s[every] + 0.15,
        {
            "control_rssi_dbm": level + noise_db * source.standard_normal(len(level)),
            "control_received_percent": np.full(len(level), 100.0),
        },
    )
    every = slice(None, None, 50)
    current_a = np.where(speed_mps[every] > 0.0, 60.0, 0.5) + source.normal(size=len(t_s[every]))
    power = Columns(
        t_s[every],
        {
            "pack_voltage_v": 33.0 - 0.024 * current_a,
            "pack_current_a": current_a,
            "controller_temperature_c": np.full(len(current_a), 40.0),
        },
    )
    kinds = {**EMPTY.kinds, "motion": motion, "fix": fix, "radio": radio, "power": power}
    return replace(EMPTY, kinds=kinds)


def changed(
    record: Record, kind: str, channel: str, change: Callable[[Floats, Floats], Floats]
) -> Record:
    """Return the record with a channel made anew from its times and its values."""
    columns = record.kinds[kind]
    values = {**columns.values, channel: change(columns.t_s, columns[channel])}
    return replace(record, kinds={**record.kinds, kind: Columns(columns.t_s, values)})


def cut_off(record: Record, end_s: float) -> Record:
    """Return the record as if nothing had been heard after a time."""
    kinds = {name: columns.between(-np.inf, end_s) for name, columns in record.kinds.items()}
    return replace(record, kinds=kinds)
