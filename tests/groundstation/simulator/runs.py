"""Simulated runs by scenario and seed, each made once: what really happened, and what was heard."""

from __future__ import annotations

from functools import cache

from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation, simulate_truth
from groundstation.simulator.truth import Truths
from protocol import Receiver, SampleReceived


@cache
def truths(name: str, seed: int) -> Truths:
    """Return what really happened."""
    return simulate_truth(SCENARIOS[name], seed)


@cache
def heard(name: str, seed: int) -> tuple[SampleReceived, ...]:
    """Return the samples that a receiver makes of what arrives."""
    receiver = Receiver()
    return tuple(
        event
        for emission in Simulation(SCENARIOS[name], seed=seed)
        for event in receiver.receive_data(emission.data, emission.at_s)
        if isinstance(event, SampleReceived)
    )
