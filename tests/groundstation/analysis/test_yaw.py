"""The yaw oscillation of simulated passes, beside the simulator's own yaw mode."""

from __future__ import annotations

import json
from dataclasses import asdict

import numpy as np
import pytest

from groundstation.analysis.record import Columns, Record
from groundstation.analysis.stabiliser import Verdict
from groundstation.analysis.yaw import yaw_of
from groundstation.analysis.yaw_model import CarGeometry
from groundstation.simulator.damping import yaw_mode
from groundstation.simulator.scenarios import scenario_named
from tests.groundstation.analysis.swaying import only_pass, record_with, simulated, whole

GEOMETRY = CarGeometry(wheelbase_m=0.33, steering_lock_deg=12.0)


def _true_mode(name: str, speed_mps: float) -> tuple[float, float]:
    car = scenario_named(name).car
    return yaw_mode(speed_mps, yaw=car.yaw, stabiliser=car.stabiliser, mass_kg=car.drive.mass_kg)


def _thinned(record: Record, keep: np.ndarray) -> Record:
    motion = record.motion
    kinds = dict(record.kinds)
    kinds["motion"] = Columns(
        motion.t_s[keep], {name: column[keep] for name, column in motion.values.items()}
    )
    return Record(record.vehicle, record.name, kinds, record.profile, record.driver)


@pytest.mark.parametrize("name", ["oscillation_before", "oscillation_after"])
def test_frequency_and_damping_are_those_of_the_simulator(name: str) -> None:
    record = simulated(name, 11)
    figures = yaw_of(record, only_pass(record), GEOMETRY)
    assert len(figures.bands) >= 4
    for band in figures.bands:
        damping, frequency_hz = _true_mode(name, band.mean_speed_mps)
        assert band.damping_ratio == pytest.approx(damping, abs=0.1)
        assert band.mode_hz == pytest.approx(frequency_hz, rel=0.2)
        assert band.damping_reason == ""


def test_before_the_stabiliser_feeds_and_after_it_damps() -> None:
    before, after = (
        yaw_of(record, only_pass(record), GEOMETRY).bands[-2]
        for record in (simulated("oscillation_before", 4), simulated("oscillation_after", 4))
    )
    assert before.response is not None
    assert after.response is not None
    assert before.response.verdict is Verdict.FEEDS
    assert after.response.verdict is Verdict.DAMPS
    assert before.law is not None
    assert before.law.gain_percent_per_dps == pytest.approx(0.48, rel=0.03)
    assert before.rms_dps > 2.0 * after.rms_dps
    assert before.damping_ratio is not None
    assert before.without_stabiliser is not None
    assert before.without_stabiliser > before.damping_ratio + 0.2
    assert before.stabiliser_share is not None
    assert before.stabiliser_share > 0.9
    assert before.spectrum_hz == pytest.approx(4.2, abs=0.4)


def test_half_the_frames_and_a_hole_still_tell() -> None:
    record = simulated("oscillation_before", 4)
    t_s = record.motion.t_s
    middle_s = only_pass(record).start_s + 4.0
    halved = np.arange(len(t_s)) % 2 == 0
    thinned = _thinned(record, halved & (np.abs(t_s - middle_s) > 0.3))
    for band in yaw_of(thinned, only_pass(thinned), GEOMETRY).bands:
        damping, _ = _true_mode("oscillation_before", band.mean_speed_mps)
        assert band.damping_ratio == pytest.approx(damping, abs=0.1)


def test_without_a_reported_correction_the_damping_cannot_be_told() -> None:
    record = simulated("oscillation_before", 4)
    motion = record.motion
    silent = {**motion.values, "correction_percent": np.full(len(motion), np.nan)}
    kinds = {**record.kinds, "motion": Columns(motion.t_s, silent)}
    without = Record(record.vehicle, record.name, kinds, record.profile, record.driver)
    figures = yaw_of(without, only_pass(without), GEOMETRY)
    assert figures.bands
    for band in figures.bands:
        assert band.damping_ratio is None
        assert "correction is not reported" in band.damping_reason
        assert band.law is None
        assert band.driver_share is None
        assert band.rms_dps > 0.0


def test_a_crash_is_cut_off_before_it_spins() -> None:
    record = simulated("crash", 3)
    for band in yaw_of(record, only_pass(record), GEOMETRY).bands:
        assert band.peak_dps < 200.0


def test_a_slow_or_short_pass_says_why() -> None:
    t_s = np.arange(0.0, 5.0, 0.01)
    still = np.zeros(len(t_s))
    slow = record_with(t_s, {"speed_mps": still + 6.0, "yaw_rate_dps": still})
    figures = yaw_of(slow, whole(slow))
    assert figures.bands == ()
    assert "10 m/s" in figures.reason
    short = record_with(t_s[:30], {"speed_mps": still[:30] + 30.0, "yaw_rate_dps": still[:30]})
    assert "less than a second" in yaw_of(short, whole(short)).reason


def test_figures_are_ready_for_json() -> None:
    record = simulated("oscillation_after", 11)
    text = json.dumps(asdict(yaw_of(record, only_pass(record))), allow_nan=False)
    assert json.loads(text)["pass_number"] == 1
