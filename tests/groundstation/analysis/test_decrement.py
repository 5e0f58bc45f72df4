"""The logarithmic decrement."""

from __future__ import annotations

from math import pi

import numpy as np
import pytest

from groundstation.analysis.decrement import (
    damping_of,
    decrement_of,
    free_decays,
    log_decrement,
)


@pytest.mark.parametrize(
    ("first", "last", "cycles", "decrement", "damping"),
    [(2.0, 1.0, 1, 0.693147, 0.109653), (20.0, 5.0, 3, 0.462098, 0.073347)],
)
def test_the_decrement_of_known_amplitudes(
    first: float, last: float, cycles: int, decrement: float, damping: float
) -> None:
    found = log_decrement(first, last, cycles)
    assert found == pytest.approx(decrement, abs=1e-6)
    assert damping_of(found) == pytest.approx(damping, abs=1e-6)


def test_a_published_problem() -> None:
    # A textbook problem: 13 % of the amplitude is left after about 100 swings, 99 intervals.
    decrement = log_decrement(1.0, 0.13, 99)
    assert decrement == pytest.approx(0.02061, abs=5e-6)
    assert damping_of(decrement) == pytest.approx(0.00328, abs=5e-6)


@pytest.mark.parametrize(
    ("damping", "decrement"),
    [(0.1, 0.6315), (0.2, 1.2825), (0.3, 1.9760), (0.5, 3.6276), (0.7, 6.1588)],
)
def test_the_decrement_of_a_damping_ratio_and_back(damping: float, decrement: float) -> None:
    assert decrement_of(damping) == pytest.approx(decrement, abs=5e-5)
    assert damping_of(decrement_of(damping)) == pytest.approx(damping)


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
