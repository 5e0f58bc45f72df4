"""All that is told of a session, joined, and as JSON."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
import pytest

from groundstation.analysis.record import Columns
from groundstation.analysis.session import (
    FASTEST_M,
    Questions,
    SteeringQuestion,
    analyse,
)
from groundstation.analysis.session_json import as_json, plain
from groundstation.simulator.road import lay_joints
from groundstation.units import STANDARD_GRAVITY_MPS2
from tests.groundstation.analysis.driven import (
    EMPTY,
    LATE_SEED,
    late_and_steady,
    record_from,
    there_and_stop,
    with_channel,
    without,
)
from tests.groundstation.report.tellings import telling_of


def test_two_opposite_passes_give_their_mean() -> None:
    analysis = telling_of("opposite_passes").analysis
    first, second = analysis.passes
    assert (first.forward, second.forward) == (True, False)
    assert first.timed is not None
    assert second.timed is not None
    assert first.timed.distance_m == FASTEST_M
    mean = analysis.two_way
    assert mean is not None
    # Mean of the times, by hand.
    by_hand = 2 * FASTEST_M / (first.timed.time_s + second.timed.time_s)
    assert mean.by_time_mps == pytest.approx(by_hand)
    assert analysis.incident is None
    assert analysis.fastest is first


def test_a_trap_is_measured_between_its_places() -> None:
    record = record_from(there_and_stop)
    (one,) = analyse(record, Questions(trap_m=(60.0, 110.0))).passes
    assert one.timed is not None
    assert one.timed.distance_m == 50.0
    # Places count from where the pass begins, at 8 m/s and 4 m: v^2 = 2 * 8 (s + 4) until 40 m/s.
    start_s, end_s = (np.sqrt(2.0 * (at_m + 4.0) / 8.0) for at_m in (60.0, 96.0))
    expected_s = end_s - start_s + 14.0 / 40.0
    assert one.timed.time_s == pytest.approx(expected_s, rel=0.02)


def test_a_place_that_no_pass_reached_has_no_time() -> None:
    (one,) = analyse(record_from(there_and_stop), Questions(trap_m=(60.0, 9000.0))).passes
    assert one.timed is None


def test_the_lowest_margin_has_a_place() -> None:
    record = replace(
        record_from(there_and_stop), profile=replace(EMPTY.profile, threshold_dbm=-100.0)
    )
    t_s = np.arange(0.0, 20.0, 0.1)
    rssi_dbm = np.where(np.abs(t_s - 8.0) < 0.01, -93.0, -60.0)
    radio = Columns(t_s, {"control_rssi_dbm": rssi_dbm})
    (one,) = analyse(replace(record, kinds={**record.kinds, "radio": radio})).passes
    assert one.lowest is not None
    assert one.lowest.margin_db == pytest.approx(7.0)
    assert one.lowest.t_s == pytest.approx(8.0)
    assert one.lowest.along_m == pytest.approx(96.0, abs=2.5)
    assert one.lowest.speed_mps == pytest.approx(40.0, abs=0.5)


def test_a_clipped_shock_is_harder_than_any_measured_one() -> None:
    record = telling_of("oscillation_before").analysis
    (one,) = record.passes
    assert one.hardest is not None
    assert one.hardest.clipped
    assert one.hardest.peak_g is None


def test_a_joint_lies_at_one_place_out_and_back_however_late_the_fixes_are() -> None:
    """The joints against those that the simulated road has: 0.1 s late is 5 m apart at 25 m/s."""
    record, scenario = late_and_steady(0.1)
    analysis = analyse(record)
    assert {each.forward for each in analysis.passes} == {True, False}
    laid_m = np.array([each.position_m for each in lay_joints(scenario.course.road, LATE_SEED)])
    laid_m -= scenario.course.driver_along_m
    both = [each for each in analysis.joints if each.hit_again]
    assert len(both) >= 10
    for joint in both:
        assert np.abs(laid_m - joint.along_m).min() < 0.5
        assert joint.spread_m < 0.8
    assert np.diff([each.along_m for each in analysis.joints]).min() > 5.0


def test_a_crash_is_told() -> None:
    analysis = telling_of("crash").analysis
    assert analysis.incident is not None
    assert analysis.incident.order[0] == "yaw"


def test_what_is_lacking_is_named_once_each() -> None:
    record = without(record_from(there_and_stop), "fix")
    analysis = analyse(record)
    assert {each.part for each in analysis.left_out} == {"link", "yaw", "shocks", "place"}
    assert analysis.why_not("yaw") == "no yaw rate in this recording"
    assert analysis.why_not("speed") is None
    assert analysis.passes[0].speed is not None
    assert analysis.passes[0].forward is None


def test_a_level_without_a_threshold_is_no_margin() -> None:
    record = record_from(there_and_stop)
    radio = Columns(np.arange(20.0), {"control_rssi_dbm": np.full(20, -70.0)})
    analysis = analyse(replace(record, kinds={**record.kinds, "radio": radio}))
    assert "--threshold" in (analysis.why_not("link") or "")
    assert analysis.passes[0].lowest is None


def test_fixes_alone_tell_speed_and_place() -> None:
    analysis = analyse(without(record_from(there_and_stop), "motion"))
    (one,) = analysis.passes
    assert one.forward is True
    assert one.speed is not None
    assert one.speed.witnesses == ("satellite",)
    assert one.place["along_m"][-1] == pytest.approx(240.0, abs=10.0)
    assert analysis.why_not("yaw") == "no yaw rate in this recording"


def test_no_pass_is_no_figure() -> None:
    analysis = analyse(record_from(np.zeros_like))
    assert analysis.passes == ()
    assert analysis.fastest is None
    assert analysis.why_not("braking") == "no pass was found in this recording"


def test_no_speed_at_all_is_said_so() -> None:
    record = with_channel(record_from(there_and_stop), "motion", "speed_mps", np.nan)
    assert "no speed" in (analyse(without(record, "fix")).why_not("speed") or "")


def test_the_steering_schedule_goes_beyond_what_was_driven() -> None:
    asked = SteeringQuestion(wheelbase_m=0.36, lock_deg=25.0, lateral_g=0.8, step_mps=5.0)
    analysis = analyse(record_from(there_and_stop), Questions(steering=asked))
    speeds = [each.speed_mps for each in analysis.steering]
    assert speeds[0] == 5.0
    assert speeds[-1] > 40.0
    fast = analysis.steering[-1]
    assert fast.side_mps2 == pytest.approx(0.8 * STANDARD_GRAVITY_MPS2)


@pytest.mark.parametrize("name", ["crash", "opposite_passes", "range_edge"])
def test_json_knows_no_nan(name: str) -> None:
    figures = as_json(telling_of(name).analysis)
    text = json.dumps(figures, allow_nan=False)
    read = json.loads(text)
    assert read["passes"][0]["speed"]["peak"]["speed_mps"] > 40.0
    assert read["vehicle"]["name"] == "invented car"


def test_json_of_nothing_is_null() -> None:
    figures = as_json(analyse(without(record_from(there_and_stop), "fix")))
    assert figures["course"] is None
    assert figures["two_way"] is None
    assert figures["passes"][0]["lowest_margin"] is None  # type: ignore[index]
    assert figures["passes"][0]["speed"]["satellite_max_mps"] is None  # type: ignore[index]


class Colour(Enum):
    RED = "red"


@dataclass
class Held:
    number: float
    series: np.ndarray
    colour: Colour


def test_plain_values() -> None:
    held = Held(float("nan"), np.zeros(3), Colour.RED)
    assert plain(held) == {"number": None, "colour": "red"}
    assert plain([np.float64(1.5), np.bool_(True), float("inf")]) == [1.5, True, None]
    with pytest.raises(TypeError, match="object"):
        plain(object())
