"""Passes, found by speed: nobody presses a key during a pass."""

from __future__ import annotations

from dataclasses import dataclass

SILENT_S = 5.0
"""A pass ends when nothing has been heard for this long: the car may lie anywhere."""


@dataclass(slots=True)
class Pass:
    """A pass that runs, or the last one."""

    number: int
    started_vehicle_s: float
    ended_vehicle_s: float
    peak_speed_mps: float
    lowest_margin_db: float | None = None
    accel_z_max_g: float | None = None
    clipped: bool = False


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
        self, speed_mps: float, vehicle_s: float, *, begin_mps: float, end_mps: float
    ) -> bool:
        """Take note of a speed; return whether a pass ended with it."""
        if not self.running:
            if speed_mps >= begin_mps:
                number = 1 + (self.newest.number if self.newest else 0)
                self.newest = Pass(number, vehicle_s, vehicle_s, speed_mps)
                self.running = True
            return False
        assert self.newest is not None
        self.newest.ended_vehicle_s = vehicle_s
        self.newest.peak_speed_mps = max(self.newest.peak_speed_mps, speed_mps)
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

    def take_margin(self, margin_db: float) -> None:
        """Take note of a margin."""
        if self.running and self.newest is not None:
            held = self.newest.lowest_margin_db
            self.newest.lowest_margin_db = margin_db if held is None else min(held, margin_db)

    def end_if_silent(self, silence_s: float) -> bool:
        """Return whether the pass that runs ends because nothing is heard any more."""
        if not self.running or silence_s < SILENT_S:
            return False
        self.running = False
        return True
