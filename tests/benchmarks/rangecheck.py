"""How often a range check holds a car whose aerial lies wrong, and how often one that is well.

Each car has a history of checks of its own, then one more check: undisturbed, disturbed in every
direction, or shadowed on one side. Baseline, on the same checks: a car is held when its mean level
over all marks is 3 dB or more under the mean of the earlier checks. The whole walk is judged; the
failsafe cases are tests, not samples (tests/groundstation/rangecheck/test_failsafe.py). Then, of a
day like any other, how often the true mean level in the weakest direction lies under the 5 %
forecast, at distances within and beyond the marks.

Reports come from the simulator's channel and receiver, one check some 4000 packets. They go
straight into the average of each hold; that frames through the whole core give the same holds is
proven in tests/groundstation/rangecheck/test_cars.py.
"""

from __future__ import annotations

import argparse
import json
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cache
from math import radians
from statistics import fmean, pstdev
from time import perf_counter
from typing import Any

from groundstation.radio.forecast import Braking
from groundstation.rangecheck.finding import Rule
from groundstation.rangecheck.fit import CheckFit, fit_holds, usable
from groundstation.rangecheck.record import Bound, CheckRecord, Hold, Verdict
from groundstation.rangecheck.setting import CheckSetting, CourseSetting
from groundstation.rangecheck.verdict import judge_walk, verdict_of
from groundstation.simulator.channel import ControlChannel
from tests.benchmarks._rangecheck_cars import DayToDay, Disturbance, holds, invent_car
from tests.benchmarks._shares import wilson
from tests.benchmarks._targets import Row

THRESHOLD_DBM = -100.0
REQUIRED_DB = 10.0
SETTING = CheckSetting(course=CourseSetting(far_end_m=30.0, top_speed_mps=15.0))
"""A course with margin to spare, so that only the comparison can hold an undisturbed car."""
BASELINE_DB = 3.0

FORECAST_M = (60.0, 90.0, 120.0, 160.0)
"""The farthest mark is at 80 m."""

HISTORIES = (1, 3, 5)
CASES = {
    "undisturbed": Disturbance(),
    "3 dB everywhere": Disturbance(level_db=3.0),
    "6 dB everywhere": Disturbance(level_db=6.0),
    "9 dB everywhere": Disturbance(level_db=9.0),
    "one side 9 dB": Disturbance(side_db=9.0, side_deg=90.0),
}
JUDGED = ("undisturbed", "6 dB everywhere", "9 dB everywhere")
"""Cases that have a target, with three earlier checks."""

QUICK = ("--checks", "100")


@dataclass
class Counted:
    """One case with one length of history."""

    checks: int = 0
    held: int = 0
    held_for_level: int = 0
    """By the comparison with the earlier checks, whatever else held."""
    baseline: int = 0
    reasons: dict[str, int] = field(default_factory=dict)
    shifts_db: list[float] = field(default_factory=list)


def run(checks: int = 500, first: int = 0, days: DayToDay | None = None) -> dict[str, Any]:
    """Return the figures of `checks` cars."""
    days = days or DayToDay()
    began_s = perf_counter()
    counted = {(case, length): Counted() for case in CASES for length in HISTORIES}
    for number in range(first, first + checks):
        car = invent_car(number)
        earlier = [_record(holds(car, day, days=days)) for day in range(max(HISTORIES))]
        for case, disturbance in CASES.items():
            today = holds(car, 1000, disturbance, days)
            for length in HISTORIES:
                _count(counted[case, length], today, earlier[-length:])
    rows: list[dict[str, object]] = [
        {
            "case": case,
            "earlier": length,
            "checks": row.checks,
            "held": row.held / row.checks,
            "held_95": wilson(row.held, row.checks),
            "held_for_level": row.held_for_level / row.checks,
            "held_for_level_95": wilson(row.held_for_level, row.checks),
            "baseline": row.baseline / row.checks,
            "baseline_95": wilson(row.baseline, row.checks),
            "mean_shift_db": fmean(row.shifts_db) if row.shifts_db else None,
            "reasons": dict(sorted(row.reasons.items())),
        }
        for (case, length), row in counted.items()
    ]
    forecasts = [_forecast(distance_m, first, checks) for distance_m in FORECAST_M]
    return {"rows": rows, "forecasts": forecasts, "took_s": perf_counter() - began_s}


def _forecast(distance_m: float, first: int, checks: int) -> dict[str, object]:
    """Return how the forecast at a distance compares with the truth."""
    under, errors_db = 0, list[float]()
    for number in range(first, first + checks):
        fit, air = _like_any_other(number)
        margin_db, low_db = fit.margin_p05_db(distance_m, THRESHOLD_DBM)
        truth_dbm = min(
            air.local_mean_dbm(distance_m, 0.0, radians(heading_deg))
            for heading_deg in range(0, 360, 10)
        )
        under += truth_dbm - THRESHOLD_DBM < low_db
        errors_db.append(truth_dbm - THRESHOLD_DBM - margin_db)
    return {
        "distance_m": distance_m,
        "under_p05": under / checks,
        "under_p05_95": wilson(under, checks),
        "mean_error_db": fmean(errors_db),
        "sigma_db": pstdev(errors_db),
    }


