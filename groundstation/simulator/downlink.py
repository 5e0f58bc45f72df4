"""The telemetry link: frames get lost one by one and in short bursts, and arrive late.

Owns what stands between the car's antenna and the laptop's port. A frame that arrives does so
whole and in order: a radio modem delivers a stream. Its delay is a least one plus an exponential
tail.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

from groundstation.simulator.noise import Stream, generator, uniforms


@dataclass(frozen=True, slots=True)
class TelemetryParameters:
    """A telemetry link."""

    loss: float = 0.004
    """Share of frames lost singly."""
    bursts_per_s: float = 0.03
    burst_mean_s: float = 0.05
    delay_s: float = 0.012
    """Never less."""
    delay_tail_s: float = 0.003
    """Mean of what comes on top."""


class Downlink:
    """Carries frames, or loses them."""

    def __init__(self, parameters: TelemetryParameters, *, seed: int) -> None:
        self.parameters = parameters
        self._chances: Iterator[float] = uniforms(generator(seed, Stream.TELEMETRY))
        self._burst_s = self._wait_for_burst(0.0)
        self._burst_ends_s = self._burst_s + self._exponential(parameters.burst_mean_s)
        self._last_arrival_s = 0.0

    def arrival_s(self, sent_s: float) -> float | None:
        """Return when a frame sent now arrives, never before an earlier one; None if it is lost."""
        given = self.parameters
        while sent_s >= self._burst_ends_s:
            self._burst_s = self._wait_for_burst(self._burst_ends_s)
            self._burst_ends_s = self._burst_s + self._exponential(given.burst_mean_s)
        lost = next(self._chances) < given.loss
        delay_s = given.delay_s + self._exponential(given.delay_tail_s)
        if lost or sent_s >= self._burst_s:
            return None
        self._last_arrival_s = max(self._last_arrival_s, sent_s + delay_s)
        return self._last_arrival_s

    def _exponential(self, mean: float) -> float:
        return -mean * log(1.0 - next(self._chances))

    def _wait_for_burst(self, from_s: float) -> float:
        if self.parameters.bursts_per_s <= 0.0:
            return float("inf")
        return from_s + self._exponential(1.0 / self.parameters.bursts_per_s)
