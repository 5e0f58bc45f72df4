"""The telemetry link's losses and delays."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.simulator.downlink import Downlink, TelemetryParameters


def arrivals(parameters: TelemetryParameters, *, frames: int, seed: int = 1) -> list[float | None]:
    link = Downlink(parameters, seed=seed)
    return [link.arrival_s(index / 100) for index in range(frames)]


def test_order_is_kept_and_nothing_comes_early() -> None:
    parameters = TelemetryParameters(delay_tail_s=0.03)
    heard = arrivals(parameters, frames=5000)
    late = [at_s for at_s in heard if at_s is not None]
    assert late == sorted(late)
    delays = np.array([at_s - index / 100 for index, at_s in enumerate(heard) if at_s is not None])
    assert delays.min() >= parameters.delay_s
    assert delays.min() < parameters.delay_s + 0.001


def test_single_losses_have_their_share() -> None:
    heard = arrivals(TelemetryParameters(loss=0.05, bursts_per_s=0.0), frames=20_000)
    assert sum(at_s is None for at_s in heard) / len(heard) == pytest.approx(0.05, abs=0.006)


def test_bursts_lose_neighbours() -> None:
    parameters = TelemetryParameters(loss=0.0, bursts_per_s=0.2, burst_mean_s=0.1)
    lost = np.array([at_s is None for at_s in arrivals(parameters, frames=40_000)])
    # A burst each 5.1 s, 0.1 s long.
    assert lost.mean() == pytest.approx(0.1 / 5.1, rel=0.3)
    assert lost[1:][lost[:-1]].mean() > 0.8


def test_a_perfect_link_loses_nothing() -> None:
    parameters = TelemetryParameters(loss=0.0, bursts_per_s=0.0, delay_tail_s=0.0)
    heard = arrivals(parameters, frames=100)
    assert heard == pytest.approx([index / 100 + parameters.delay_s for index in range(100)])
