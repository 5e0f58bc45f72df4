"""The yaw oscillation of simulated passes, beside the simulator's own yaw mode."""

from __future__ import annotations

import json
from dataclasses import asdict, replace
from math import degrees, pi, radians, sqrt

import numpy as np
import pytest

from groundstation.analysis.record import Columns, Floats, Record
from groundstation.analysis.stabiliser import Verdict
from groundstation.analysis.yaw import yaw_of
from groundstation.analysis.yaw_model import CarGeometry
from groundstation.simulator.damping import yaw_mode
from groundstation.simulator.scenarios import scenario_named
from groundstation.simulator.yaw import (
    NOISE_PER_FRAME,
    StabiliserParameters,
    YawMotion,
    YawParameters,
)
from groundstation.units import STANDARD_GRAVITY_MPS2
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


def test_a_filmed_servo_narrows_what_the_fit_leaves_open() -> None:
    record = simulated("oscillation_after", 11)
    filmed = replace(GEOMETRY, servo_lag_s=0.03)
    widths = []
    for geometry in (CarGeometry(), GEOMETRY, filmed):
        bands = yaw_of(record, only_pass(record), geometry).bands
        for band in bands:
            damping, _ = _true_mode("oscillation_after", band.mean_speed_mps)
            assert band.damping_low is not None
            assert band.damping_high is not None
            assert band.damping_low < damping < band.damping_high
        widths.append(np.mean([each.damping_high - each.damping_low for each in bands]))
    assert widths[0] > widths[1] > 1.1 * widths[2]


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


def _kicked(correction: Floats | None = None) -> Record:
    """Return a car that is kicked once: 3 Hz, damping ratio 0.1, on a quiet road."""
    t_s = np.arange(0.0, 10.0, 0.01)
    own, since_s = 2.0 * pi * 3.0, np.maximum(t_s - 4.0, 0.0)
    swing_dps = 40.0 * np.exp(-0.1 * own * since_s) * np.sin(own * sqrt(0.99) * since_s)
    source = np.random.default_rng(3)
    return record_with(
        t_s,
        {
            "speed_mps": np.full(len(t_s), 30.0),
            "yaw_rate_dps": swing_dps + 0.3 * source.standard_normal(len(t_s)),
            "steering_percent": np.zeros(len(t_s)),
            "correction_percent": np.zeros(len(t_s)) if correction is None else correction,
            "accel_y_g": np.zeros(len(t_s)),
        },
    )


def _kicked_on_a_quiet_road(speed_mps: float, stabiliser: StabiliserParameters) -> Record:
    """Return the simulator's car, kicked once."""
    t_s = np.arange(0.0, 10.0, 0.01)
    car = YawMotion(
        YawParameters(), stabiliser, mass_kg=5.0, gyro_bias_radps=0.0, gyro_noise_radps=0.0
    )
    rows = []
    for index in range(len(t_s)):
        if index == 400:
            car.kick(radians(40.0))
        car.advance(speed_mps=speed_mps, command_percent=0.0, noise=[0.0] * NOISE_PER_FRAME)
        side_g = car.side_force_mps2 / STANDARD_GRAVITY_MPS2
        rows.append((degrees(car.yaw_rate_radps), car.correction_percent, side_g))
    yaw_dps, correction, side_g = np.array(rows).T
    source = np.random.default_rng(3)
    return record_with(
        t_s,
        {
            "speed_mps": np.full(len(t_s), speed_mps),
            "yaw_rate_dps": yaw_dps + 0.3 * source.standard_normal(len(t_s)),
            "steering_percent": np.zeros(len(t_s)),
            "correction_percent": correction,
            "accel_y_g": side_g + 0.01 * source.standard_normal(len(t_s)),
        },
    )


def test_a_free_decay_tells_the_damping_by_itself_and_by_the_fit() -> None:
    stabiliser = StabiliserParameters(0.3)
    record = _kicked_on_a_quiet_road(40.0, stabiliser)
    damping, frequency_hz = yaw_mode(40.0, yaw=YawParameters(), stabiliser=stabiliser, mass_kg=5.0)
    (band,) = yaw_of(record, whole(record), GEOMETRY).bands
    assert band.decays == 1
    assert band.decay_damping_ratio == pytest.approx(damping, abs=0.01)
    assert band.damping_ratio == pytest.approx(damping, abs=0.01)
    assert band.mode_hz == pytest.approx(frequency_hz, rel=0.03)
    assert band.spectrum_hz == pytest.approx(frequency_hz, abs=0.15)


def test_a_car_without_stabiliser_is_judged_by_its_tyres_alone() -> None:
    record = _kicked_on_a_quiet_road(30.0, StabiliserParameters(0.0))
    damping, _ = yaw_mode(
        30.0, yaw=YawParameters(), stabiliser=StabiliserParameters(0.0), mass_kg=5.0
    )
    (band,) = yaw_of(record, whole(record), GEOMETRY).bands
    assert band.damping_ratio == pytest.approx(damping, abs=0.02)
    assert band.without_stabiliser == band.damping_ratio
    assert (band.driver_share, band.stabiliser_share) == (None, None)


def test_a_correction_of_its_own_mind_has_no_law() -> None:
    record = _kicked(5.0 * np.random.default_rng(4).standard_normal(1000))
    (band,) = yaw_of(record, whole(record)).bands
    assert band.law is not None
    assert band.law.explained < 0.1
    assert band.damping_ratio is None
    assert band.damping_reason == "the correction does not simply follow the yaw rate"
    assert band.stabiliser_share == 1.0


def test_a_car_that_does_not_swing_has_no_frequency() -> None:
    record = _kicked()
    record.motion.values["yaw_rate_dps"][:] = 0.0
    (band,) = yaw_of(record, whole(record)).bands
    assert (band.rms_dps, band.decays, band.decay_damping_ratio) == (0.0, 0, None)
    assert (band.spectrum_hz, band.mode_hz, band.damping_ratio) == (None, None, None)
