"""What moves the car along: motor, pack, drag, rolling resistance, brake.

Owns speed and the electrics. The motor is a direct-current machine behind a controller that chops
the pack's voltage; its force is bounded by current, by power and by the tyres' grip. Drag grows
with the square of the speed. The pack sags by its resistance and sinks with the charge used.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf, sqrt

from groundstation.units import STANDARD_GRAVITY_MPS2

AIR_DENSITY_KG_M3 = 1.225
"""International Standard Atmosphere at sea level (ISO 2533; from memory)."""

IDLE_CURRENT_A = 0.4
"""Receiver, servo and fan: the pack is never without load."""

_SPIN_UP_S = 0.4
_STILL_MPS = 0.01
_IDLE_POWER_W = 60.0
"""Wheels in the air: how fast they spin up, and what full throttle takes."""

_FULL_CELL_V = 4.18
_FLAT_CELL_V = 3.60
"""Where the cell's straight middle part meets empty; the fall beyond is not modelled."""


@dataclass(frozen=True, slots=True)
class DriveParameters:
    """The longitudinal side of a car."""

    mass_kg: float = 5.0
    drag_area_m2: float = 0.0110
    """Drag coefficient times frontal area."""
    rolling_coefficient: float = 0.02
    grip: float = 0.85
    """Largest tyre force along over weight; all wheels are driven and braked."""
    slip_at_grip: float = 0.06
    """Wheel slip at the largest tyre force; in proportion below it."""
    motor_volt_per_mps: float = 0.47
    """Back-EMF per speed of the car; by energy, also newton per ampere."""
    motor_resistance_ohm: float = 0.055
    current_limit_a: float = 95.0
    power_limit_w: float = 1900.0
    """Mechanical."""
    brake_limit_mps2: float = 8.0
    """Deceleration of a full brake command, drag not counted; the grip bounds it too."""


@dataclass(frozen=True, slots=True)
class PackParameters:
    """Pack and speed controller."""

    cells: int = 8
    capacity_ah: float = 5.0
    resistance_ohm: float = 0.024
    charge_used: float = 0.04
    """Share of the capacity already used at the start, 0 to 1."""
    controller_resistance_ohm: float = 0.004
    controller_heat_j_per_k: float = 45.0
    controller_cooling_k_per_w: float = 1.6
    ambient_c: float = 22.0
    cell_empty_at: float | None = None
    """Share of the capacity used at which one weak cell drops to nothing; None: all are good."""


