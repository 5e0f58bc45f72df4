"""How the car turns and sways: a bicycle model with saturating tyres, a servo, a stabiliser.

Owns yaw rate, side speed, steering angle and the stabiliser's correction, in steps of 1 ms. The
damping of the yaw mode falls with speed, as the tyres' slip angles do; the stabiliser steers
against the yaw rate it measured a little earlier, so that with too much gain it feeds the
oscillation it is there to damp. Signs: ISO 8855, left is positive.

Bicycle model: Riekert and Schunck, "Zur Fahrmechanik des gummibereiften Kraftfahrzeugs",
Ingenieur-Archiv 11, 1940 (from memory; in every textbook of vehicle dynamics).
"""

from __future__ import annotations

from dataclasses import dataclass
from math import degrees, exp, radians, sqrt, tanh

from groundstation.units import STANDARD_GRAVITY_MPS2

STEP_S = 0.001
STEPS_PER_FRAME = 10
"""Inner steps per outer step of the simulation."""

NOISE_PER_FRAME = 3 * STEPS_PER_FRAME
"""Normal deviates taken a frame: gyro, yaw disturbance, side disturbance."""

CRAWL_MPS = 2.0
"""Below it the tyres roll without slip angle: the model's divisions by speed mean nothing there."""


@dataclass(frozen=True, slots=True)
class YawParameters:
    """The lateral side of a car."""

    front_m: float = 0.145
    """Centre of mass to front axle; ballast moves it."""
    rear_m: float = 0.185
    inertia_kg_m2: float = 0.11
    front_stiffness_n_per_rad: float = 350.0
    """Both tyres of the axle."""
    rear_stiffness_n_per_rad: float = 350.0
    grip: float = 1.0
    """Largest side force of an axle over its load."""
    steering_lock_deg: float = 12.0
    """Wheel angle at 100 %."""
    servo_lag_s: float = 0.03
    servo_rate_percent_per_s: float = 1200.0
    road_yaw_per_mps: float = 0.07
    """Yaw acceleration from an uneven road, rad/s^2 one sigma, per speed."""
    road_side_per_mps: float = 0.02
    """Side acceleration from an uneven road, m/s^2 one sigma, per speed."""
    road_length_m: float = 0.8
    """Over which the road's push on the car keeps its sign."""


@dataclass(frozen=True, slots=True)
class StabiliserParameters:
    """The gyro that steers against yaw rate."""

    gain_percent_per_dps: float = 0.13
    schedule: tuple[tuple[float, float], ...] = ((0.0, 1.0),)
    """(speed, factor on the gain), speeds ascending, straight lines between."""
    delay_s: float = 0.04
    """Gyro filter, computing and servo pulses."""
    authority_percent: float = 30.0
    """Largest correction."""

    def gain_at(self, speed_mps: float) -> float:
        """Return the gain at a speed, percent per deg/s."""
        below_mps, below = self.schedule[0]
        if speed_mps <= below_mps:
            return self.gain_percent_per_dps * below
        for above_mps, above in self.schedule[1:]:
            if speed_mps < above_mps:
                share = (speed_mps - below_mps) / (above_mps - below_mps)
                return self.gain_percent_per_dps * (below + share * (above - below))
            below_mps, below = above_mps, above
        return self.gain_percent_per_dps * below


