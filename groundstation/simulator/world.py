"""The simulated run itself, sensors and wire apart: driver, link, car and road, 10 ms at a time.

Owns the order in which they act on each other. The driver decides on what was seen; packets carry
the command to the car, or do not; drive and yaw move it (the yaw in steps of 1 ms); the
road shakes it; and where the tyres cannot hold it any more, it rolls. In hands it goes where they
take it.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import atan2, cos, degrees, hypot, pi, radians, sin, tan

from groundstation.simulator.carrying import carried_samples_g, sway_radps
from groundstation.simulator.channel import ControlChannel
from groundstation.simulator.control_receiver import ControlReceiver
from groundstation.simulator.damping import TABLE_STEP_MPS, mode_table
from groundstation.simulator.drive import Drive
from groundstation.simulator.driver import Driver
from groundstation.simulator.hands import STEP_S, Hands
from groundstation.simulator.inertial import ONE_DPS, InertialSensors
from groundstation.simulator.noise import Stream, generator, normal_rows
from groundstation.simulator.road import Road
from groundstation.simulator.scenario import Scenario
from groundstation.simulator.steering import Seen
from groundstation.simulator.truth import Truth
from groundstation.simulator.tumble import Tumble
from groundstation.simulator.yaw import (
    CRAWL_MPS,
    NOISE_PER_FRAME,
    STEPS_PER_FRAME,
    YawMotion,
)
from groundstation.units import STANDARD_GRAVITY_MPS2

FRAME_S = STEP_S

OFF_DBM = -200.0
"""Power at the car while the transmitter is off: no packet arrives."""


class World:
    """A run in progress."""

    def __init__(self, scenario: Scenario, *, seed: int) -> None:
        car, course = scenario.car, scenario.course
        self.scenario = scenario
        self.inertial = InertialSensors(scenario.sensors.inertial, seed=seed)
        self.drive = Drive(car.drive, car.pack)
        self.yaw = YawMotion(
            car.yaw,
            car.stabiliser,
            mass_kg=car.drive.mass_kg,
            gyro_bias_radps=self.inertial.gyro_bias_dps * ONE_DPS,
            gyro_noise_radps=scenario.sensors.inertial.gyro_noise_dps * ONE_DPS,
        )
        self.driver = Driver(
            scenario.plan,
            yaw=car.yaw,
            stabiliser=car.stabiliser,
            mass_kg=car.drive.mass_kg,
            seed=seed,
        )
        self.channel = ControlChannel(
            scenario.channel,
            driver_along_m=course.driver_along_m,
            driver_across_m=course.driver_across_m,
            seed=seed,
        )
        self.receiver = ControlReceiver(scenario.receiver, seed=seed)
        wheelbase_m = car.yaw.front_m + car.yaw.rear_m
        self.road = Road(course.road, seed=seed, wheelbase_m=wheelbase_m)
        self.tumble: Tumble | None = None
        self.frame = 0
        """Frames done."""
        self.along_m = self.across_m = self.heading_rad = 0.0
        self.travelled_m = 0.0
        self.speed_mps = 0.0
        """Over ground."""
        self.direction_rad = 0.0
        """Of the motion."""
        self.yaw_rate_radps = 0.0
        self.samples_g: tuple[list[float], list[float], list[float]] = ([0.0], [0.0], [1.0])
        """Specific force since the frame before, x, y and z."""
        self.local_mean_dbm = 0.0
        self.power_dbm = 0.0
        self._seed = seed
        self._packets = 0
        self._yaw_noise: Iterator[list[float]] = normal_rows(
            generator(seed, Stream.GYRO), NOISE_PER_FRAME
        )
        self._lift_noise: Iterator[list[float]] = normal_rows(
            generator(seed, Stream.ROUGHNESS), STEPS_PER_FRAME
        )
        self._slip_limit = tan(radians(car.tumble.slip_angle_deg))
        _, self._ratios, self._frequencies_hz = mode_table(
            car.yaw, car.stabiliser, car.drive.mass_kg
        )

    @property
    def t_s(self) -> float:
        """Time since the start."""
        return self.frame * FRAME_S

    @property
    def silent(self) -> bool:
        """Whether the car's telemetry is dead, after a crash."""
        after_s = self.scenario.car.tumble.silent_after_s
        if self.tumble is None or after_s is None:
            return False
        return self.t_s - self.tumble.start_s >= after_s

    def advance(self) -> None:
        """Go on by one frame of 10 ms."""
        start_s = self.frame * FRAME_S
        distance_m = self.channel.distance_m(self.along_m, self.across_m)
        command = self.driver.decide(
            Seen(
                start_s,
                self.along_m,
                self.across_m,
                self.heading_rad,
                self.speed_mps,
                distance_m,
                self.receiver.failsafe,
                self.tumble is not None,
            )
        )
        self.local_mean_dbm = self.channel.local_mean_dbm(
            self.along_m, self.across_m, self.heading_rad
        )
        interval_s = self.scenario.receiver.packet_interval_s
        hand_mps = self.scenario.channel.hand_motion_mps
        while (due_s := self._packets * interval_s) < start_s + FRAME_S:
            travelled_m = self.travelled_m + self.speed_mps * (due_s - start_s) + hand_mps * due_s
            self.power_dbm = self.local_mean_dbm + self.channel.fading.fade_db(travelled_m)
            if not self.driver.transmitter_on:
                self.power_dbm = OFF_DBM
            self.receiver.packet_due(due_s, self.power_dbm, command)
            self._packets += 1
        if self.tumble is not None:
            self._roll_over(self.tumble, start_s)
        elif self.driver.hands is not None:
            self._be_held(self.driver.hands, start_s)
        else:
            self._roll_along(start_s)
        self.frame += 1

    def truth(self) -> Truth:
        """Return the state of this moment."""
        ratio, frequency_hz = self._mode()
        sensitivity_dbm = self.scenario.receiver.sensitivity_dbm
        return Truth(
            t_s=self.t_s,
            position_m=self.along_m,
            across_m=self.across_m,
            heading_deg=degrees(self.heading_rad),
            speed_mps=self.speed_mps,
            accel_x_mps2=sum(self.samples_g[0]) / len(self.samples_g[0]) * STANDARD_GRAVITY_MPS2,
            yaw_rate_dps=degrees(self.yaw_rate_radps),
            damping_ratio=ratio,
            mode_frequency_hz=frequency_hz,
            distance_m=self.channel.distance_m(self.along_m, self.across_m),
            local_mean_margin_db=self.local_mean_dbm - sensitivity_dbm,
            margin_db=self.power_dbm - sensitivity_dbm,
            failsafe=self.receiver.failsafe,
            throttle_percent=100.0 * self.receiver.command.throttle,
            pack_voltage_v=self.drive.pack_voltage_v,
            crashed=self.tumble is not None,
            doing=self.driver.doing.value,
        )

    def _mode(self) -> tuple[float, float]:
        if self.speed_mps < CRAWL_MPS or self.tumble is not None:
            return 1.0, 0.0
        place = (self.speed_mps - CRAWL_MPS) / TABLE_STEP_MPS
        cell = min(int(place), len(self._ratios) - 2)
        share = min(place - cell, 1.0)
        values = (self._ratios, self._frequencies_hz)
        ratio, frequency_hz = (
            float(each[cell] + share * (each[cell + 1] - each[cell])) for each in values
        )
        return ratio, frequency_hz

    def _roll_along(self, start_s: float) -> None:
        drive, yaw, command = self.drive, self.yaw, self.receiver.command
        before_mps = drive.speed_mps
        drive.advance(command.throttle, FRAME_S, yaw.turning_mps2)
        speed_mps = 0.5 * (before_mps + drive.speed_mps)
        yaw_before = yaw.yaw_rate_radps
        yaw.advance(
            speed_mps=speed_mps,
            command_percent=command.steering_percent,
            noise=next(self._yaw_noise),
        )
        turned_rad = 0.5 * (yaw_before + yaw.yaw_rate_radps) * FRAME_S
        facing_rad = self.heading_rad + 0.5 * turned_rad
        self.heading_rad += turned_rad
        cosine, sine = cos(facing_rad), sin(facing_rad)
        side_mps = yaw.side_speed_mps
        from_m = self.along_m
        self.along_m += (speed_mps * cosine - side_mps * sine) * FRAME_S
        self.across_m += (speed_mps * sine + side_mps * cosine) * FRAME_S
        self.travelled_m += hypot(speed_mps, side_mps) * FRAME_S
        self.speed_mps = hypot(drive.speed_mps, side_mps)
        self.direction_rad = self.heading_rad + atan2(side_mps, max(drive.speed_mps, 1e-6))
        yaw.kick(
            self.road.pass_over(
                from_m=from_m, to_m=self.along_m, t_s=start_s, speed_mps=self.speed_mps
            )
        )
        self.yaw_rate_radps = yaw.yaw_rate_radps
        self._shake(start_s, speed_mps)
        swung_round = abs(side_mps) > self._slip_limit * drive.speed_mps
        off_course = abs(self.across_m) > self.scenario.course.half_width_m
        if (swung_round or off_course) and (
            self.speed_mps > self.scenario.car.tumble.least_speed_mps
        ):
            self.tumble = Tumble(
                self.scenario.car.tumble, seed=self._seed, start_s=start_s + FRAME_S
            )

    def _be_held(self, hands: Hands, start_s: float) -> None:
        self.speed_mps = abs(hands.along_mps)
        self.direction_rad = 0.0 if hands.along_mps >= 0.0 else pi
        self.along_m += hands.along_mps * FRAME_S
        self.travelled_m += self.speed_mps * FRAME_S
        self.yaw_rate_radps = hands.yaw_rate_radps + sway_radps(start_s, self.speed_mps)
        self.heading_rad += hands.yaw_rate_radps * FRAME_S
        self.drive.spin_freely(self.receiver.command.throttle, FRAME_S)
        self.yaw.be_turned(self.yaw_rate_radps)
        noise = next(self._lift_noise)
        self.samples_g = carried_samples_g(
            start_s,
            pace_mps=self.speed_mps,
            step_s=FRAME_S / STEPS_PER_FRAME,
            noise_g=[self.scenario.sensors.inertial.accel_noise_g * each for each in noise],
        )

    def _shake(self, start_s: float, speed_mps: float) -> None:
        noise_g = hypot(
            self.scenario.course.road.roughness_g_per_mps * speed_mps,
            self.scenario.sensors.inertial.accel_noise_g,
        )
        z_g = [1.0 + noise_g * each for each in next(self._lift_noise)]
        if self.road.shocks:
            step_s = FRAME_S / STEPS_PER_FRAME
            z_g = [
                each + self.road.lift_g(start_s + (index + 1) * step_s)
                for index, each in enumerate(z_g)
            ]
        self.samples_g = (
            [self.drive.force_mps2 / STANDARD_GRAVITY_MPS2],
            [self.yaw.side_force_mps2 / STANDARD_GRAVITY_MPS2],
            z_g,
        )

    def _roll_over(self, tumble: Tumble, start_s: float) -> None:
        before_mps = self.speed_mps
        self.speed_mps, (x_g, y_g, z_g) = tumble.advance(
            t_s=start_s, speed_mps=before_mps, step_s=FRAME_S, count=STEPS_PER_FRAME
        )
        moved_m = 0.5 * (before_mps + self.speed_mps) * FRAME_S
        self.along_m += moved_m * cos(self.direction_rad)
        self.across_m += moved_m * sin(self.direction_rad)
        self.travelled_m += moved_m
        self.yaw_rate_radps = tumble.yaw_rate_radps
        self.heading_rad += tumble.yaw_rate_radps * FRAME_S
        # The wheels are in the air and run down.
        self.drive.wheel_speed_mps *= 0.985
        self.drive.load_pack(0.0, FRAME_S)
        self.samples_g = (x_g, y_g, z_g)
