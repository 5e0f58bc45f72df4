"""The mean of two opposite runs, by time and by speed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from groundstation.analysis.course import course_of, place_over_time
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import record_of
from groundstation.analysis.speed import speeds_of
from groundstation.analysis.timed import TimedRun, fastest_over
from groundstation.analysis.two_way import best_two_way, two_way_mean
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import Simulation, simulate_truth
from protocol.batch import decode


def _run(speed_mps: float, *, start_s: float = 0.0, forward: bool | None = True) -> TimedRun:
    return TimedRun(
        pass_number=1,
        distance_m=100.0,
        time_s=100.0 / speed_mps,
        start_s=start_s,
        speed_mps=speed_mps,
        sigma_mps=0.01 * speed_mps,
        forward=forward,
    )


@pytest.mark.parametrize(
    ("one_mps", "other_mps", "by_speed_mps", "by_time_mps"),
    [
        (100.0, 110.0, 105.0, 104.7619),
        (200.0, 180.0, 190.0, 189.4737),
        (90.0, 110.0, 100.0, 99.0),
        (60.0, 40.0, 50.0, 48.0),
    ],
)
def test_both_means(
    one_mps: float, other_mps: float, by_speed_mps: float, by_time_mps: float
) -> None:
    """By hand: (a + b) / 2 and 2 a b / (a + b)."""
    mean = two_way_mean(_run(one_mps), _run(other_mps, start_s=60.0, forward=False))
    assert mean.by_speed_mps == pytest.approx(by_speed_mps)
    assert mean.by_time_mps == pytest.approx(by_time_mps, abs=5e-5)
    assert mean.remarks == ()
    assert mean.opposite is True


@given(st.floats(5.0, 200.0), st.floats(5.0, 200.0))
def test_by_time_is_never_larger(one_mps: float, other_mps: float) -> None:
    mean = two_way_mean(_run(one_mps), _run(other_mps, forward=False))
    assert mean.by_time_mps <= mean.by_speed_mps + 1e-9


def test_error_of_two_equal_runs_is_that_of_one_over_root_two() -> None:
    mean = two_way_mean(_run(50.0), _run(50.0, forward=False))
    assert mean.by_time_sigma_mps == pytest.approx(0.5 / 2**0.5)
    assert mean.by_speed_sigma_mps == pytest.approx(0.5 / 2**0.5)


def test_error_by_time_against_the_slope() -> None:
    one, other = _run(60.0), _run(40.0, forward=False)
    mean = two_way_mean(one, other)

    def moved(run: TimedRun, by_mps: float) -> TimedRun:
        speed_mps = run.speed_mps + by_mps
        return replace(run, speed_mps=speed_mps, time_s=run.distance_m / speed_mps)

    slopes = [
        (two_way_mean(moved(one, 1e-4), other).by_time_mps - mean.by_time_mps) / 1e-4,
        (two_way_mean(one, moved(other, 1e-4)).by_time_mps - mean.by_time_mps) / 1e-4,
    ]
    expected = ((slopes[0] * 0.6) ** 2 + (slopes[1] * 0.4) ** 2) ** 0.5
    assert mean.by_time_sigma_mps == pytest.approx(expected, rel=1e-4)


def test_what_stands_against_it_is_said() -> None:
    first = _run(50.0)
    same_way = two_way_mean(first, _run(50.0, start_s=60.0))
    assert same_way.opposite is False
    assert same_way.remarks == ("both runs go the same way",)
    late = two_way_mean(first, _run(50.0, start_s=3700.0, forward=False))
    assert not late.within_the_hour
    assert late.remarks == ("the runs began 62 minutes apart, more than an hour",)
    on_time = two_way_mean(first, _run(50.0, start_s=3600.0, forward=False))
    assert on_time.within_the_hour
    unknown = two_way_mean(first, _run(50.0, start_s=60.0, forward=None))
    assert unknown.opposite is None
    assert unknown.remarks == ("the direction of a run is not known",)
    short = replace(_run(50.0, start_s=60.0, forward=False), distance_m=90.0)
    assert two_way_mean(first, short).remarks == ("the two distances differ",)


def test_the_earlier_run_is_the_first() -> None:
    later, earlier = _run(50.0, start_s=90.0), _run(40.0, start_s=10.0, forward=False)
    mean = two_way_mean(later, earlier)
    assert (mean.first, mean.second) == (earlier, later)
    assert mean.apart_s == 80.0


def test_best_of_many_is_opposite_and_in_time() -> None:
    runs = [
        _run(50.0, start_s=0.0),
        _run(52.0, start_s=100.0),
        _run(48.0, start_s=200.0, forward=False),
        _run(60.0, start_s=9000.0, forward=False),
    ]
    best = best_two_way(runs)
    assert best is not None
    assert (best.first, best.second) == (runs[1], runs[2])
    assert best_two_way(runs[:2]) is None
    assert best_two_way([]) is None


def test_two_simulated_passes_against_what_really_happened() -> None:
    scenario = scenario_named("opposite_passes")
    record = record_of(
        decode(b"".join(each.data for each in Simulation(scenario, seed=11))), vehicle=1
    )
    spans = find_passes(record)
    fast = [span for span in spans if span.end_s - span.start_s > 3.0]
    assert len(fast) == 2
    course = course_of(record, spans)
    runs = []
    for span, speed in zip(spans, speeds_of(record, spans), strict=True):
        if span in fast and speed is not None:
            run = fastest_over(speed, 20.0, place=place_over_time(record, course, span))
            assert run is not None
            runs.append(run)
    mean = best_two_way(runs)
    assert mean is not None
    assert mean.remarks == ()
    truths = simulate_truth(scenario, 11)
    way_m = np.concatenate([[0.0], np.cumsum(truths.speed_mps[1:] * 0.01)])
    half = int(np.searchsorted(truths.t_s, 40.0))
    times_s = []
    for part in (slice(0, half), slice(half, None)):
        ends_s = np.interp(way_m[part] + 20.0, way_m[part], truths.t_s[part], right=np.inf)
        times_s.append(float(np.min(ends_s - truths.t_s[part])))
    assert mean.by_time_mps == pytest.approx(40.0 / sum(times_s), abs=0.15)
    assert mean.by_time_sigma_mps < 0.1
