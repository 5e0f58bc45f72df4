"""Where fuzzing begins: one or more honest inputs a target."""

from __future__ import annotations

import tempfile
from itertools import islice
from pathlib import Path

import cobs.cobs

from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation
from tests.groundstation.recording.examples import record, some_inbound

SETTINGS = b"""units = "mph"
baud = 57600
[link]
threshold_dbm = -98
lift_silence_s = 0.5
[sound]
quiet = true
on_lift = "notify lift"
"""
VEHICLE = b"""source = "ble:sandpiper"
number = 1
[receiver]
percent_dbm = [[50, -98], [100, -85]]
[stopping]
decel_mps2 = 6.0
"""
KINDS = b"""[[kind]]
name = "wheels"
code = 0x80
[[kind.field]]
name = "motor_speed_rpm"
type = "u16"
unknown = 65535
per_unit = 10
[[kind.field]]
name = "bits"
type = "u8"
unknown = 255
bits = ["hot", "cold"]
"""


def seeds_of(target: str) -> list[bytes]:
    """Return honest inputs of a target."""
    match target:
        case "receiver":
            return [b"".join(_frames())]
        case "frames" | "core":
            bodies = (cobs.cobs.decode(frame[:-1])[:-2] for frame in _frames())
            return [b"".join(bytes([len(body)]) + body for body in bodies)]
        case "session":
            return [_session(), b"".join(_frames())]
        case "settings":
            return [SETTINGS]
        case "vehicle":
            return [VEHICLE]
        case "kinds":
            return [KINDS]
    raise KeyError(target)


def _frames() -> list[bytes]:
    simulation = Simulation(SCENARIOS["demo"], seed=1)
    return [emission.data for emission in islice(simulation, 60)]


def _session() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        return record(Path(folder), some_inbound(40)).read_bytes()
