"""The logarithmic decrement."""

from __future__ import annotations

from math import log, pi

import numpy as np
import pytest

from groundstation.analysis.decrement import damping_of, free_decays


@pytest.mark.parametrize(
    ("first", "last", "cycles", "damping"),
    [(2.0, 1.0, 1, 0.109653), (20.0, 5.0, 3, 0.073347)],
)
def test_the_damping_of_known_amplitudes(
    first: float, last: float, cycles: int, damping: float
) -> None:
    assert damping_of(log(first / last) / cycles) == pytest.approx(damping, abs=1e-6)


def test_a_published_problem() -> None:
    # A textbook problem: 13 % of the amplitude is left after about 100 swings, 99 intervals.
    assert damping_of(log(1.0 / 0.13) / 99) == pytest.approx(0.00328, abs=5e-6)


@pytest.mark.parametrize(
    ("damping", "decrement"),
    [(0.1, 0.6315), (0.2, 1.2825), (0.3, 1.9760), (0.5, 3.6276), (0.7, 6.1588)],
)
def test_the_damping_of_a_decrement(damping: float, decrement: float) -> None:
    assert damping_of(decrement) == pytest.approx(damping, abs=1e-5)


@pytest.mark.parametrize("damping", [0.03, 0.08, 0.15])
def test_a_free_decay_in_a_quiet_signal_is_found(damping: float) -> None:
    t_s = np.arange(0.0, 12.0, 0.01)
    own = 2.0 * pi * 2.5
    since = np.maximum(t_s - 4.0, 0.0)
    swing = np.exp(-damping * own * since) * np.sin(own * np.sqrt(1.0 - damping**2) * since)
    swing = 20.0 * swing + 0.2 * np.sin(2.0 * pi * 3.1 * t_s)
    decays = free_decays(t_s, swing)
    assert len(decays) == 1
    assert decays[0].start_s == pytest.approx(4.0, abs=0.3)
    assert decays[0].damping_ratio == pytest.approx(damping, abs=0.02)
    assert decays[0].frequency_hz == pytest.approx(2.5, rel=0.03)


def test_a_steady_swing_is_no_decay() -> None:
    t_s = np.arange(0.0, 10.0, 0.01)
    assert free_decays(t_s, 20.0 * np.sin(2.0 * pi * 2.5 * t_s)) == []
