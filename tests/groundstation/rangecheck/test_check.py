"""The range check from the first frame to the verdict."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.inbound import BytesReceived, LinkChanged, LinkState, MarkMade
from groundstation.radio.watch_setting import TwoPoints
from groundstation.rangecheck.finding import Outcome, Rule
from groundstation.rangecheck.record import Bound, CheckRecord, LevelKind, Verdict
from groundstation.rangecheck.references import same_place
from groundstation.rangecheck.setting import CheckSetting, CourseSetting, WalkSetting
from groundstation.rangecheck.view import Step
from groundstation.vehicle.profile import VehicleProfile
from protocol import Sender, Value
from tests.groundstation.rangecheck.rig import (
    CHECKED,
    COURSE,
    Rig,
    law_dbm,
    made_holds,
    made_record,
    outcomes,
    planned,
)

MARKS_M = (10.0, 20.0, 40.0, 80.0)


def holding(record: CheckRecord) -> set[Rule]:
    return {finding.rule for finding in record.reasons}


def test_a_car_that_is_well_goes() -> None:
    rig = Rig()
    record = rig.whole(MARKS_M)
    assert record.verdict is Verdict.GO
    assert not record.reasons
    assert len(record.holds) == 16
    assert record.bound.vehicle_name == "invented"
    assert record.bound.pack_voltage_v == pytest.approx(12.4)
    assert record.prior is not None
    assert record.prior.exponent == pytest.approx(3.5, abs=0.3)
    assert record.threshold_dbm == -100.0
    view = rig.check.view()
    assert (view.verdict, view.finished, view.missing) == (Verdict.GO, True, ())
    assert all(step.done for step in view.steps)


def test_every_report_counts_and_levels_are_what_was_sent() -> None:
    record = Rig().whole(MARKS_M)
    for hold in record.holds:
        assert 120 <= hold.reports <= 127
        assert hold.level_dbm == pytest.approx(round(law_dbm(hold.distance_m)))
        assert hold.missing == 0


def test_planned_marks_are_walked_without_a_key() -> None:
    rig = Rig(setting=planned(*MARKS_M))
    rig.run(6.0)
    rig.prove_failsafe()
    for distance_m in MARKS_M:
        rig.carry(distance_m)
        rig.hold_all()
    rig.run(0.2)
    assert rig.check.step is Step.VERDICT
    assert rig.record().verdict is Verdict.GO
    assert [hold.distance_m for hold in rig.record().holds[::4]] == list(MARKS_M)


def test_turning_to_the_right_is_told_by_the_gyro() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    rig.run(6.5)
    rig.turn(-90.0)
    rig.run(6.5)
    assert [hold.heading_deg for hold in rig.record().holds] == [0, 270]


def test_a_heading_is_confirmed_by_a_key_where_the_gyro_says_nothing() -> None:
    rig = Rig()
    rig.extra = {"yaw_rate_dps": None}
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    assert "not over" in rig.check.next_heading()
    for _ in range(3):
        rig.run(6.5)
        rig.check.next_heading()
    rig.run(6.5)
    assert [hold.heading_deg for hold in rig.record().holds] == [0, 90, 180, 270]


def test_a_hold_that_is_disturbed_begins_anew() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    rig.run(3.5)
    rig.run(0.5, bob_g=0.3)
    rig.run(3.5)
    assert rig.record().holds == ()
    rig.run(3.0)
    assert len(rig.record().holds) == 1
    assert any("anew" in text for text in rig.told)


def test_a_mark_walked_again_replaces_the_first() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    rig.hold_all()
    rig.distance_m = 20.0
    rig.check.mark_typed(10.0)
    rig.run(6.5)
    (hold,) = rig.record().holds
    assert hold.level_dbm == pytest.approx(round(law_dbm(20.0)))


def test_marks_by_fix_measure_their_distance() -> None:
    rig = Rig(fixes=True)
    rig.place_driver()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.carry(23.0)
    rig.run(0.3)
    assert "23 m" in rig.check.mark_by_fix()
    rig.run(6.5)
    (hold,) = rig.record().holds
    assert hold.by_fix
    assert hold.distance_m == pytest.approx(23.0, abs=0.3)
    assert rig.record().bound.latitude_deg == 10.0


@pytest.mark.parametrize(("typed_m", "verdict"), [(20.0, Verdict.GO), (30.0, Verdict.HOLD)])
def test_a_typed_distance_that_the_fixes_deny_is_no_go(typed_m: float, verdict: Verdict) -> None:
    rig = Rig(fixes=True)
    rig.place_driver()
    rig.run(6.0)
    rig.prove_failsafe()
    for distance_m in MARKS_M:
        rig.carry(distance_m)
        rig.run(0.5)
        rig.check.mark_typed(typed_m if distance_m == 20.0 else distance_m)
        rig.hold_all()
    rig.check.finish()
    record = rig.record()
    assert record.verdict is verdict
    if verdict is Verdict.HOLD:
        assert "typed 30 m, but the fixes say 20 m" in record.reasons[0].text


def test_an_impossible_mark_is_refused() -> None:
    rig = Rig()
    for distance_m in (0.0, -3.0, float("nan"), 1e9):
        assert "a mark lies" in rig.check.mark_typed(distance_m)
    assert rig.check.step is Step.SENSORS


def test_attenuation_is_added_back() -> None:
    setting = CheckSetting(course=COURSE, walk=WalkSetting(attenuation_db=20.0))
    rig = Rig(setting=setting, level_dbm=lambda d, h: law_dbm(d) - 20.0)
    record = rig.whole(MARKS_M)
    assert record.verdict is Verdict.GO
    assert record.holds[0].level_dbm == pytest.approx(-40.0)


def test_leaving_a_step_keeps_and_repeating_forgets() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    rig.run(6.5)
    rig.check.go_to(Step.SENSORS)
    rig.check.go_to(Step.WALK)
    assert len(rig.record().holds) == 1
    rig.check.repeat(Step.WALK)
    assert rig.record().holds == ()
    assert outcomes(rig.findings(Rule.FAILSAFE)) == [Outcome.OK]


@pytest.mark.parametrize(
    ("marks_m", "rule", "words"),
    [
        ((10.0, 20.0), Rule.SAMPLES, "too few samples: 2 distances"),
        ((10.0, 15.0, 20.0, 30.0), Rule.DISTANCES, "marks too close together"),
    ],
)
def test_too_little_is_no_go(marks_m: tuple[float, ...], rule: Rule, words: str) -> None:
    record = Rig().whole(marks_m)
    assert record.verdict is Verdict.HOLD
    assert holding(record) == {rule}
    assert words in record.reasons[0].text
    assert record.reasons[0].look_at


def test_nothing_done_is_hold_and_says_all_that_is_missing() -> None:
    rig = Rig()
    rig.check.finish()
    record = rig.record()
    assert record.verdict is Verdict.HOLD
    assert {Rule.MOTION, Rule.FAILSAFE, Rule.LEVEL_SOURCE, Rule.SAMPLES, Rule.MARGIN} <= holding(
        record
    )


def test_a_margin_that_is_too_small_holds() -> None:
    setting = CheckSetting(course=CourseSetting(far_end_m=150.0, top_speed_mps=40.0))
    record = Rig(setting=setting).whole(MARKS_M)
    assert holding(record) == {Rule.MARGIN}
    assert "dB are short" in record.reasons[0].look_at


def test_without_course_or_threshold_there_is_no_margin() -> None:
    assert holding(Rig(setting=CheckSetting()).whole(MARKS_M)) == {Rule.MARGIN}
    assert holding(Rig(sensitivity_dbm=None).whole(MARKS_M)) == {Rule.MARGIN}


def test_a_receiver_at_its_floor_is_no_level() -> None:
    known = CheckSetting(course=COURSE, floor_dbm=-60.0)
    record = Rig(setting=known, level_dbm=lambda d, h: max(law_dbm(d), -60.0)).whole(MARKS_M)
    assert record.verdict is Verdict.HOLD
    assert Rule.SAMPLES in holding(record) or Rule.DISTANCES in holding(record)
    told = Rig(level_dbm=lambda d, h: max(law_dbm(d), -50.0)).whole(MARKS_M)
    assert told.verdict is Verdict.HOLD
    assert any("floor" in finding.text for finding in told.findings)


def test_lost_packets_make_a_level_a_bound() -> None:
    record = Rig(percent=lambda d: 60.0 if d > 30.0 else 100.0).whole(MARKS_M)
    assert record.verdict is Verdict.HOLD
    assert [hold.bounded for hold in record.holds] == [False] * 8 + [True] * 8


def test_a_percentage_alone_needs_its_two_points() -> None:
    record = Rig(level_dbm=lambda d, h: None, percent=lambda d: 100.0 - d).whole(MARKS_M)
    assert record.verdict is Verdict.HOLD
    assert Rule.LEVEL_SOURCE in holding(record)
    assert any("percentage" in finding.text for finding in record.reasons)


def test_a_mapped_percentage_is_a_level_and_a_full_one_is_not() -> None:
    profile = VehicleProfile(
        percent_map=TwoPoints(low=0.0, low_dbm=-100.0, high=98.0, high_dbm=-40.0)
    )

    def percent(distance_m: float) -> float:
        return 98.0 * (law_dbm(distance_m) + 100.0) / 60.0

    rig = Rig(profile=profile, level_dbm=lambda d, h: None, percent=lambda d: percent(d) - 5.0)
    record = rig.whole(MARKS_M)
    assert record.verdict is Verdict.GO
    assert {hold.kind for hold in record.holds} == {LevelKind.PERCENT}
    full = Rig(profile=profile, level_dbm=lambda d, h: None, percent=lambda d: 100.0)
    saturated = full.whole(MARKS_M)
    assert saturated.verdict is Verdict.HOLD
    assert any("saturated" in finding.text for finding in saturated.findings)


def test_a_drop_against_the_earlier_checks_holds_and_says_what_to_look_at() -> None:
    earlier = tuple(
        made_record(made_holds(lambda d, h, day=day: law_dbm(d) + day))  # type: ignore[misc]
        for day in (0.3, -0.4, 0.1)
    )
    record = Rig(earlier=earlier, level_dbm=lambda d, h: law_dbm(d) - 9.0).whole(MARKS_M)
    assert holding(record) == {Rule.LEVEL}
    (reason,) = record.reasons
    assert "9.3 dB under the last 3 checks" in reason.text
    assert "antennas lie since the pack was changed" in reason.look_at
    assert not record.is_reference


def test_a_new_null_holds_and_names_the_side() -> None:
    earlier = (made_record(made_holds()),)
    rig = Rig(earlier=earlier, level_dbm=lambda d, h: law_dbm(d) - (9.0 if h == 180 else 0.0))
    record = rig.whole(MARKS_M)
    assert holding(record) == {Rule.PATTERN}
    assert "nose towards you: lost 9.0 dB" in record.reasons[0].text


def test_checks_that_were_held_for_the_level_are_no_reference() -> None:
    good = made_record(made_holds())
    rig = Rig(earlier=(good,), level_dbm=lambda d, h: law_dbm(d) - 9.0)
    held = rig.whole(MARKS_M)
    again = Rig(earlier=(good, held), level_dbm=lambda d, h: law_dbm(d) - 9.0).whole(MARKS_M)
    assert Rule.LEVEL in holding(again)
    assert "the last check" in again.reasons[0].text


def test_an_exponent_unlike_before_is_a_note() -> None:
    marks_m = (5.0, 10.0, 20.0, 40.0, 80.0, 160.0)
    earlier = (made_record(made_holds(marks_m=marks_m)),)
    typed_wrong = Rig(earlier=earlier, level_dbm=lambda d, h: law_dbm(10.0 * (d / 10.0) ** 0.4))
    record = typed_wrong.whole(marks_m)
    (finding,) = [each for each in record.findings if each.rule is Rule.EXPONENT]
    assert finding.outcome is Outcome.NOTE
    assert "3.5 in the earlier checks" in finding.text
    assert "typed right" in finding.look_at


def test_checks_of_another_vehicle_are_passed_over() -> None:
    other = made_record(made_holds(lambda d, h: law_dbm(d) + 15.0), bound=Bound(vehicle_name="x"))
    record = Rig(earlier=(other,)).whole(MARKS_M)
    assert record.verdict is Verdict.GO
    assert "no earlier check" in next(f.text for f in record.findings if f.rule is Rule.LEVEL)


def test_an_earlier_check_without_anything_in_common_cannot_be_told() -> None:
    earlier = (made_record(made_holds(marks_m=(200.0, 400.0, 900.0))),)
    record = Rig(earlier=earlier).whole(MARKS_M)
    assert holding(record) == {Rule.LEVEL}
    assert "cannot tell" in record.reasons[0].text


def test_places_are_told_apart_by_name_or_by_position() -> None:
    assert same_place(Bound(place="Field"), Bound(place="field"))
    assert not same_place(Bound(place="field"), Bound(place="track"))
    assert same_place(Bound(), Bound(place="track"))
    here = Bound(latitude_deg=50.0, longitude_deg=8.0)
    assert same_place(here, replace(here, latitude_deg=50.001))
    assert not same_place(here, replace(here, latitude_deg=50.01))


def test_the_same_frames_cut_anywhere_give_the_same_check() -> None:
    rig = Rig(setting=planned(10.0, hold_s=1.5))
    sent: list[BytesReceived] = []
    handle = rig.check.handle

    def note(inbound: BytesReceived) -> list:  # type: ignore[type-arg]
        sent.append(inbound)
        return handle(inbound)

    rig.check.handle = note  # type: ignore[method-assign, assignment]
    rig.run(6.0)
    rig.prove_failsafe()
    rig.carry(10.0)
    rig.hold_all(1.5)
    whole = rig.record()
    assert len(whole.holds) == 4
    for size in (1, 7, 20):
        other = Rig(setting=planned(10.0, hold_s=1.5))
        for count, inbound in enumerate(sent):
            for begin in range(0, len(inbound.data), size):
                other.check.handle(BytesReceived(inbound.at_s, inbound.data[begin : begin + size]))
            if count % 10 == 0:
                other.check.tick(inbound.at_s)
        assert other.record().holds == whole.holds


def test_garbage_changes_nothing() -> None:
    rig = Rig()
    rig.run(6.0)
    before = rig.record()
    rig.check.handle(BytesReceived(rig.t_s, bytes(range(256)) * 40))
    assert rig.record() == before


def test_two_cars_on_one_channel_are_not_mixed_up() -> None:
    rig = Rig(profile=VehicleProfile(number=7))
    rig.run(3.0)
    assert rig.record().bound.vehicle_name == ""
    rig.sender.vehicle = 7
    rig.run(6.0)
    assert rig.record().bound.vehicle_name == "invented"


def test_whoever_comes_back_to_look_may_stay() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    for step in (Step.SENSORS, Step.FAILSAFE):
        rig.check.go_to(step)
        rig.run(1.0)
        assert rig.check.step is step
    rig.check.repeat(Step.SENSORS)
    rig.run(6.0)
    assert rig.check.step is Step.FAILSAFE


def test_after_the_end_nothing_changes() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.check.finish()
    before = rig.record()
    rig.prove_failsafe()
    for said in (
        rig.check.go_to(Step.WALK),
        rig.check.repeat(Step.SENSORS),
        rig.check.mark_typed(10.0),
    ):
        assert said == "the check is finished"
    assert rig.record() == before


REQUESTS: dict[str, Callable[[Rig], object]] = {
    "run": lambda rig: rig.run(1.3),
    "turn": lambda rig: rig.turn(),
    "carry": lambda rig: rig.carry(rig.distance_m + 4.0),
    "off": lambda rig: rig.switch(on=False),
    "on": lambda rig: rig.switch(on=True),
    "mark": lambda rig: rig.check.mark_typed(rig.distance_m),
    "fix": lambda rig: rig.check.mark_by_fix(),
    "heading": lambda rig: rig.check.next_heading(),
    "said_off": lambda rig: rig.check.transmitter_is_off(),
    "said_on": lambda rig: rig.check.transmitter_is_on(),
    "next": lambda rig: rig.check.next_step(),
    "repeat": lambda rig: rig.check.repeat(rig.check.step),
    "back": lambda rig: rig.check.go_to(Step.SENSORS),
    "blind": lambda rig: setattr(rig, "telemetry_on", not rig.telemetry_on),
}


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.sampled_from(sorted(REQUESTS)),
        max_size=25,
    )
)
def test_any_order_of_requests_ends_in_a_verdict(requests: list[str]) -> None:
    rig = Rig(setting=planned(5.0, 10.0, hold_s=0.5), fixes=True)
    for request in requests:
        REQUESTS[request](rig)
        rig.run(0.2)
        view = rig.check.view()
        assert view.instruction
        assert all(0.0 <= step.progress <= 1.0 for step in view.steps)
    rig.check.finish()
    # Two marks so near to each other are never enough.
    assert rig.record().verdict is Verdict.HOLD


def test_dates_are_kept() -> None:
    assert Rig().check.record(CHECKED).checked == CHECKED


def test_a_number_without_a_unit_is_mapped_by_its_two_points() -> None:
    profile = VehicleProfile(raw_map=TwoPoints(low=0.0, low_dbm=-100.0, high=1000.0, high_dbm=0.0))
    rig = Rig(profile=profile, level_dbm=lambda d, h: None)
    encode = rig.sender.encode

    def with_number(kind: str, values: Mapping[str, Value], clock_us: int) -> bytes:
        if kind == "radio":
            raw = round(10.0 * (law_dbm(rig.distance_m) + 100.0))
            values = {**values, "control_signal_raw": raw}
        return encode(kind, values, clock_us)

    rig.sender.encode = with_number  # type: ignore[method-assign]
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(20.0)
    rig.distance_m = 20.0
    rig.run(6.5)
    (hold,) = rig.record().holds
    assert hold.kind is LevelKind.RAW
    assert hold.level_dbm == pytest.approx(law_dbm(20.0), abs=0.1)


def test_a_new_link_forgets_the_half_frame_of_the_old_one() -> None:
    rig = Rig()
    rig.check.handle(BytesReceived(0.0, b"\x05\x11"))
    rig.check.handle(LinkChanged(0.0, LinkState.CONNECTED))
    rig.check.handle(MarkMade(0.0))
    rig.run(6.0)
    assert rig.check.step is Step.FAILSAFE


def test_a_mark_that_is_too_near_by_fix_is_refused() -> None:
    rig = Rig(fixes=True)
    rig.place_driver()
    rig.distance_m = 0.2
    rig.run(2.0)
    assert "where you stand" in rig.check.mark_by_fix()


def test_behind_the_last_step_there_is_none_and_looking_again_forgets_nothing() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.go_to(Step.VERDICT)
    assert rig.check.next_step() == "this is the last step"
    before = rig.record()
    assert rig.check.repeat(Step.VERDICT) == "step 4, verdict"
    assert rig.check.step is Step.VERDICT
    assert rig.record() == before


def test_a_step_that_holds_says_so() -> None:
    rig = Rig(failsafe_throttle=10.0)
    rig.run(6.0)
    rig.prove_failsafe()
    holds = {each.step: each.holds for each in rig.check.view().steps}
    assert (holds[Step.SENSORS], holds[Step.FAILSAFE]) == (False, True)


def test_a_car_that_is_switched_off_and_on_has_to_stand_anew() -> None:
    held_s = []
    for rebooted in (False, True):
        rig = Rig()
        rig.run(6.0)
        rig.prove_failsafe()
        rig.run(1.0, bob_g=0.25)
        rig.check.mark_typed(10.0)
        rig.run(0.6)
        if rebooted:
            rig.check.handle(BytesReceived(rig.t_s + 0.005, Sender().encode("motion", {}, 10_000)))
        rig.run(0.5)
        held_s.append(rig.check.view().walk.held_s)
    assert held_s[0] > 0.1
    assert held_s[1] == 0.0


def test_without_a_mark_there_is_no_heading() -> None:
    rig = Rig()
    assert rig.check.next_heading() == "headings belong to the walk"
    rig.check.go_to(Step.WALK)
    assert rig.check.next_heading() == "tell the mark first"


def test_a_turn_in_the_middle_of_a_hold_is_counted() -> None:
    rig = Rig()
    rig.run(6.0)
    rig.prove_failsafe()
    rig.check.mark_typed(10.0)
    rig.run(6.5)
    rig.turn()
    rig.run(3.0)
    rig.turn()
    rig.run(6.5)
    assert [hold.heading_deg for hold in rig.record().holds] == [0, 180]


def test_a_walk_that_is_done_says_so_to_whoever_comes_back() -> None:
    rig = Rig(setting=planned(10.0, 20.0, hold_s=1.0))
    rig.run(6.0)
    rig.prove_failsafe()
    for distance_m in (10.0, 20.0):
        rig.carry(distance_m)
        rig.hold_all(1.0)
    rig.run(0.2)
    rig.check.go_to(Step.WALK)
    assert rig.check.view().instruction == "All marks are walked: finish"


def test_a_receiver_without_a_percentage_is_judged_by_its_level() -> None:
    record = Rig(lowest_only=True).whole(MARKS_M)
    assert record.verdict is Verdict.GO
    assert {hold.received_percent for hold in record.holds} == {None}
