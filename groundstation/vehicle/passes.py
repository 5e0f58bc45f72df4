"""Passes, found by speed: nobody presses a key during a pass."""

from __future__ import annotations

from dataclasses import dataclass

SILENT_S = 5.0
"""A pass ends when nothing has been heard for this long: the car may lie anywhere."""

SPUN_DPS = 200.0
"""A car that turned this fast did not brake on its wheels in a line."""

SLOWEST_LIFT_MPS = 5.0
"""A stop from less says nothing of the braking."""

IDLE_PERCENT = 0.5
"""Throttle up to which the car is not driven."""


@dataclass(slots=True)
class Pass:
    """A pass that runs, or the last one."""

    number: int
    started_vehicle_s: float
    ended_vehicle_s: float
    peak_speed_mps: float
    lowest_margin_db: float | None = None
    lowest_margin_at_m: float | None = None
    """Distance from the driver there, where it was known."""
    yaw_rate_abs_dps: float | None = None
    accel_z_max_g: float | None = None
    clipped: bool = False
    satellite_mps: tuple[float, ...] = ()
    """The newest three satellite speeds."""
    satellite_peak_mps: float | None = None
    """Highest median of three neighbours: a single spike is none."""
    speed_mps: float = 0.0
    """The newest."""
    lift_mps: float | None = None
    """Speed at the last lift; None while the car is driven."""
    lift_way_m: float = 0.0
    """Since then."""

    @property
    def braking_mps2(self) -> float | None:
        """Mean deceleration since the last lift; None where it tells nothing."""
        if self.lift_mps is None or self.lift_mps < SLOWEST_LIFT_MPS or self.lift_way_m <= 0.0:
            return None
        if (self.yaw_rate_abs_dps or 0.0) > SPUN_DPS:
            return None
        return (self.lift_mps**2 - self.speed_mps**2) / (2.0 * self.lift_way_m)


@dataclass(slots=True)
class Passes:
    """Watches speed for passes."""

    running: bool = False
    newest: Pass | None = None

    @property
    def completed(self) -> int:
        """Passes that are over."""
        if self.newest is None:
            return 0
        return self.newest.number - self.running

    def take_speed(
        self,
        speed_mps: float,
        vehicle_s: float,
        *,
        begin_mps: float,
        end_mps: float,
        driven: bool | None = None,
    ) -> bool:
        """Take note of a speed; return whether a pass ended with it.

        Args:
            speed_mps: The speed.
            vehicle_s: When.
            begin_mps: A pass begins at this speed.
            end_mps: It ends at this one.
            driven: Whether the throttle is open; None where nothing tells.
        """
        if not self.running:
            if speed_mps >= begin_mps:
                number = 1 + (self.newest.number if self.newest else 0)
                self.newest = Pass(number, vehicle_s, vehicle_s, speed_mps, speed_mps=speed_mps)
                self.running = True
            return False
        running = self.newest
        assert running is not None
        if driven is False and running.lift_mps is not None:
            step_s = vehicle_s - running.ended_vehicle_s
            running.lift_way_m += 0.5 * (running.speed_mps + speed_mps) * step_s
        else:
            running.lift_mps, running.lift_way_m = speed_mps if driven is False else None, 0.0
        running.speed_mps, running.ended_vehicle_s = speed_mps, vehicle_s
        running.peak_speed_mps = max(running.peak_speed_mps, speed_mps)
        if speed_mps > end_mps:
            return False
        self.running = False
        return True

    def take_shock(self, accel_z_max_g: float | None, *, clipped: bool) -> None:
        """Take note of a vertical peak."""
        if self.running and self.newest is not None:
            self.newest.clipped = self.newest.clipped or clipped
            held = self.newest.accel_z_max_g
            if accel_z_max_g is not None and (held is None or accel_z_max_g > held):
                self.newest.accel_z_max_g = accel_z_max_g

    def take_satellite_speed(self, speed_mps: float | None) -> None:
        """Take note of a satellite speed."""
        if self.running and self.newest is not None and speed_mps is not None:
            self.newest.satellite_mps = (*self.newest.satellite_mps[-2:], speed_mps)
            if len(self.newest.satellite_mps) == 3:
                middle_mps = sorted(self.newest.satellite_mps)[1]
                held_mps = self.newest.satellite_peak_mps or 0.0
                self.newest.satellite_peak_mps = max(held_mps, middle_mps)

    def take_yaw_rate(self, yaw_rate_dps: float | None) -> None:
        """Take note of a yaw rate."""
        if self.running and self.newest is not None and yaw_rate_dps is not None:
            held_dps = self.newest.yaw_rate_abs_dps or 0.0
            self.newest.yaw_rate_abs_dps = max(held_dps, abs(yaw_rate_dps))

    def take_margin(self, margin_db: float, distance_m: float | None = None) -> None:
        """Take note of a margin, and of how far from the driver it was."""
        if self.running and self.newest is not None:
            held = self.newest.lowest_margin_db
            if held is None or margin_db < held:
                self.newest.lowest_margin_db = margin_db
                self.newest.lowest_margin_at_m = distance_m

    def end_if_silent(self, silence_s: float) -> bool:
        """Return whether the pass that runs ends because nothing is heard any more."""
        if not self.running or silence_s < SILENT_S:
            return False
        self.running = False
        return True
