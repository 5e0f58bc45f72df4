"""The sensors at rest: within limits, beyond them, not measured."""

from __future__ import annotations

import pytest

from groundstation.rangecheck.finding import Outcome, Rule
from groundstation.rangecheck.sensors import MOST_SAMPLES, RestMeasure
from groundstation.rangecheck.setting import CheckSetting, RestLimits
from groundstation.rangecheck.view import Step
from tests.groundstation.rangecheck.rig import Rig, outcomes

REST_RULES = (Rule.GYRO, Rule.ACCELEROMETER, Rule.CLIPPING, Rule.FIX, Rule.PACK)


def test_sound_sensors() -> None:
    rig = Rig(fixes=True)
    rig.run(6.0)
    assert rig.check.step is Step.FAILSAFE
    found = {rule: rig.findings(rule)[0] for rule in REST_RULES}
    assert [found[rule].outcome for rule in REST_RULES] == [
        Outcome.OK,
        Outcome.OK,
        Outcome.OK,
        Outcome.OK,
        Outcome.NOTE,
    ]
    assert found[Rule.GYRO].figures["gyro_bias_dps"] == pytest.approx(0.4, abs=0.02)
    assert found[Rule.ACCELEROMETER].figures["accel_g"] == pytest.approx(1.001, abs=0.002)
    assert found[Rule.PACK].figures["pack_voltage_v"] == pytest.approx(12.4)


def test_a_gyro_that_is_far_off_is_measured_and_held() -> None:
    rig = Rig(bias_dps=12.0)
    rig.run(12.0)
    finding = rig.findings(Rule.GYRO)[0]
    assert finding.outcome is Outcome.HOLD
    assert finding.figures["gyro_bias_dps"] == pytest.approx(12.0, abs=0.1)


def test_a_wrong_scale_of_the_accelerometer_is_held() -> None:
    rig = Rig(gravity_g=1.25)
    rig.run(8.0)
    assert outcomes(rig.findings(Rule.ACCELEROMETER)) == [Outcome.HOLD]


def test_clipping_at_rest_is_held() -> None:
    rig = Rig()
    rig.extra = {"clipped_samples": 2}
    rig.run(6.0)
    assert outcomes(rig.findings(Rule.CLIPPING)) == [Outcome.HOLD]


def test_a_car_that_is_moved_begins_anew() -> None:
    rig = Rig()
    rig.run(4.0)
    rig.turn()
    rig.run(4.0)
    assert rig.check.step is Step.SENSORS
    assert outcomes(rig.findings(Rule.MOTION)) == [Outcome.MISSING]
    rig.run(2.0)
    assert rig.check.step is Step.FAILSAFE


def test_sensors_that_say_nothing_are_missing() -> None:
    rig = Rig()
    rig.extra = {"yaw_rate_dps": None, "accel_y_g": None}
    rig.run(6.0)
    assert outcomes(rig.findings(Rule.GYRO)) == [Outcome.MISSING]
    assert outcomes(rig.findings(Rule.ACCELEROMETER)) == [Outcome.MISSING]


def test_no_fix_is_a_note_until_marks_are_taken_by_fix() -> None:
    rig = Rig()
    rig.run(6.0)
    assert outcomes(rig.findings(Rule.FIX)) == [Outcome.NOTE]
    assert "type the distance" in rig.check.mark_by_fix()


def test_a_low_pack_is_held_where_a_limit_was_given() -> None:
    rig = Rig(setting=CheckSetting(rest=RestLimits(pack_low_v=14.0)))
    rig.run(6.0)
    assert outcomes(rig.findings(Rule.PACK)) == [Outcome.HOLD]


def test_nothing_heard_is_nothing_measured() -> None:
    rig = Rig()
    assert outcomes(rig.findings(Rule.MOTION)) == [Outcome.MISSING]
    assert "Switch the car on" in rig.check.view().instruction


def test_a_rest_of_hours_keeps_so_many_samples_and_no_more() -> None:
    rest = RestMeasure()
    for count in range(MOST_SAMPLES + 50):
        rest.take_motion({"yaw_rate_dps": 1.0}, 0.01 * count, None)
        rest.take_power({"pack_voltage_v": 12.0})
    assert (rest.motions, len(rest.yaw_dps), len(rest.volts)) == (
        MOST_SAMPLES + 50,
        MOST_SAMPLES,
        MOST_SAMPLES,
    )
    assert rest.pack_voltage_v == 12.0