@cache
def _like_any_other(number: int) -> tuple[CheckFit, ControlChannel]:
    """Return the fit of a car's check on a day without anything of its own, and the air itself."""
    car = invent_car(number)
    still = DayToDay(level_sigma_db=0.0, shadow_share=0.0)
    fit = fit_holds(usable(holds(car, 0, days=still), SETTING.least_reports))
    assert fit is not None
    air = ControlChannel(
        car.parameters, driver_along_m=0.0, driver_across_m=0.0, seed=car.course_seed
    )
    return fit, air


def _count(row: Counted, today: tuple[Hold, ...], earlier: list[CheckRecord]) -> None:
    judged = judge_walk(
        today,
        setting=SETTING,
        threshold_dbm=THRESHOLD_DBM,
        required_margin_db=REQUIRED_DB,
        braking=Braking(),
        earlier=earlier,
        bound=Bound(),
    )
    row.checks += 1
    row.held += verdict_of(judged.findings) is Verdict.HOLD
    held = {finding.rule for finding in judged.findings if finding.holds}
    row.held_for_level += bool(held & {Rule.LEVEL, Rule.PATTERN})
    for rule in held:
        row.reasons[rule] = row.reasons.get(rule, 0) + 1
    if judged.comparison is not None:
        row.shifts_db.append(judged.comparison.shift_db)
    before = fmean(_mean_dbm(record.holds) for record in earlier)
    row.baseline += _mean_dbm(today) <= before - BASELINE_DB


def _mean_dbm(held: tuple[Hold, ...]) -> float:
    return fmean(hold.level_dbm for hold in held if hold.level_dbm is not None)


def _record(held: tuple[Hold, ...]) -> CheckRecord:
    return CheckRecord(
        checked=datetime(2031, 5, 4, tzinfo=UTC),
        bound=Bound(),
        verdict=Verdict.GO,
        findings=(),
        holds=held,
    )


def targets(found: dict[str, Any]) -> list[Row]:
    """Return what was to be reached."""
    rows = []
    for row in found["rows"]:
        case = row["case"]
        if row["earlier"] != 3 or case not in JUDGED:
            continue
        share = row["held" if case == "undisturbed" else "held_for_level"]
        met = share <= 0.05 if case == "undisturbed" else share >= 0.95
        target = "<= 5 %" if case == "undisturbed" else ">= 95 %"
        ratio = share / row["baseline"] if row["baseline"] else None
        work = f"range check holds: {case}"
        rows.append(Row(work, f"{share:.1%}", target, met, "3 dB under the mean", ratio))
    return rows


def main(argv: list[str]) -> int:
    """Print the table, or JSON; 1 where a target is missed."""
    parser = argparse.ArgumentParser(prog="rangecheck", description=__doc__)
    parser.add_argument("--checks", type=int, default=500, help="cars of each case")
    parser.add_argument("--first", type=int, default=0, help="number of the first car")
    parser.add_argument(
        "--day-sigma-db",
        type=float,
        default=DayToDay().level_sigma_db,
        help="how far the level differs from day to day",
    )
    parser.add_argument("--json", action="store_true")
    arguments = parser.parse_args(argv)
    days = DayToDay(level_sigma_db=arguments.day_sigma_db)
    figures = run(arguments.checks, arguments.first, days)
    rows = figures["rows"]
    met = all(row.met for row in targets(figures))
    if arguments.json:
        print(json.dumps({**figures, "met": met}))
        return 0 if met else 1
    print(
        f"{'case':18} {'earlier':>7} {'HOLD':>7} {'for level, 95 %':>24} {'baseline':>9}  reasons"
    )
    for row in rows:
        low, high = row["held_for_level_95"]
        print(
            f"{row['case']:18} {row['earlier']:7} {row['held']:7.1%} {row['held_for_level']:9.1%} "
            f"({low:.1%} to {high:.1%}) {row['baseline']:8.1%}  {row['reasons']}"
        )
    for each in figures["forecasts"]:
        low, high = each["under_p05_95"]
        print(
            f"at {each['distance_m']:.0f} m {each['under_p05']:.1%} ({low:.1%} to {high:.1%}) lie "
            f"under the 5 % forecast; expected margin off by {each['mean_error_db']:+.1f} dB, "
            f"spread {each['sigma_db']:.1f} dB"
        )
    print(f"{figures['took_s']:.0f} s; targets {'met' if met else 'MISSED'}")
    return 0 if met else 1
