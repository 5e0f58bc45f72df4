"""What runs on the car's microcontroller: sensors in, frames out, each kind at its own rate.

Owns the car's clock and the schedule of frames. Ident goes out first, so that a ground station
knows the car at once. A fix is stamped when it was measured, all else when it is sent.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import degrees

from groundstation.simulator.noise import Stream, generator, normals
from groundstation.simulator.satellite import Fix, SatelliteReceiver
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.world import World
from protocol import Sender, Table, Value

RADIO_FRAMES = 4
POWER_FRAMES = 50
IDENT_FRAMES = 200
"""Motion frames from one frame of the kind to the next."""

LONGEST_UPTIME_S = 90.0
"""The car was switched on up to this long before the run begins."""


class Firmware:
    """The sending side of one car."""

    def __init__(self, scenario: Scenario, *, seed: int, table: Table | None = None) -> None:
        self._scenario = scenario
        self._sender = Sender(table)
        self._satellite = SatelliteReceiver(
            scenario.sensors.satellite, scenario.course.origin, seed=seed
        )
        source = generator(seed, Stream.CLOCK)
        start = source.random(2).tolist()
        self._uptime_s = 3.0 + (LONGEST_UPTIME_S - 3.0) * start[0]
        self._boots = 1 + int(40 * start[1])
        self._noise: Iterator[float] = normals(source)

    def frames(self, world: World) -> list[bytes]:
        """Return the frames that are due after a step of the world, in the order of sending."""
        frame = world.frame - 1
        now_s = world.t_s
        frames: list[bytes] = []
        if frame % IDENT_FRAMES == 0:
            frames.append(self._encode("ident", self._ident(), now_s))
        frames.append(self._encode("motion", self._motion(world), now_s))
        if frame % RADIO_FRAMES == 1:
            frames.append(self._encode("radio", self._radio(world, now_s), now_s))
        if frame % POWER_FRAMES == 3:
            frames.append(self._encode("power", self._power(world), now_s))
        self._satellite.observe(
            now_s,
            along_m=world.along_m,
            across_m=world.across_m,
            speed_mps=world.speed_mps,
            direction_rad=world.direction_rad,
        )
        if (fix := self._satellite.hand_over(now_s)) is not None:
            frames.append(self._encode("fix", _fix_values(fix), fix.stamped_s))
        return frames

    def _encode(self, kind: str, values: dict[str, Value], at_s: float) -> bytes:
        clock_s = self._uptime_s + at_s * (1.0 + self._scenario.sensors.clock_error)
        return self._sender.encode(kind, values, round(clock_s * 1e6))

    def _motion(self, world: World) -> dict[str, Value]:
        x_g, y_g, z_g = world.samples_g
        reading = world.inertial.read(
            yaw_rate_dps=degrees(world.yaw_rate_radps), x_g=x_g, y_g=y_g, z_g=z_g
        )
        command = world.receiver.command
        wheel_mps = world.drive.wheel_speed_mps
        if wheel_mps > 0.0:
            wheel_mps += self._scenario.sensors.wheel_noise_mps * next(self._noise)
        return {
            "speed_mps": wheel_mps,
            "yaw_rate_dps": reading.yaw_rate_dps,
            "accel_x_g": reading.accel_x_g,
            "accel_y_g": reading.accel_y_g,
            "accel_z_g": reading.accel_z_g,
            "accel_z_max_g": reading.accel_z_max_g,
            "accel_z_min_g": reading.accel_z_min_g,
            "clipped_samples": reading.clipped_samples,
            "steering_percent": command.steering_percent,
            "correction_percent": world.yaw.correction_percent,
            "throttle_percent": 100.0 * command.throttle,
            "failsafe_active": world.receiver.failsafe,
            "stabiliser_on": self._scenario.car.stabiliser.gain_percent_per_dps > 0.0,
            "brake_on": command.throttle < 0.0,
            "sensor_clipped": reading.clipped_samples > 0,
        }

    def _radio(self, world: World, now_s: float) -> dict[str, Value]:
        report = world.receiver.report(now_s)
        return {
            "control_rssi_dbm": report.rssi_dbm,
            "control_snr_db": report.snr_db,
            "control_received_percent": report.received_percent,
            "antenna": 0,
            "failsafe_count": world.receiver.failsafe_count,
        }

    def _power(self, world: World) -> dict[str, Value]:
        drive = world.drive
        return {
            "pack_voltage_v": drive.pack_voltage_v + 0.01 * next(self._noise),
            "pack_current_a": drive.pack_current_a + 0.3 * next(self._noise),
            "controller_temperature_c": drive.controller_c + 0.1 * next(self._noise),
        }

    def _ident(self) -> dict[str, Value]:
        inertial, channel = self._scenario.sensors.inertial, self._scenario.channel
        return {
            "vehicle_name": self._scenario.car.name,
            "firmware": "simulated",
            "wire_version": self._sender.table.wire_version,
            "accel_full_scale_g": inertial.accel_full_scale_g,
            "gyro_full_scale_dps": round(inertial.gyro_full_scale_dps),
            "control_sensitivity_dbm": self._scenario.receiver.sensitivity_dbm,
            "control_transmit_power_dbm": channel.transmit_power_dbm,
            "boot_count": self._boots,
        }


def _fix_values(fix: Fix) -> dict[str, Value]:
    return {
        "latitude_deg": fix.latitude_deg,
        "longitude_deg": fix.longitude_deg,
        "ground_speed_mps": fix.ground_speed_mps,
        "course_deg": fix.course_deg,
        "speed_accuracy_mps": fix.speed_accuracy_mps,
        "horizontal_accuracy_m": fix.horizontal_accuracy_m,
        "satellites": fix.satellites,
        "fix_type": 3,
    }
