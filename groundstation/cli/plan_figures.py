"""A course plan as one object of plain data, for `plan --json`. An unknown value is null."""

from __future__ import annotations

from dataclasses import asdict

from groundstation.cli.plan_words import CAUTION, Told
from groundstation.planning.plan import Gain, Place, Plan
from groundstation.planning.reach import Reach


def plan_figures(plan: Plan, told: Told) -> dict[str, object]:
    """Return everything that the plan says."""
    course, radio = plan.course, plan.radio
    return {
        "caution": CAUTION,
        "vehicle": told.vehicle,
        "assumed": sorted(told.assumed),
        "range_check": _check(plan, told),
        "course": {
            "length_m": course.length_m,
            "driver_at_m": course.stands_at_m,
            "driver_at_middle": course.driver_at_m is None,
            "driver_aside_m": course.driver_aside_m,
            "speed_mps": course.speed_mps,
            "react_s": course.braking.react_s,
            "latency_s": course.braking.latency_s,
            "decel_mps2": course.braking.decel_mps2,
            "decel_sigma_mps2": course.braking.decel_sigma_mps2,
            "overrun_m": course.overrun_m,
            "stop_at_m": course.stop_at_m,
        },
        "radio": {
            **asdict(radio.budget),
            "transmitter_height_m": radio.transmitter_height_m,
            "car_height_m": radio.car_height_m,
            "frequency_hz": radio.frequency_hz,
            "ground": asdict(radio.ground),
            "polarisation": str(radio.polarisation),
        },
        "required_margin_db": plan.required_margin_db,
        "judged_by": "two_ray" if plan.checked is None else "checked_p05",
        "enough": plan.enough,
        **_reach(plan.reach),
        "worst": _place(plan.worst),
        "places": [_place(place) for place in plan.places],
        "fresnel_clear_to_m": plan.fresnel_clear_to_m,
        "doubling_db": plan.doubling_db,
        "changes": [_gain(gain) for gain in plan.gains],
    }


def _check(plan: Plan, told: Told) -> dict[str, object] | None:
    if plan.checked is None:
        return None
    check = told.check
    return {
        "checked": None if check is None else check.checked.isoformat(),
        "verdict": None if check is None else str(check.verdict),
        **asdict(plan.checked.prior),
    }


def _place(place: Place) -> dict[str, object]:
    return {**asdict(place), "name": place.name or None}


def _reach(reach: Reach) -> dict[str, object]:
    return {
        "longest_course_m": reach.longest_course_m,
        "longest_course_is_at_least": reach.unlimited,
        "lift_at_m": reach.lift_at_m,
        "edge_at_m": reach.edge_at_m,
        "reach_m": reach.reach_m,
    }


def _gain(gain: Gain) -> dict[str, object]:
    return {
        "change": str(gain.change),
        "driver_at_m": gain.course.stands_at_m,
        "transmitter_height_m": gain.radio.transmitter_height_m,
        "frequency_hz": gain.radio.frequency_hz,
        "far_end_db": gain.far_end_db,
        "stop_db": gain.stop_db,
        "longer_m": gain.longer_m,
        **_reach(gain.reach),
    }
