"""Where fuzzing begins: one or more honest inputs a target."""

from __future__ import annotations

import tempfile
from itertools import islice
from pathlib import Path

import cobs.cobs

from groundstation.recording.checks import save_check
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation
from tests.groundstation.importing.foreign import drive, write_foreign
from tests.groundstation.importing.test_gpx import TRACK
from tests.groundstation.importing.test_nmea import GGA, GGA_WEST, GLL, RMC, VTG
from tests.groundstation.rangecheck.rig import made_holds, made_record
from tests.groundstation.recording.examples import record, some_inbound

TABLE_OF_POINTS = b"""time;lat;lon;speed (mph);note
2031-05-04T14:22:33Z;10,0001;20,0002;12,5;=1+1
2031-05-04T14:22:34Z;10,0002;20,0002;13,5;
2031-05-04T14:22:35Z;10,0003;20,0002;14,5;end
"""
COLUMN_MAP = b"""[time]
column = "t"
unit = "ms"
[[column]]
name = "v"
channel = "speed_mps"
unit = "km/h"
"""
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
        case "csv":
            return [_table(), TABLE_OF_POINTS]
        case "nmea":
            return ["\r\n".join([GGA, RMC, VTG, GLL, GGA_WEST]).encode() * 3]
        case "gpx":
            return [TRACK.encode()]
        case "column_map":
            return [COLUMN_MAP]
        case "check":
            return [_check()]
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


def _table() -> bytes:
    with tempfile.NamedTemporaryFile() as file:
        write_foreign(Path(file.name), drive())
        return b"\n".join(Path(file.name).read_bytes().splitlines()[:120])


def _check() -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        return save_check(Path(folder), made_record(made_holds())).read_bytes()
