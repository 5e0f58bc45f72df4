"""A session that nobody drove: invented values at the usual rates, cheap enough for hours of them.

Rule: the frames are those of the wire, in the order and the rhythm in which a car sends them; only
what they say is simple: a pass a minute. A read holds what one motion frame's time brings.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from math import exp, log10
from pathlib import Path

from groundstation.inbound import BytesReceived
from groundstation.indexing import RecordingIndex
from groundstation.recording.writer import Recorder
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from protocol import Sender, Value, standard_table

STARTED = datetime(2026, 1, 1, 12, tzinfo=UTC)
PASS_S, RUN_UP_S, LIFT_S = 60, 20.0, 34.0
"""Length of a pass with the rest before and after it, and moments in it."""

LAP_S = 2 * PASS_S
"""A pass out and one back; then the values come again, but not the counters in the frames."""

FLUSH_EVERY = 1000
"""Reads after which the recorder is waited for; real time would have waited."""

FASTEST_MPS, BRAKING_MPS2 = 40.0, 6.0
METRES_IN_A_DEGREE = 111_000
RADIO_HZ, FIX_HZ, POWER_HZ, IDENT_EVERY_S = 25, 10, 2, 2

TABLE = standard_table()
PROFILE = VehicleProfile()
KEEPER = StateKeeper(PROFILE, TABLE, software_version="benchmark")

Noise = Callable[[float, float], float]
"""Mean and standard deviation to a value."""

_IDENT: dict[str, Value] = {
    "vehicle_name": "INVENTED",
    "firmware": "benchmark",
    "wire_version": 1,
    "accel_full_scale_g": 16.0,
    "gyro_full_scale_dps": 2000,
    "control_sensitivity_dbm": -105.0,
    "control_transmit_power_dbm": 20.0,
    "boot_count": 1,
}


def speed_at(pass_s: float) -> float:
    """Return the speed at a moment of a pass: rest, a run up, a hold, braking, rest."""
    if pass_s < RUN_UP_S:
        return 0.0
    if pass_s < LIFT_S:
        return FASTEST_MPS * (1.0 - exp(-(pass_s - RUN_UP_S) / 3.0))
    return max(FASTEST_MPS - BRAKING_MPS2 * (pass_s - LIFT_S), 0.0)


def lap(motion_hz: int) -> list[list[tuple[str, dict[str, Value]]]]:
    """Return what is sent in each motion frame's time of one lap: kinds with their values."""
    noise = random.Random(1).gauss
    slots, along_m = [], 0.0
    for slot in range(LAP_S * motion_hz):
        back, pass_s = divmod(slot / motion_hz, PASS_S)
        speed_mps = speed_at(pass_s)
        along_m += (-speed_mps if back else speed_mps) / motion_hz
        frames = [("motion", _motion(pass_s, speed_mps, noise))]
        if slot * RADIO_HZ % motion_hz < RADIO_HZ:
            frames.append(("radio", _radio(abs(along_m), noise)))
        if slot * FIX_HZ % motion_hz < FIX_HZ:
            frames.append(("fix", _fix(along_m, speed_mps, 180.0 if back else 0.0, noise)))
        if slot * POWER_HZ % motion_hz < POWER_HZ:
            frames.append(("power", _power(speed_mps)))
        if slot % (IDENT_EVERY_S * motion_hz) == 0:
            frames.append(("ident", _IDENT))
        slots.append(frames)
    return slots


def reads(seconds: float, *, motion_hz: int = 100) -> Iterator[BytesReceived]:
    """Yield what is received, a read each motion frame's time."""
    sender, slots = Sender(), lap(motion_hz)
    for number in range(round(seconds * motion_hz)):
        at_s = number / motion_hz
        clock_us = round(at_s * 1e6)
        frames = slots[number % len(slots)]
        data = b"".join([sender.encode(kind, values, clock_us) for kind, values in frames])
        yield BytesReceived(at_s, data)


def frames_in(seconds: float, *, motion_hz: int = 100) -> int:
    """Return how many frames `reads` holds."""
    slots, (laps, rest) = lap(motion_hz), divmod(round(seconds * motion_hz), LAP_S * motion_hz)
    sizes = [len(frames) for frames in slots]
    return laps * sum(sizes) + sum(sizes[:rest])


def write_session(path: Path, seconds: float) -> Path:
    """Write a session file of that length, as a live session would have been, and return it."""
    recorder = Recorder(path.parent, facts={}, started=STARTED, software_version="benchmark")
    index = RecordingIndex(recorder, KEEPER)
    telemetry = Telemetry(PROFILE, table=TABLE)
    timeline = Timeline(telemetry, [index])
    for number, inbound in enumerate(reads(seconds)):
        recorder.record(inbound)
        timeline.accept(inbound)
        if number % FLUSH_EVERY == 0:
            recorder.flush()
    timeline.advance(seconds)
    index.close(telemetry, end_at_s=timeline.ticked_to_s)
    if recorder.trouble or recorder.path is None:
        raise RuntimeError(f"the session cannot be written: {recorder.trouble}")
    return recorder.path.replace(path)


def _motion(pass_s: float, speed_mps: float, noise: Noise) -> dict[str, Value]:
    rough_g = 0.02 + 0.02 * speed_mps
    z_g = 1.0 + noise(0.0, rough_g)
    braking = pass_s >= LIFT_S and speed_mps > 0.0
    return {
        "speed_mps": speed_mps,
        "yaw_rate_dps": noise(0.0, 0.3 + 0.4 * speed_mps),
        "accel_x_g": noise(0.0, rough_g) - (0.6 if braking else 0.0),
        "accel_y_g": noise(0.0, rough_g),
        "accel_z_g": z_g,
        "accel_z_max_g": z_g + abs(noise(0.0, 3 * rough_g)),
        "accel_z_min_g": z_g - abs(noise(0.0, 3 * rough_g)),
        "clipped_samples": 0,
        "steering_percent": noise(0.0, 3.0),
        "correction_percent": noise(0.0, 3.0),
        "throttle_percent": 60.0 if RUN_UP_S <= pass_s < LIFT_S else 0.0,
        "failsafe_active": False,
        "stabiliser_on": True,
        "brake_on": braking,
        "sensor_clipped": False,
    }


def _radio(distance_m: float, noise: Noise) -> dict[str, Value]:
    rssi_dbm = round(-40.0 - 21.0 * log10(1.0 + distance_m) + noise(0.0, 2.0))
    return {
        "control_rssi_dbm": rssi_dbm,
        "control_snr_db": rssi_dbm + 110.0,
        "control_received_percent": 100,
        "antenna": 0,
        "failsafe_count": 0,
    }


def _fix(along_m: float, speed_mps: float, course_deg: float, noise: Noise) -> dict[str, Value]:
    return {
        "latitude_deg": along_m / METRES_IN_A_DEGREE,
        "longitude_deg": 0.0,
        "ground_speed_mps": max(speed_mps + noise(0.0, 0.05), 0.0),
        "course_deg": course_deg,
        "speed_accuracy_mps": 0.05,
        "horizontal_accuracy_m": 0.8,
        "satellites": 18,
        "fix_type": 3,
    }


def _power(speed_mps: float) -> dict[str, Value]:
    return {
        "pack_voltage_v": 25.2 - 0.03 * speed_mps,
        "pack_current_a": 3.0 * speed_mps,
        "controller_temperature_c": 30.0 + speed_mps / 2,
    }
