"""What is left to simulate once the car has let go of the road: it rolls, hits, and lies still.

Owns the motion after a spin that the tyres cannot hold: the speed falls as a sliding body's does,
blows come at random in all directions, the yaw rate is large and dies with the speed.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import exp, log, pi, sin, sqrt

from groundstation.simulator.noise import Stream, generator, normals, uniforms
from groundstation.units import STANDARD_GRAVITY_MPS2

BLOWS_PER_M = 0.55
"""Hits along the ground while it rolls."""


@dataclass(frozen=True, slots=True)
class TumbleParameters:
    """When a car rolls, and how."""

    slip_angle_deg: float = 35.0
    """Between where it points and where it goes: beyond it the wheels dig in."""
    least_speed_mps: float = 10.0
    """Slower than this it only spins."""
    friction: float = 0.75
    blow_g: float = 14.0
    """Mean height of a blow above 4 g."""
    spin_radps: float = 9.0
    """Yaw rate at the roll's start, one sigma."""
    silent_after_s: float | None = 0.9
    """When the telemetry aerial or the pack comes off; None for never."""


@dataclass(slots=True)
class _Blow:
    start_s: float
    duration_s: float
    peak_g: tuple[float, float, float]


class Tumble:
    """A rolling car."""

    def __init__(self, parameters: TumbleParameters, *, seed: int, start_s: float) -> None:
        self.parameters = parameters
        self.start_s = start_s
        self.yaw_rate_radps = 0.0
        source = generator(seed, Stream.TUMBLE)
        self._normals: Iterator[float] = normals(source)
        self._uniforms: Iterator[float] = uniforms(source)
        self._blows: list[_Blow] = []
        self._spin = next(self._normals)

    def advance(
        self, *, t_s: float, speed_mps: float, step_s: float, count: int
    ) -> tuple[float, list[list[float]]]:
        """Return the speed after a step, and `count` samples in g for each of x, y and z."""
        slower_mps2 = self.parameters.friction * STANDARD_GRAVITY_MPS2
        after_mps = max(speed_mps - slower_mps2 * step_s, 0.0)
        keep = exp(-step_s / 0.08)
        self._spin = keep * self._spin + sqrt(1.0 - keep * keep) * next(self._normals)
        self.yaw_rate_radps = self.parameters.spin_radps * self._spin * min(speed_mps / 15.0, 1.0)
        if next(self._uniforms) < BLOWS_PER_M * speed_mps * step_s:
            self._blows.append(self._blow(t_s))
        self._blows = [blow for blow in self._blows if blow.start_s + blow.duration_s > t_s]
        axes: list[list[float]] = [[], [], []]
        shake_g = 0.05 * speed_mps
        for index in range(count):
            now_s = t_s + step_s * index / count
            for axis, samples in enumerate(axes):
                value_g = shake_g * next(self._normals)
                for blow in self._blows:
                    share = (now_s - blow.start_s) / blow.duration_s
                    if 0.0 <= share < 1.0:
                        value_g += blow.peak_g[axis] * sin(pi * share)
                samples.append(value_g)
        if after_mps == 0.0:
            # It ends on its roof.
            axes = [[0.0] * count, [0.0] * count, [-1.0] * count]
        return after_mps, axes

    def _blow(self, t_s: float) -> _Blow:
        direction = [next(self._normals) for _ in range(3)]
        length = sqrt(sum(part * part for part in direction)) or 1.0
        height_g = 4.0 + self.parameters.blow_g * -log(1.0 - next(self._uniforms))
        duration_s = 0.004 + 0.006 * next(self._uniforms)
        x_g, y_g, z_g = (height_g * part / length for part in direction)
        return _Blow(t_s, duration_s, (x_g, y_g, z_g))
