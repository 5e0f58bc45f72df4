"""Passes after the run are those of the live screen."""

from __future__ import annotations

import numpy as np
import pytest

from groundstation.analysis.passes import find_passes, spans_of
from groundstation.vehicle.passes import SILENT_S, Passes
from tests.groundstation.analysis.driven import (
    record_from,
    there_and_stop,
    with_channel,
    without,
)


def _live(t_s: np.ndarray, speed_mps: np.ndarray) -> list[tuple[int, float, float]]:
    """What the live watch makes of the same speeds."""
    passes, found = Passes(), []
    before_s = float(t_s[0])

    def note() -> None:
        assert passes.newest is not None
        newest = passes.newest
        found.append((newest.number, newest.started_vehicle_s, newest.ended_vehicle_s))

    for at_s, speed in zip(t_s.tolist(), speed_mps.tolist(), strict=True):
        if passes.end_if_silent(at_s - before_s):
            note()
        if passes.take_speed(speed, at_s, begin_mps=8.0, end_mps=2.0):
            note()
        before_s = at_s
    if passes.running:
        note()
    return found


@pytest.mark.parametrize("seed", range(20))
def test_same_passes_as_live(seed: int) -> None:
    source = np.random.default_rng(seed)
    steps_s = np.where(source.random(400) < 0.02, SILENT_S + 1.0, 0.1)
    t_s = np.cumsum(steps_s)
    speed_mps = np.abs(np.cumsum(source.normal(0.0, 2.0, 400))) % 20.0
    spans = spans_of(t_s, speed_mps, begin_mps=8.0, end_mps=2.0)
    assert [(each.number, each.start_s, each.end_s) for each in spans] == _live(t_s, speed_mps)


def test_a_pass_that_falls_silent_says_so() -> None:
    t_s = np.array([0.0, 1.0, 2.0, 20.0, 21.0])
    spans = spans_of(t_s, np.array([0.0, 9.0, 9.0, 9.0, 1.0]), begin_mps=8.0, end_mps=2.0)
    assert [each.ended_in_silence for each in spans] == [True, False]
    assert [(each.start_s, each.end_s) for each in spans] == [(1.0, 2.0), (20.0, 21.0)]


def test_no_speed_no_pass() -> None:
    assert spans_of(np.array([]), np.array([]), begin_mps=8.0, end_mps=2.0) == []
    slow = spans_of(np.arange(5.0), np.full(5, 7.9), begin_mps=8.0, end_mps=2.0)
    assert slow == []


def test_satellites_tell_passes_where_there_is_no_wheel() -> None:
    record = record_from(there_and_stop)
    for bare in (without(record, "motion"), with_channel(record, "motion", "speed_mps", np.nan)):
        (span,) = find_passes(bare)
        assert span.start_s == pytest.approx(4.0, abs=0.15)
        assert span.end_s == pytest.approx(13.8, abs=0.15)
