"""Samples and tables that the protocol's tests share."""

from __future__ import annotations

from protocol import Sender, Table, standard_table
from protocol.generators.vectors import TYPICAL

MOTION = TYPICAL["motion"]
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
