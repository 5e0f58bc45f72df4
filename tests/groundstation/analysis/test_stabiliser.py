"""Whether the correction damps or feeds."""

from __future__ import annotations

from math import atan, degrees, pi

import numpy as np
import pytest

from groundstation.analysis import stabiliser
from groundstation.analysis.even import EvenMotion
from groundstation.analysis.record import Floats
from groundstation.analysis.stabiliser import (
    Law,
    Verdict,
    law_in,
    response_at,
    verdict_of,
    work_shares,
    wrapped_deg,
)
from tests.groundstation.analysis.swaying import record_with, whole

BAND = (25.0, 35.0)
HZ = 2.5


def _motion(delay_s: float, *, gain: float = 0.2, rate_hz: float = 100.0) -> EvenMotion:
    t_s = np.arange(0.0, 8.0, 1.0 / rate_hz)
    source = np.random.default_rng(2)
    noise = np.cumsum(source.standard_normal(len(t_s))) * 0.3

    def yaw(at_s: Floats) -> Floats:
        swing = 8.0 * np.sin(2.0 * pi * HZ * at_s) + 3.0 * np.sin(2.0 * pi * 1.3 * at_s)
        return np.asarray(swing + np.interp(at_s, t_s, noise))

    record = record_with(
        t_s,
        {
            "speed_mps": np.full(len(t_s), 30.0),
            "yaw_rate_dps": yaw(t_s),
            "steering_percent": np.zeros(len(t_s)),
            "correction_percent": -gain * yaw(t_s - delay_s),
        },
    )
    motion = EvenMotion.of(record, whole(record))
    assert motion is not None
    return motion


@pytest.mark.parametrize("rate_hz", [50.0, 100.0, 200.0])
def test_the_law_is_found(rate_hz: float) -> None:
    motion = _motion(0.06, rate_hz=rate_hz)
    law = law_in(motion, motion.inside(BAND))
    assert law is not None
    assert law.gain_percent_per_dps == pytest.approx(0.2, rel=0.02)
    assert law.delay_s == pytest.approx(0.06, abs=0.002)
    assert law.explained > 0.99


@pytest.mark.parametrize(
    ("delay_s", "verdict"),
    [
        (0.02, Verdict.DAMPS),
        (0.06, Verdict.DAMPS),
        (0.1, Verdict.CANNOT_TELL),
        (0.15, Verdict.FEEDS),
        (0.2, Verdict.FEEDS),
    ],
)
def test_the_verdict_follows_the_delay(delay_s: float, verdict: Verdict) -> None:
    # Against the yaw rate (180 degrees) less the delay's angle; a quarter swing is neutral.
    response = response_at(_motion(delay_s), BAND, HZ, servo_lag_s=None)
    assert response.verdict is verdict
    assert response.phase_deg is not None
    assert response.phase_low_deg is not None
    assert response.phase_high_deg is not None
    expected_deg = 180.0 - 360.0 * HZ * delay_s
    assert abs(wrapped_deg(response.phase_deg - expected_deg)) < 6.0
    assert response.phase_low_deg < response.phase_deg < response.phase_high_deg
    assert response.gain_percent_per_dps == pytest.approx(0.2, rel=0.05)


def test_the_servo_turns_the_verdict() -> None:
    motion = _motion(0.085)
    reported = response_at(motion, BAND, HZ, servo_lag_s=None)
    at_the_wheel = response_at(motion, BAND, HZ, servo_lag_s=0.06)
    assert reported.verdict is Verdict.DAMPS
    assert reported.wheel_phase_deg is None
    assert at_the_wheel.verdict is Verdict.FEEDS
    assert at_the_wheel.phase_deg == reported.phase_deg
    assert at_the_wheel.wheel_phase_deg is not None
    assert reported.phase_deg is not None
    assert reported.phase_deg - at_the_wheel.wheel_phase_deg == pytest.approx(
        degrees(atan(2.0 * pi * HZ * 0.06))
    )


def test_a_law_tells_where_the_spectra_are_too_few(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(stabiliser, "LEAST_SEGMENTS", 10**6)
    motion, law = _motion(0.15), Law(0.2, 0.15, 0.99)
    assert response_at(motion, BAND, HZ, servo_lag_s=None).reason.startswith("only ")
    response = response_at(motion, BAND, HZ, servo_lag_s=None, law=law)
    assert (response.verdict, response.coherence) == (Verdict.FEEDS, None)
    loose = Law(0.2, 0.15, 0.5)
    assert response_at(motion, BAND, HZ, servo_lag_s=None, law=loose).reason.startswith("only ")


def test_a_law_that_steers_with_the_yaw_rate_feeds() -> None:
    response = response_at(_motion(0.02), BAND, HZ, servo_lag_s=None, law=Law(-0.2, 0.02, 0.99))
    assert response.verdict is Verdict.FEEDS


def test_an_idle_stabiliser_gets_no_verdict() -> None:
    response = response_at(_motion(0.05, gain=0.0), BAND, HZ, servo_lag_s=None)
    assert response.verdict is Verdict.CANNOT_TELL
    assert response.reason == "the stabiliser does nothing here"


def test_a_correction_of_its_own_mind_gets_no_verdict() -> None:
    motion = _motion(0.05)
    motion.correction_percent[:] = np.random.default_rng(9).standard_normal(len(motion.t_s))
    response = response_at(motion, BAND, HZ, servo_lag_s=None)
    assert response.verdict is Verdict.CANNOT_TELL
    assert "hardly go together" in response.reason


@pytest.mark.parametrize(
    ("phase_deg", "verdict"),
    [
        (180.0, Verdict.DAMPS),
        (-170.0, Verdict.DAMPS),
        (101.0, Verdict.DAMPS),
        (95.0, Verdict.CANNOT_TELL),
        (-85.0, Verdict.CANNOT_TELL),
        (0.0, Verdict.FEEDS),
        (79.0, Verdict.FEEDS),
    ],
)
def test_neutral_is_in_quadrature(phase_deg: float, verdict: Verdict) -> None:
    assert verdict_of(phase_deg, 10.0) is verdict


def test_work_is_shared_by_energy() -> None:
    t_s = np.arange(0.0, 10.0, 0.01)
    swing = np.sin(2.0 * pi * HZ * t_s)
    assert work_shares(swing, 3.0 * swing) == pytest.approx((0.1, 0.9))
    assert work_shares(0.0 * swing, 0.0 * swing) is None


def test_a_correction_at_its_limit_is_left_out_of_the_law() -> None:
    motion = _motion(0.06)
    free = motion.correction_percent.copy()
    motion.correction_percent[:] = np.clip(free, -1.2, 1.2)
    law = law_in(motion, motion.inside(BAND))
    assert law is not None
    assert law.gain_percent_per_dps == pytest.approx(0.2, rel=0.02)
    assert law.explained > 0.97


def test_half_a_second_of_a_band_is_too_little_for_a_law() -> None:
    motion = _motion(0.06)
    inside = motion.inside(BAND)
    inside[49:] = False
    assert law_in(motion, inside) is None


def test_an_idle_stabiliser_has_the_law_of_no_gain() -> None:
    motion = _motion(0.06, gain=0.0)
    law = law_in(motion, motion.inside(BAND))
    assert law == Law(0.0, 0.0, 1.0)
