"""Whether the radio holds at the far end of the course, and on to where the car stops."""

from __future__ import annotations

from groundstation.radio.forecast import Braking, overrun_m
from groundstation.rangecheck.finding import Finding, Outcome, Rule, missing
from groundstation.rangecheck.fit import CheckFit
from groundstation.rangecheck.setting import CheckSetting


def margin_finding(
    fit: CheckFit | None,
    setting: CheckSetting,
    threshold_dbm: float | None,
    required_margin_db: float,
    braking: Braking,
) -> Finding:
    """Judge the forecast at the far end and the overrun."""
    course = setting.course
    if threshold_dbm is None:
        text = "no threshold of the receiver is known, so no margin"
        return missing(Rule.MARGIN, text, "give threshold_dbm in the vehicle's file")
    if course.far_end_m is None or course.top_speed_mps is None:
        text = "no course was given, so no margin at its far end"
        return missing(Rule.MARGIN, text, "give the far end of the course and the top speed")
    if fit is None:
        text = "no forecast: levels of two distances are the least"
        return missing(Rule.MARGIN, text, "do the walk")
    over_m = overrun_m(course.top_speed_mps, braking)
    distance_m = course.far_end_m + over_m
    margin_db, low_db = fit.margin_p05_db(distance_m, threshold_dbm)
    good = low_db >= required_margin_db
    return Finding(
        rule=Rule.MARGIN,
        outcome=Outcome.OK if good else Outcome.HOLD,
        text=f"margin {low_db:.1f} dB at 5 % (expected {margin_db:.1f} dB, weakest heading) at "
        f"{distance_m:.0f} m: far end {course.far_end_m:.0f} m and {over_m:.0f} m to stop from "
        f"top speed; required {required_margin_db:g} dB",
        look_at="" if good else _what_gains(required_margin_db - low_db),
        figures={
            "margin_p05_db": low_db,
            "margin_db": margin_db,
            "far_end_m": course.far_end_m,
            "overrun_m": over_m,
        },
    )


def _what_gains(short_db: float) -> str:
    share = 100.0 * (1.0 - 10.0 ** (-short_db / 40.0))
    return (
        f"{short_db:.1f} dB are short: a course some {share:.0f} % shorter (overrun included), "
        "a lower top speed, standing at mid-course, or holding the transmitter higher"
    )
