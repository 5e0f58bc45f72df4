"""Samples and tables that the protocol's tests share."""

from __future__ import annotations

from collections.abc import Mapping

from protocol import Sender, Table, Value, standard_table

MOTION: Mapping[str, Value] = {
    "speed_mps": 42.5,
    "yaw_rate_dps": -3.2,
    "accel_x_g": 0.412,
    "accel_y_g": -0.125,
    "accel_z_g": 1.003,
    "accel_z_max_g": 6.54,
    "accel_z_min_g": -2.31,
    "clipped_samples": 0,
    "steering_percent": -1.5,
    "correction_percent": 2.25,
    "throttle_percent": 85,
    "failsafe_active": False,
    "stabiliser_on": True,
    "brake_on": False,
    "sensor_clipped": False,
}
"""A motion frame as it may be sent at speed; invented."""

OWN_KINDS = """
[[kind]]
name = "motor"
code = 0x80
rate_hz = [10, 20]

[[kind.field]]
name = "motor_rpm"
type = "u32"
min = 0
max = 200000
unknown = 4294967295

[[kind.field]]
name = "tyre_temperature_c"
type = "i8"
per_unit = 2
min = -60
max = 63
unknown = -128

[[kind.field]]
name = "note"
type = "text5"

[[kind]]
name = "switches"
code = 0xFE

[[kind.field]]
name = "switch_bits"
type = "u16"
min = 0
max = 65534
unknown = 65535
bits = ["lights_on", "fan_on", "logger_on", "a3", "a4", "a5", "a6", "a7", "a8", "recovery_on"]
"""
"""Two kinds of a builder's own, with every sort of field that the standard kinds lack."""


def own_table() -> Table:
    """Return the standard table with `OWN_KINDS`."""
    return standard_table().extended(OWN_KINDS, "own.toml")


def motion_frames(count: int, *, vehicle: int = 1, sequence: int = 0) -> list[bytes]:
    """Return motion frames 10 ms apart."""
    sender = Sender(vehicle=vehicle, sequence=sequence)
    return [sender.encode("motion", MOTION, 10_000 * number) for number in range(count)]
