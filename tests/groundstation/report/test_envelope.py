"""Plots thinned without losing a peak."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.analysis.passes import PassSpan
from groundstation.report.envelope import GAP_S, envelope, shortened


@given(st.integers(1, 5000), st.integers(2, 400), st.integers(0, 1000))
def test_no_peak_is_lost(count: int, most: int, seed: int) -> None:
    values = np.random.default_rng(seed).standard_normal(count)
    rows = envelope(values, most)
    assert len(rows) <= most
    assert np.all(np.diff(rows) > 0)
    assert values[rows].max() == values.max()
    assert values[rows].min() == values.min()


def test_unknown_values_hide_no_peak() -> None:
    values = np.full(1000, np.nan)
    values[[10, 500]] = 3.0, -7.0
    rows = envelope(values, 20)
    assert {10, 500} <= set(rows.tolist())


def test_a_single_frame_of_an_hour_is_still_seen() -> None:
    t_s = np.arange(360_000) / 100.0
    values = np.zeros(len(t_s))
    values[200_001] = 16.0
    x, y = shortened(t_s, values, [], most=4000)
    assert len(x) <= 4000
    assert x[np.argmax(y)] == t_s[200_001]
    assert y.max() == 16.0


def test_passes_are_kept_finer_than_the_rest() -> None:
    t_s = np.arange(100_000) / 100.0
    span = PassSpan(1, 500.0, 510.0, ended_in_silence=False)
    x, _ = shortened(t_s, np.sin(t_s), [span], most=2000)
    inside = np.count_nonzero((x >= 500.0) & (x <= 510.0))
    assert len(x) <= 2100
    # 1 % of the time has a third of the points.
    assert inside > 0.33 * len(x)


def test_silence_stays_a_gap() -> None:
    t_s = np.array([0.0, 0.1, 0.2, 0.2 + 2 * GAP_S, 0.3 + 2 * GAP_S])
    x, y = shortened(t_s, np.ones(5), [], most=100)
    assert np.isnan(y).tolist() == [False, False, False, True, False, False]
    assert x[3] == pytest.approx(0.201)


def test_slow_channels_have_no_gap_between_their_frames() -> None:
    t_s = np.arange(0.0, 20.0, 2.0)
    _, y = shortened(t_s, np.ones(10), [], most=100)
    assert not np.isnan(y).any()


def test_nothing_known_is_nothing_shown() -> None:
    x, y = shortened(np.arange(3.0), np.full(3, np.nan), [], most=10)
    assert (len(x), len(y)) == (0, 0)
