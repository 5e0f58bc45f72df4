"""Speed of a pass: what is found from good, bad and missing sensors."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Record
from groundstation.analysis.speed import PassSpeed, speeds_of
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.simulation import simulate_truth
from tests.groundstation.analysis.driven import (
    record_from,
    there_and_stop,
    with_channel,
    without,
)
from tests.groundstation.analysis.swaying import simulated


def _speed(record: Record) -> PassSpeed:
    told = speeds_of(record, find_passes(record))
    assert len(told) == 1
    assert told[0] is not None
    return told[0]


def test_curve_follows_the_truth_within_its_sigma() -> None:
    told = _speed(record_from(there_and_stop, accel_bias_mps2=0.3, wheel_factor=1.04))
    off = told.speed_mps - there_and_stop(told.t_s)
    assert np.max(np.abs(off)) < 0.15
    assert np.mean(np.abs(off) <= 2.0 * told.sigma_mps) > 0.9
    assert told.peak.low_mps < 40.0 < told.peak.high_mps
    assert told.peak.high_mps - told.peak.low_mps < 0.4
    assert told.witnesses == ("satellite", "wheel", "accelerometer")
    assert told.spikes == ()
    assert told.wheel_max_mps == pytest.approx(41.6, abs=0.2)


@pytest.mark.parametrize("over_mps", [5.0, 9.0, -7.0])
def test_a_spike_is_named_and_left_out(over_mps: float) -> None:
    record = record_from(there_and_stop)
    fix_mps = record.fix["ground_speed_mps"].copy()
    row = int(np.searchsorted(record.fix.t_s, 8.4))
    fix_mps[row] += over_mps
    told = _speed(with_channel(record, "fix", "ground_speed_mps", fix_mps))
    (spike,) = told.spikes
    assert spike.at_s == record.fix.t_s[row]
    assert spike.speed_mps == fix_mps[row]
    assert spike.over_mps == pytest.approx(over_mps, abs=0.3)
    assert told.satellite_max_mps == fix_mps.max()
    assert told.peak.high_mps < 40.4


def test_a_spike_among_fixes_alone_is_left_out() -> None:
    record = without(record_from(there_and_stop), "motion")
    fix_mps = record.fix["ground_speed_mps"].copy()
    fix_mps[84] += 6.0
    told = _speed(with_channel(record, "fix", "ground_speed_mps", fix_mps))
    assert [spike.at_s for spike in told.spikes] == [record.fix.t_s[84]]
    assert told.peak.high_mps < 41.0
    assert told.witnesses == ("satellite",)


def test_a_locked_wheel_does_not_pull_the_curve_down() -> None:
    record = record_from(there_and_stop)
    t_s = record.motion.t_s
    locked = (t_s > 10.0) & (t_s < 11.0)
    wheel_mps = np.where(locked, 2.5, record.motion["speed_mps"])
    told = _speed(with_channel(record, "motion", "speed_mps", wheel_mps))
    assert told.at(10.5)[0] == pytest.approx(float(there_and_stop(np.array([10.5]))[0]), abs=0.2)


def test_a_spinning_wheel_does_not_make_the_peak() -> None:
    record = record_from(there_and_stop)
    t_s = record.motion.t_s
    spinning = (t_s > 6.0) & (t_s < 7.0)
    wheel_mps = np.where(spinning, 55.0, record.motion["speed_mps"])
    told = _speed(with_channel(record, "motion", "speed_mps", wheel_mps))
    assert told.wheel_max_mps == 55.0
    assert told.peak.speed_mps == pytest.approx(40.0, abs=0.2)


@pytest.mark.parametrize(
    ("lacking", "within_mps", "least_width_mps"),
    [("wheel", 0.2, 0.05), ("accel", 0.4, 0.05), ("fix", 2.5, 0.8)],
)
def test_a_missing_channel_widens_the_interval_only(
    lacking: str, within_mps: float, least_width_mps: float
) -> None:
    record = record_from(there_and_stop, wheel_factor=1.02)
    if lacking == "wheel":
        record = with_channel(record, "motion", "speed_mps", np.nan)
    elif lacking == "accel":
        record = with_channel(record, "motion", "accel_x_g", np.nan)
    else:
        record = without(record, "fix")
    told = _speed(record)
    assert told.peak.speed_mps == pytest.approx(40.0, abs=within_mps)
    assert told.peak.low_mps <= 40.0 <= told.peak.high_mps
    assert told.peak.high_mps - told.peak.low_mps > least_width_mps
    assert (told.satellite_max_mps is None) == (lacking == "fix")


def test_lost_frames_and_a_silence_are_bridged() -> None:
    record = record_from(there_and_stop)
    t_s = record.motion.t_s
    kept = np.random.default_rng(2).random(len(t_s)) > 0.1
    kept &= (t_s < 5.0) | (t_s > 5.6)
    motion = replace(
        record.motion,
        t_s=t_s[kept],
        values={name: values[kept] for name, values in record.motion.values.items()},
    )
    told = _speed(replace(record, kinds={**record.kinds, "motion": motion}))
    assert told.peak.speed_mps == pytest.approx(40.0, abs=0.25)


def test_nothing_to_tell_gives_none() -> None:
    record = record_from(there_and_stop)
    spans = find_passes(record)
    assert speeds_of(without(without(record, "fix"), "motion"), spans) == [None]
    assert speeds_of(record, []) == []


def test_fixes_that_own_to_a_bad_speed_are_passed_over() -> None:
    record = record_from(there_and_stop)
    fix_mps, accuracy_mps = (
        record.fix[name].copy() for name in ("ground_speed_mps", "speed_accuracy_mps")
    )
    bad = slice(70, 100)
    fix_mps[bad] += 12.0
    accuracy_mps[bad] = 6.0
    record = with_channel(record, "fix", "ground_speed_mps", fix_mps)
    told = _speed(with_channel(record, "fix", "speed_accuracy_mps", accuracy_mps))
    assert told.spikes == ()
    assert told.peak.speed_mps == pytest.approx(40.0, abs=0.4)


def test_peak_of_many_equal_moments_is_not_told_too_high() -> None:
    """The largest of noisy readings lies above the truth; the peak told does not."""
    off_mps, raw_mps = [], []
    for seed in range(12):
        told = _speed(record_from(there_and_stop, seed=seed, end_s=19.0))
        assert told.satellite_max_mps is not None
        off_mps.append(told.peak.speed_mps - 40.0)
        raw_mps.append(told.satellite_max_mps - 40.0)
    assert np.mean(raw_mps) > 0.05
    assert abs(np.mean(off_mps)) < 0.04


def test_the_peak_before_a_crash_against_what_really_happened() -> None:
    """A crash has no say in how late the fixes are; else they would be 0.6 m/s off here."""
    told = _speed(simulated("crash", 7))
    true_mps = float(simulate_truth(scenario_named("crash"), 7).speed_mps.max())
    assert told.peak.low_mps < true_mps < told.peak.high_mps
    assert told.peak.speed_mps == pytest.approx(true_mps, abs=0.2)