class Drive:
    """Speed along the car's own axis, and the electrics, advanced step by step."""

    def __init__(self, parameters: DriveParameters, pack: PackParameters) -> None:
        self.parameters = parameters
        self.pack = pack
        self.speed_mps = 0.0
        self.force_mps2 = 0.0
        """Specific force along the axis over the last step: what an accelerometer feels."""
        self.wheel_speed_mps = 0.0
        self.motor_current_a = 0.0
        self.pack_current_a = IDLE_CURRENT_A
        self.charge_used = pack.charge_used
        self.controller_c = pack.ambient_c
        self.pack_voltage_v = self._open_circuit_v() - IDLE_CURRENT_A * pack.resistance_ohm

    def advance(self, throttle: float, step_s: float, turning_mps2: float = 0.0) -> float:
        """Move on by one step and return the change of speed per second.

        Args:
            throttle: -1 (full brake) to 1 (full throttle).
            step_s: Length of the step.
            turning_mps2: Yaw rate times side speed, what turning adds to the speed along the axis.
        """
        given = self.parameters
        speed_mps = self.speed_mps
        pull_n, power_w = self._pull(throttle)
        brake_n = self._brake(throttle)
        net_mps2 = (pull_n - brake_n - self.resistance_n(speed_mps)) / given.mass_kg
        change_mps2 = net_mps2 + turning_mps2
        if speed_mps + change_mps2 * step_s <= 0.0 and change_mps2 <= 0.0:
            # Brake and rolling resistance stop the car, they do not push it back.
            change_mps2 = net_mps2 = -speed_mps / step_s
        self.speed_mps = max(speed_mps + change_mps2 * step_s, 0.0)
        self.force_mps2 = net_mps2
        slip = given.slip_at_grip * (pull_n - brake_n) / self._grip_n
        self.wheel_speed_mps = max(self.speed_mps * (1.0 + slip), 0.0)
        self.load_pack(power_w, step_s)
        return change_mps2

    def spin_freely(self, throttle: float, step_s: float) -> None:
        """Turn the wheels of a car that is held up: they run up to the motor's idle speed."""
        given, push = self.parameters, max(throttle, 0.0)
        idle_mps = push * self.pack_voltage_v / given.motor_volt_per_mps
        share = min(step_s / _SPIN_UP_S, 1.0)
        self.wheel_speed_mps += share * (idle_mps - self.wheel_speed_mps)
        if self.wheel_speed_mps < _STILL_MPS:
            self.wheel_speed_mps = 0.0
        self.speed_mps = self.force_mps2 = self.motor_current_a = 0.0
        self.load_pack(_IDLE_POWER_W * push, step_s)

    def resistance_n(self, speed_mps: float) -> float:
        """Return drag and rolling resistance."""
        given = self.parameters
        if speed_mps <= 0.0:
            return 0.0
        rolling_n = given.rolling_coefficient * given.mass_kg * STANDARD_GRAVITY_MPS2
        return 0.5 * AIR_DENSITY_KG_M3 * given.drag_area_m2 * speed_mps * speed_mps + rolling_n

    @property
    def _grip_n(self) -> float:
        given = self.parameters
        return given.grip * given.mass_kg * STANDARD_GRAVITY_MPS2

    def _pull(self, throttle: float) -> tuple[float, float]:
        """Return the motor's force and the electrical power it takes; keeps the motor current."""
        self.motor_current_a = 0.0
        if throttle <= 0.0:
            return 0.0, 0.0
        given = self.parameters
        back_emf_v = given.motor_volt_per_mps * self.speed_mps
        current_a = (throttle * self.pack_voltage_v - back_emf_v) / given.motor_resistance_ohm
        current_a = min(max(current_a, 0.0), given.current_limit_a)
        power_bound_n = given.power_limit_w / self.speed_mps if self.speed_mps > 0.0 else inf
        pull_n = min(given.motor_volt_per_mps * current_a, power_bound_n, self._grip_n)
        current_a = pull_n / given.motor_volt_per_mps
        self.motor_current_a = current_a
        return pull_n, (back_emf_v + current_a * given.motor_resistance_ohm) * current_a

    def _brake(self, throttle: float) -> float:
        if throttle >= 0.0:
            return 0.0
        given = self.parameters
        return min(-throttle * given.brake_limit_mps2 * given.mass_kg, self._grip_n)

    def load_pack(self, power_w: float, step_s: float) -> None:
        """Take a power from the pack for a step, and warm the controller."""
        pack = self.pack
        open_v = self._open_circuit_v()
        # V = open_v - R I and V I = P: the smaller root is the one a pack settles at.
        root_v = sqrt(max(open_v * open_v - 4.0 * pack.resistance_ohm * power_w, 0.0))
        current_a = (open_v - root_v) / (2.0 * pack.resistance_ohm) + IDLE_CURRENT_A
        self.pack_current_a = current_a
        self.pack_voltage_v = open_v - current_a * pack.resistance_ohm
        self.charge_used += current_a * step_s / (3600.0 * pack.capacity_ah)
        lost_w = pack.controller_resistance_ohm * self.motor_current_a * self.motor_current_a
        cooled_w = (self.controller_c - pack.ambient_c) / pack.controller_cooling_k_per_w
        self.controller_c += (lost_w - cooled_w) * step_s / pack.controller_heat_j_per_k

    def _open_circuit_v(self) -> float:
        cell_v = _FULL_CELL_V - (_FULL_CELL_V - _FLAT_CELL_V) * min(self.charge_used, 1.0)
        empty_at = self.pack.cell_empty_at
        good = self.pack.cells - (empty_at is not None and self.charge_used >= empty_at)
        return good * cell_v
