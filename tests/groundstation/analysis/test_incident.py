"""The incident timeline: what counts as one, what is found, in what order, and the last place."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict, replace
from math import hypot

import numpy as np
import pytest

from groundstation.analysis.course import course_of, local_m
from groundstation.analysis.incident import Incident, incident_of
from groundstation.analysis.incident_departure import Departure, Subject
from groundstation.analysis.incident_end import ended_badly
from groundstation.analysis.incident_place import DELAY_SIGMA_S, ROUND_95
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Columns, Floats, Record
from groundstation.simulator.scenarios import SCENARIOS
from tests.benchmarks._analysis_incident import Cause, order_is_right, outcome_of, record_from
from tests.groundstation.analysis.records import changed, cut_off, up_and_down

THERE = ((-100.0, 300.0),)
TWICE = ((-100.0, 300.0), (300.0, -100.0))
BEGAN_S, ENDED_S = 2.0, 22.0
"""Of the pass there."""
CUT_S = 17.0


def told(record: Record) -> Incident | None:
    spans = find_passes(record)
    return incident_of(record, spans, course_of(record, spans))


def crash(record: Record) -> Incident:
    found = told(cut_off(record, CUT_S))
    assert found is not None
    return found


def first(found: Incident, subject: Subject) -> Departure:
    return next(each for each in found.departures if each.subject is subject)


def from_s(start_s: float, value: float, end_s: float = 99.0) -> Callable[[Floats, Floats], Floats]:
    def change(t_s: Floats, values: Floats) -> Floats:
        return np.where((t_s >= start_s) & (t_s < end_s), value, values)

    return change


def test_ended_well() -> None:
    record = up_and_down(TWICE)
    assert ended_badly(record, find_passes(record)) is None
    assert told(record) is None
    assert ended_badly(cut_off(record, 1.0), []) is None


def test_heard_to_the_last_while_moving() -> None:
    found = crash(up_and_down(THERE))
    assert found.reason == "the telemetry ended while the car was moving"
    assert found.order == (Subject.TELEMETRY,)
    assert found.end_s == pytest.approx(CUT_S, abs=0.02)


def test_transmitter_switched_off_beside_a_standing_car() -> None:
    record = changed(up_and_down(THERE), "motion", "failsafe_active", from_s(22.2, 1.0))
    assert told(record) is None


def test_failsafe_during_the_pass() -> None:
    record = up_and_down(THERE)
    stays = changed(record, "motion", "failsafe_active", from_s(15.0, 1.0))
    stays = changed(stays, "motion", "throttle_percent", from_s(15.0, -80.0))
    found = told(stays)
    assert found is not None
    assert found.reason == "failsafe began during the pass and stayed"
    failsafe = first(found, Subject.CONTROL_LINK)
    assert failsafe.onset_s == pytest.approx(15.0, abs=0.02)
    assert "it set the throttle from 60 to -80 %" in failsafe.words
    recovers = changed(record, "motion", "failsafe_active", from_s(15.0, 1.0, 15.5))
    assert told(recovers) is None


def test_a_jump_is_no_roll() -> None:
    jump = changed(up_and_down(THERE), "motion", "accel_z_g", from_s(10.0, 0.0, 10.25))
    assert told(jump) is None
    roll = changed(up_and_down(THERE), "motion", "accel_z_g", from_s(16.0, -0.9))
    found = told(roll)
    assert found is not None
    assert found.reason == "the car rolled over"
    assert first(found, Subject.ROLL).onset_s == pytest.approx(16.0, abs=0.02)


def test_carried_upside_down_after_the_pass() -> None:
    carried = changed(up_and_down(TWICE), "motion", "accel_z_g", from_s(46.0, -1.0))
    assert told(carried) is None


def test_yaw() -> None:
    found = crash(changed(up_and_down(THERE), "motion", "yaw_rate_dps", from_s(16.0, 60.0)))
    yaw = first(found, Subject.YAW)
    assert yaw.quantity == "yaw rate"
    assert yaw.onset_s == pytest.approx(16.0, abs=0.02)
    assert yaw.not_before_s <= 16.0 <= yaw.not_after_s
    assert yaw.value == pytest.approx(60.0, abs=1.0)
    assert yaw.normal_high is not None
    assert 14.0 < yaw.normal_high < 25.0
    assert yaw.words.startswith("1.0 s before the end: yaw rate 60 deg/s (normal -1")
    assert found.order_words == "first the yaw, then the telemetry link"


def test_heading_drifts_off_without_a_yaw_rate_to_speak_of() -> None:
    found = crash(changed(up_and_down(THERE), "motion", "yaw_rate_dps", from_s(12.0, 6.0)))
    assert first(found, Subject.YAW).quantity == "heading off the line"
    assert first(found, Subject.YAW).onset_s == pytest.approx(14.0, abs=0.4)


def test_shock() -> None:
    record = changed(up_and_down(THERE), "motion", "accel_z_max_g", from_s(15.0, 12.0, 15.02))
    shock = first(crash(record), Subject.SHOCK)
    assert shock.onset_s == pytest.approx(15.0, abs=0.02)
    assert shock.value == pytest.approx(11.0)
    assert "clipped" not in shock.words
    record = changed(record, "motion", "clipped_samples", from_s(15.0, 4.0, 15.02))
    assert "at least 11 g" in first(crash(record), Subject.SHOCK).words
    assert (
        "clipped 8 times: its height was not measured" in first(crash(record), Subject.SHOCK).words
    )


def test_a_rough_road_is_normal() -> None:
    record = up_and_down(THERE)

    def joints(t_s: Floats, values: Floats) -> Floats:
        return np.where(np.round(t_s * 100.0) % 60 == 0, 9.0, values)

    found = crash(changed(record, "motion", "accel_z_max_g", joints))
    assert Subject.SHOCK not in found.order


def test_pack() -> None:
    def sag(t_s: Floats, values: Floats) -> Floats:
        return np.where(t_s >= 14.0, values - 4.0, values)

    found = crash(changed(up_and_down(THERE), "power", "pack_voltage_v", sag))
    pack = first(found, Subject.PACK)
    assert pack.quantity == "pack voltage"
    # Half a second between frames: no better than that.
    assert pack.not_before_s <= 14.0 <= pack.not_after_s
    assert pack.onset_s == pytest.approx(14.0, abs=0.3)
    assert pack.normal_low == pytest.approx(31.5 * 0.96, abs=0.3)
    hot = crash(
        changed(up_and_down(THERE), "power", "controller_temperature_c", from_s(14.0, 120.0))
    )
    assert first(hot, Subject.PACK).quantity == "controller temperature"
    # A second pass on which far more current flows than on the first.
    record = changed(up_and_down(TWICE), "power", "pack_current_a", from_s(40.0, 150.0))
    record = changed(record, "power", "pack_voltage_v", lambda t_s, values: 0.0 * values + 30.0)
    found_later = told(cut_off(record, 42.0))
    assert found_later is not None
    assert first(found_later, Subject.PACK).quantity == "pack current"


def test_weak_signal_and_lost_packets() -> None:
    weak = changed(up_and_down(THERE), "radio", "control_rssi_dbm", from_s(15.15, -99.0))
    link = first(crash(weak), Subject.CONTROL_LINK)
    assert link.quantity == "control link margin"
    assert link.onset_s == pytest.approx(15.0, abs=0.05)
    lost = changed(up_and_down(THERE), "radio", "control_received_percent", from_s(15.15, 20.0))
    link = first(crash(lost), Subject.CONTROL_LINK)
    assert link.quantity == "control packets received"
    assert link.normal_low == pytest.approx(75.0)


def test_a_drop_that_leaves_margin_to_spare_is_no_incident() -> None:
    def drop(t_s: Floats, values: Floats) -> Floats:
        return np.where((t_s > 8.0) & (t_s < 9.0), values - 15.0, values)

    found = crash(changed(up_and_down(THERE), "radio", "control_rssi_dbm", drop))
    assert Subject.CONTROL_LINK not in found.order


def test_telemetry_silence() -> None:
    record = up_and_down(THERE)
    kinds = {
        name: type(columns)(
            columns.t_s[keep],
            {channel: values[keep] for channel, values in columns.values.items()},
        )
        for name, columns in record.kinds.items()
        for keep in [(columns.t_s < 15.0) | (columns.t_s > 15.8)]
    }
    silent = first(crash(replace(record, kinds=kinds)), Subject.TELEMETRY)
    assert silent.quantity == "telemetry silent for"
    assert silent.value == pytest.approx(0.8, abs=0.1)
    assert silent.onset_s == pytest.approx(15.0, abs=0.05)


def test_closer_together_than_the_frames() -> None:
    def sag(t_s: Floats, values: Floats) -> Floats:
        return np.where(t_s >= 14.0, values - 4.0, values)

    # The pack is heard of twice a second: it sagged between 13.5 and 14.
    record = changed(up_and_down(THERE), "power", "pack_voltage_v", sag)
    found = crash(changed(record, "motion", "yaw_rate_dps", from_s(13.9, 80.0)))
    assert "first the pack, at about the same time the yaw" in found.order_words
    found = crash(changed(record, "motion", "yaw_rate_dps", from_s(14.1, 80.0)))
    assert "first the pack, then the yaw" in found.order_words


def test_last_position() -> None:
    record = up_and_down(THERE)
    fixes = record.fix.between(-1.0, 16.0)
    found = crash(replace(record, kinds={**record.kinds, "fix": fixes}))
    place = found.position
    assert place is not None
    assert place.fix_age_s == pytest.approx(1.0, abs=0.1)
    assert place.along_m == pytest.approx(-100.0 + 20.0 * (CUT_S - BEGAN_S), abs=1.0)
    east_m, north_m = local_m(
        (0.0, 0.0), np.array([place.latitude_deg]), np.array([place.longitude_deg])
    )
    assert (east_m[0], north_m[0]) == (
        pytest.approx(place.along_m, abs=0.1),
        pytest.approx(0.0, abs=1.0),
    )
    assert place.course_deg == pytest.approx(90.0, abs=1.0)
    # The less was heard of fixes, the wider; and wider by the way to a standstill at 3 m/s^2.
    fresh = crash(record).position
    assert fresh is not None
    assert fresh.radius_m < place.radius_m < 10.0
    assert place.farthest_m == pytest.approx(place.radius_m + place.speed_mps**2 / 6.0)
    assert f"within {place.radius_m:.0f} m" in place.words


def test_the_last_position_of_a_late_receiver_lies_ahead_of_its_last_fix() -> None:
    record = up_and_down(THERE)
    stamped = Columns(record.fix.t_s + 0.2, record.fix.values)
    late = cut_off(replace(record, kinds={**record.kinds, "fix": stamped}), CUT_S)
    spans = find_passes(late)
    found = incident_of(late, spans, course_of(late, spans), fix_delay_s=0.2)
    assert found is not None
    assert found.position is not None
    on_time = crash(record).position
    assert on_time is not None
    # 0.2 s at 20 m/s are 4 m.
    assert found.position.along_m == pytest.approx(on_time.along_m, abs=0.3)
    assert found.position.fix_age_s == pytest.approx(on_time.fix_age_s + 0.2, abs=0.11)
    # A delay that nobody knows makes the circle wider by what the car drove meanwhile, 20 m/s.
    alone = incident_of(late, spans, course_of(late, spans))
    assert alone is not None
    assert alone.position is not None
    assert alone.position.radius_m == pytest.approx(
        ROUND_95 * hypot(found.position.radius_m / ROUND_95, DELAY_SIGMA_S * 20.0), rel=0.1
    )
    assert found.position.radius_m < alone.position.radius_m


def test_no_fix_no_position() -> None:
    record = up_and_down(THERE)
    blind = replace(record, kinds={**record.kinds, "fix": record.fix.between(-2.0, -1.0)})
    assert crash(blind).position is None


def test_goes_into_json() -> None:
    record = changed(up_and_down(THERE), "motion", "yaw_rate_dps", from_s(16.0, 60.0))
    json.dumps(asdict(crash(record)), allow_nan=False)


@pytest.mark.parametrize("name", ["opposite_passes", "oscillation_after", "antenna_disturbed"])
def test_simulated_sessions_that_end_well(name: str) -> None:
    assert told(record_from(SCENARIOS[name], 2)) is None


def test_the_edge_of_range() -> None:
    found = told(record_from(SCENARIOS["range_edge"], 1))
    assert found is not None
    assert found.order[0] is Subject.CONTROL_LINK
    assert "failsafe" in found.reason


@pytest.mark.parametrize("cause", Cause)
def test_simulated_crashes(cause: Cause) -> None:
    outcome = outcome_of((8001, cause))
    assert outcome is not None
    assert outcome.right
    assert outcome.position_error_m < outcome.radius_m


def test_a_wrong_order_is_seen_as_wrong() -> None:
    truth = {Subject.PACK: 5.0, Subject.YAW: 6.0, Subject.ROLL: 7.0}
    assert order_is_right(truth, {Subject.PACK: 5.5, Subject.YAW: 5.9, Subject.ROLL: 7.1})
    assert not order_is_right(truth, {Subject.PACK: 6.0, Subject.YAW: 5.9, Subject.ROLL: 7.1})
    assert not order_is_right(truth, {Subject.PACK: 5.0, Subject.ROLL: 7.1})
    assert not order_is_right(truth, {**truth, Subject.SHOCK: 6.5})


@pytest.mark.parametrize("kept", [("speed_mps",), ("speed_mps", "yaw_rate_dps"), ()])
def test_cars_that_send_less(kept: tuple[str, ...]) -> None:
    record = up_and_down(THERE)
    motion = record.motion
    values = {name: values for name, values in motion.values.items() if name in kept}
    less = type(motion)(motion.t_s, values) if kept else motion.between(-2.0, -1.0)
    kinds = {**record.kinds, "motion": less}
    found = crash(replace(record, kinds=kinds))
    assert found.order[-1] is Subject.TELEMETRY
    assert found.position is not None
    for kind in ("fix", "radio", "power"):
        kinds[kind] = record.kinds[kind].between(-2.0, -1.0)
    bare = cut_off(replace(record, kinds=kinds), CUT_S)
    alone = told(bare)
    assert (alone is not None) == bool(kept)
    if alone is not None:
        assert alone.position is None


def test_failsafe_from_before_the_pass_is_told_with_it() -> None:
    record = changed(up_and_down(THERE), "motion", "failsafe_active", from_s(1.0, 1.0))
    found = told(cut_off(record, CUT_S))
    assert found is not None
    failsafe = first(found, Subject.CONTROL_LINK)
    assert failsafe.quantity == "failsafe"
    assert failsafe.onset_s == pytest.approx(BEGAN_S, abs=0.1)
    assert "it stayed" in failsafe.words
