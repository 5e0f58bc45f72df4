"""`vectors.json`: frames with the values that they were made from, for whoever writes a codec.

Written by the Python codec; the tests hold some of them against bytes worked out by hand.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

from protocol.generators.wording import NOTICE
from protocol.sender import Sender
from protocol.table import Field, Kind, Table, Value

VEHICLE = 1
CLOCK_US = 12_345_678

BEYOND = 10**10
"""Outside the range of every field."""

Values = Mapping[str, Value]

TYPICAL: dict[str, Values] = {
    "motion": {
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
    },
    "fix": {
        "latitude_deg": 45.0012345,
        "longitude_deg": -30.0006789,
        "ground_speed_mps": 42.37,
        "course_deg": 271.5,
        "speed_accuracy_mps": 0.08,
        "horizontal_accuracy_m": 0.9,
        "satellites": 17,
        "fix_type": 3,
    },
    "radio": {
        "control_rssi_dbm": -71.0,
        "control_snr_db": 9.5,
        "control_received_percent": 99,
        "control_signal_raw": None,
        "antenna": 1,
        "failsafe_count": 0,
    },
    "power": {"pack_voltage_v": 15.82, "pack_current_a": 88.4, "controller_temperature_c": 41.5},
    "ident": {
        "vehicle_name": "Quickstep",
        "firmware": "trial 7",
        "wire_version": 1,
        "accel_full_scale_g": 16.0,
        "gyro_full_scale_dps": 2000,
        "control_sensitivity_dbm": -105.0,
        "control_transmit_power_dbm": 20.0,
        "boot_count": 12,
    },
}
"""Values of our own invention, one plausible set a kind."""


@dataclass(frozen=True, slots=True)
class Vector:
    """One frame and what it was made from."""

    name: str
    kind: Kind
    sequence: int
    values: Values
    wire: bytes

    @property
    def raw(self) -> dict[str, int | str]:
        """The wire's own numbers, field by field."""
        raw = self.kind.layout.unpack(self.kind.encode(self.values))
        return {
            each.name: got if isinstance(got, int) else got.rstrip(b"\0").decode()
            for each, got in zip(self.kind.fields, raw, strict=True)
        }


def vectors(table: Table) -> list[Vector]:
    """Return every kind's vectors, in the order of their sequence numbers."""
    made = []
    for kind in table.kinds:
        # From the code, so that a new vector of one kind leaves those of the others as they are.
        sender = Sender(table, vehicle=VEHICLE, sequence=256 * kind.code)
        for name, values in _samples(kind):
            sequence = sender.sequence
            wire = sender.encode(kind.name, values, CLOCK_US)
            made.append(Vector(name, kind, sequence, values, wire))
    return made


def vectors_json(table: Table) -> str:
    """Return the text of the file."""
    frames = [
        {
            "name": each.name,
            "kind": each.kind.name,
            "code": each.kind.code,
            "vehicle": VEHICLE,
            "sequence": each.sequence,
            "clock_us": CLOCK_US,
            "values": each.values,
            "raw": each.raw,
            "wire": each.wire.hex(),
        }
        for each in vectors(table)
    ]
    document = {"about": NOTICE, "wire_version": table.wire_version, "frames": frames}
    return json.dumps(document, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def _samples(kind: Kind) -> Iterator[tuple[str, Values]]:
    def each(number: Callable[[Field], float], bit: bool, text: Callable[[int], str]) -> Values:
        return dict(_values(kind, number, bit, text))

    yield "typical", TYPICAL[kind.name]
    yield "all minimum", each(lambda field: field.min, False, lambda size: "a")
    yield "all maximum", each(lambda field: field.max, True, lambda size: "z" * size)
    yield "all unknown", {name: None for field in kind.fields for name in field.channels}
    yield "under range", each(lambda field: -BEYOND, False, lambda size: "")
    yield "over range", each(lambda field: BEYOND, True, lambda size: "z" * 2 * size)
    if any(field.is_text for field in kind.fields):
        yield "text cut inside a character", each(lambda field: field.max, True, _too_long)


def _values(
    kind: Kind, number: Callable[[Field], float], bit: bool, text: Callable[[int], str]
) -> Iterator[tuple[str, Value]]:
    """Yield every channel of a kind: numbers, bits and texts by one rule each."""
    for each in kind.fields:
        if each.is_text:
            yield each.name, text(each.size)
        elif each.bits:
            yield from dict.fromkeys(each.bits, bit).items()
        else:
            yield each.name, number(each)


def _too_long(size: int) -> str:
    """Return text of characters of three bytes, one of which has its first byte within `size`."""
    return "a" * ((size - 1) % 3) + "\u20ac" * size