class YawMotion:
    """Side speed and yaw rate, advanced a frame of ten steps at a time."""

    def __init__(
        self,
        parameters: YawParameters,
        stabiliser: StabiliserParameters,
        *,
        mass_kg: float,
        gyro_bias_radps: float,
        gyro_noise_radps: float,
    ) -> None:
        self.parameters = parameters
        self.stabiliser = stabiliser
        self.yaw_rate_radps = 0.0
        self.side_speed_mps = 0.0
        self.correction_percent = 0.0
        self.side_force_mps2 = 0.0
        """Specific force to the left, mean over the frame."""
        self.turning_mps2 = 0.0
        """Yaw rate times side speed, mean over the frame."""
        self._mass_kg = mass_kg
        self._bias_radps = gyro_bias_radps
        self._noise_radps = gyro_noise_radps
        self._wheelbase_m = parameters.front_m + parameters.rear_m
        self._lock_rad = radians(parameters.steering_lock_deg)
        self._wheel_rad = 0.0
        self._road_yaw = 0.0
        self._road_side = 0.0
        steps = max(round(stabiliser.delay_s / STEP_S), 1)
        self._heard_radps = [0.0] * steps
        """The gyro's last readings, a ring as long as the delay."""
        self._place = 0

    def kick(self, yaw_rate_radps: float) -> None:
        """Change the yaw rate at once, as a joint hit on one side does."""
        self.yaw_rate_radps += yaw_rate_radps

    def be_turned(self, yaw_rate_radps: float) -> None:
        """Take a yaw rate that hands give the car; the stabiliser steers against it as ever."""
        self.yaw_rate_radps, self.side_speed_mps = yaw_rate_radps, 0.0
        self.side_force_mps2 = self.turning_mps2 = 0.0
        authority = self.stabiliser.authority_percent
        against = -self.stabiliser.gain_at(0.0) * degrees(yaw_rate_radps)
        self.correction_percent = min(max(against, -authority), authority)

    def advance(self, *, speed_mps: float, command_percent: float, noise: list[float]) -> None:
        """Move on by one frame.

        Args:
            speed_mps: Along the car's axis, held over the frame.
            command_percent: The driver's steering.
            noise: `NOISE_PER_FRAME` normal deviates.
        """
        gain = self.stabiliser.gain_at(speed_mps) * 57.29577951308232
        crawling = speed_mps < CRAWL_MPS
        given = self.parameters
        wheelbase_m, front_m, rear_m = self._wheelbase_m, given.front_m, given.rear_m
        lock_rad = self._lock_rad
        authority = self.stabiliser.authority_percent
        servo_share = STEP_S / given.servo_lag_s
        servo_most_rad = given.servo_rate_percent_per_s * STEP_S * lock_rad / 100.0
        rad_per_percent = lock_rad / 100.0
        weight_n = self._mass_kg * STANDARD_GRAVITY_MPS2
        front_most_n = given.grip * weight_n * rear_m / wheelbase_m
        rear_most_n = given.grip * weight_n * front_m / wheelbase_m
        front_slope = given.front_stiffness_n_per_rad / front_most_n
        rear_slope = given.rear_stiffness_n_per_rad / rear_most_n
        per_speed = 1.0 / max(speed_mps, CRAWL_MPS)
        step_per_mass = STEP_S / self._mass_kg
        step_per_inertia = STEP_S / given.inertia_kg_m2
        keep = exp(-speed_mps * STEP_S / given.road_length_m)
        fresh = sqrt(1.0 - keep * keep) * speed_mps * STEP_S
        yaw_fresh, side_fresh = fresh * given.road_yaw_per_mps, fresh * given.road_side_per_mps

        heard, place, count = self._heard_radps, self._place, len(self._heard_radps)
        bias_radps, noise_radps = self._bias_radps, self._noise_radps
        yaw_rate, side, wheel_rad = self.yaw_rate_radps, self.side_speed_mps, self._wheel_rad
        road_yaw, road_side = self._road_yaw, self._road_side
        correction = self.correction_percent
        force_sum = turning_sum = 0.0
        for index in range(STEPS_PER_FRAME):
            correction = -gain * heard[place]
            if correction > authority:
                correction = authority
            elif correction < -authority:
                correction = -authority
            heard[place] = yaw_rate + bias_radps + noise_radps * noise[index]
            place += 1
            if place == count:
                place = 0
            target_rad = (command_percent + correction) * rad_per_percent
            if target_rad > lock_rad:
                target_rad = lock_rad
            elif target_rad < -lock_rad:
                target_rad = -lock_rad
            move_rad = (target_rad - wheel_rad) * servo_share
            if move_rad > servo_most_rad:
                move_rad = servo_most_rad
            elif move_rad < -servo_most_rad:
                move_rad = -servo_most_rad
            wheel_rad += move_rad
            if crawling:
                yaw_rate = speed_mps * wheel_rad / wheelbase_m
                side = rear_m * yaw_rate
                force_sum += speed_mps * yaw_rate
                continue
            road_yaw = keep * road_yaw + yaw_fresh * noise[index + STEPS_PER_FRAME]
            road_side = keep * road_side + side_fresh * noise[index + 2 * STEPS_PER_FRAME]
            front_n = front_most_n * tanh(
                front_slope * (wheel_rad - (side + front_m * yaw_rate) * per_speed)
            )
            rear_n = rear_most_n * tanh(rear_slope * (rear_m * yaw_rate - side) * per_speed)
            change = (front_n + rear_n) * step_per_mass + road_side
            force_sum += change
            side += change - speed_mps * yaw_rate * STEP_S
            yaw_rate += (front_m * front_n - rear_m * rear_n) * step_per_inertia + road_yaw
            turning_sum += side * yaw_rate
        self._place = place
        self.yaw_rate_radps, self.side_speed_mps, self._wheel_rad = yaw_rate, side, wheel_rad
        self._road_yaw, self._road_side = road_yaw, road_side
        self.correction_percent = correction
        if crawling:
            self.side_force_mps2 = force_sum / STEPS_PER_FRAME
        else:
            self.side_force_mps2 = force_sum / (STEPS_PER_FRAME * STEP_S)
        self.turning_mps2 = turning_sum / STEPS_PER_FRAME
