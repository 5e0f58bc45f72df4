"""Whether the incident timeline tells the order of events right, over simulated crashes.

Definitions. The truth is taken from the simulator's world, not from its telemetry: the control link
leaves the normal when the local mean margin falls under 3 dB (or failsafe begins); the yaw when its
true rate exceeds 1.5 times the most that the same run without the fault shows at that speed (and 20
deg/s), or the heading is 12 deg off, for 0.1 s of half a second, and is never back for a second
before the roll; the shock is the front axle's
meeting the pothole; the pack when a cell drops; the roll when the tyres let go; silence when the
telemetry dies. Yaw and shocks of the roll itself count for nothing on either side. A session's
order is right when the timeline names exactly the subjects that truly left the normal, in the true
order; two that are truly less than 0.2 s apart may come either way.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from enum import StrEnum
from math import hypot
from multiprocessing import Pool

import numpy as np

from groundstation.analysis.course import course_of, local_m
from groundstation.analysis.incident import Incident, incident_of
from groundstation.analysis.incident_departure import Subject
from groundstation.analysis.passes import find_passes
from groundstation.analysis.record import Record, record_of
from groundstation.simulator.channel import ChannelParameters
from groundstation.simulator.command import Command
from groundstation.simulator.control_receiver import ControlReceiverParameters
from groundstation.simulator.drive import PackParameters
from groundstation.simulator.driver_plan import DriverPlan, Pass, Wait
from groundstation.simulator.road import Joint, RoadParameters
from groundstation.simulator.scenario import CarParameters, CourseParameters, Scenario
from groundstation.simulator.simulation import Simulation, simulate_truth
from groundstation.simulator.truth import Truths
from groundstation.simulator.yaw import StabiliserParameters, YawParameters
from protocol.batch import decode
from tests.benchmarks._analysis_rows import Row
from tests.benchmarks._shares import wilson

PROCESSES = 2
APART_S = 0.2
TARGET_ORDER = 0.95
TARGET_INSIDE = 0.93
"""Of a radius that is to hold the car in 95 % of cases."""
TARGET_WRONG = 0.02
TRIES = 14
"""A run that does not end badly is drawn anew, so often at most."""
WAIT_S = 1.5
LONG_COURSE = CourseParameters(driver_along_m=215.0, driver_across_m=-7.0)
BALLAST_BACK = YawParameters(front_m=0.176, rear_m=0.154)


class Cause(StrEnum):
    """What truly went wrong first."""

    LINK_BRAKES = "link lost, failsafe brakes"
    LINK_HOLDS = "link lost, failsafe holds the throttle"
    BUMP = "bump"
    SWAY = "growing sway"
    PACK = "pack sags"


@dataclass(frozen=True, slots=True)
class Outcome:
    """What is kept of a session."""

    cause: Cause
    seed: int
    truth: Mapping[Subject, float]
    """Seconds since the start."""
    told: Mapping[Subject, float]
    right: bool
    first_right: bool
    position_error_m: float
    radius_m: float


def healthy(source: np.random.Generator) -> Scenario:
    """Return a pass on which nothing is wrong."""
    return Scenario(
        name="incident",
        summary="A pass drawn at random.",
        duration_s=26.0,
        plan=DriverPlan(legs=(Wait(WAIT_S), Pass(lift_at_m=float(source.uniform(330.0, 420.0))))),
        course=LONG_COURSE,
        channel=ChannelParameters(shadow_sigma_db=float(source.uniform(1.0, 2.0))),
        receiver=ControlReceiverParameters(
            sensitivity_dbm=-112.0, noise_dbm=-120.0, reported_floor_dbm=-116.0
        ),
    )


def faulty(good: Scenario, cause: Cause, source: np.random.Generator) -> Scenario:
    """Return the same pass with one thing wrong, and a car that crashes of it."""
    car, course, receiver = good.car, good.course, good.receiver
    match cause:
        case Cause.LINK_BRAKES | Cause.LINK_HOLDS:
            # The edge comes before the speed at which the car of the first kind swings out.
            brakes = cause is Cause.LINK_BRAKES
            least_m, most_m = (-45.0, -30.0) if brakes else (-80.0, 20.0)
            course = replace(course, driver_along_m=float(source.uniform(least_m, most_m)))
            least_dbm, most_dbm = (-79.0, -76.0) if brakes else (-93.0, -88.0)
            receiver = replace(receiver, sensitivity_dbm=float(source.uniform(least_dbm, most_dbm)))
            throttle = float(source.uniform(0.5, 1.0)) if cause is Cause.LINK_HOLDS else -0.9
            receiver = replace(receiver, failsafe_command=Command(throttle=throttle))
            if cause is Cause.LINK_BRAKES:
                car = _rear_heavy(car, source)
        case Cause.BUMP:
            place_m = float(source.uniform(60.0, 130.0))
            sign = float(source.choice([-1.0, 1.0]))
            hole = Joint(
                place_m, float(source.uniform(0.035, 0.06)), sign * float(source.uniform(9.0, 14.0))
            )
            course = replace(course, road=RoadParameters(potholes=(hole,)))
            car = _rear_heavy(car, source)
        case Cause.SWAY:
            gain = float(source.uniform(0.62, 0.85))
            car = replace(
                car,
                stabiliser=StabiliserParameters(gain_percent_per_dps=gain, authority_percent=80.0),
            )
        case Cause.PACK:
            empty_at = car.pack.charge_used + float(source.uniform(0.006, 0.016))
            car = replace(_rear_heavy(car, source), pack=PackParameters(cell_empty_at=empty_at))
    return replace(good, car=car, course=course, receiver=receiver)


def _rear_heavy(car: CarParameters, source: np.random.Generator) -> CarParameters:
    gain = float(source.uniform(0.12, 0.22))
    return replace(car, yaw=BALLAST_BACK, stabiliser=StabiliserParameters(gain))


def record_from(scenario: Scenario, seed: int) -> Record:
    """Return what the ground station records of a run."""
    batch = decode(b"".join(each.data for each in Simulation(scenario, seed=seed)))
    vehicle = batch.first_vehicle
    assert vehicle is not None
    return record_of(batch, vehicle=vehicle, driver=scenario.course.driver_deg)


def true_onsets(
    scenario: Scenario, run: Truths, twin: Truths, cause: Cause
) -> dict[Subject, float]:
    """Return when each subject truly left the normal, seconds since the start."""
    crashed = np.flatnonzero(run.crashed)
    roll = int(crashed[0]) if len(crashed) else len(run.t_s)
    end = roll
    silent_s = scenario.car.tumble.silent_after_s
    moving = (run.speed_mps > 8.0) | run.crashed
    found: dict[Subject, float] = {}

    def note(subject: Subject, rows: np.ndarray) -> None:
        out = np.flatnonzero(rows & moving)
        if len(out):
            found[subject] = float(run.t_s[out[0]])

    note(Subject.CONTROL_LINK, (run.local_mean_margin_db < 3.0) | run.failsafe)
    most = _most_yaw_dps(run.speed_mps, twin)
    off = (np.abs(run.yaw_rate_dps) > most) | (np.abs(run.heading_deg) > 12.0)
    found |= _yaw_onset(run, _lasting(off), roll)
    if cause is Cause.BUMP:
        hole_m = scenario.course.road.potholes[0].position_m - scenario.car.yaw.front_m
        note(Subject.SHOCK, run.position_m >= hole_m)
    if end < len(run.t_s):
        found[Subject.ROLL] = float(run.t_s[roll])
        if silent_s is not None:
            found[Subject.TELEMETRY] = float(run.t_s[roll]) + silent_s
    if cause is Cause.PACK:
        drops = np.diff(run.pack_voltage_v, prepend=run.pack_voltage_v[0])
        row = int(np.argmin(drops))
        if drops[row] < -2.0 and row < end:
            found[Subject.PACK] = float(run.t_s[row])
    return found


def _yaw_onset(run: Truths, off: np.ndarray, roll: int) -> dict[Subject, float]:
    """Return when the yaw was off for good: never back for a second before the roll."""
    out = np.flatnonzero(off[: roll + 1] & (run.speed_mps[: roll + 1] > 8.0))
    if not len(out):
        return {}
    breaks = np.flatnonzero(np.diff(run.t_s[out]) > 1.0)
    return {Subject.YAW: float(run.t_s[out[int(breaks[-1]) + 1 if len(breaks) else 0]])}


def _lasting(off: np.ndarray) -> np.ndarray:
    """Return where it begins to be off for 0.1 s in all of the half second that follows."""
    total = np.concatenate([[0], np.cumsum(off)])
    until = np.minimum(np.arange(len(off)) + 50, len(off))
    return np.asarray(off & (total[until] - total[:-1] >= 10))


def _most_yaw_dps(speed_mps: np.ndarray, twin: Truths) -> np.ndarray:
    """Return the most that the healthy car yaws at each speed, with what is still like it."""
    edges = np.arange(0.0, 80.0, 2.0)
    rows = twin.speed_mps > 1.0
    most = np.array(
        [
            np.max(
                np.abs(twin.yaw_rate_dps[rows & (np.abs(twin.speed_mps - edge) < 4.0)]), initial=0
            )
            for edge in edges
        ]
    )
    return np.maximum(1.5 * np.interp(speed_mps, edges, np.maximum.accumulate(most)), 20.0)


def order_is_right(truth: Mapping[Subject, float], told: Mapping[Subject, float]) -> bool:
    """Return whether exactly the true subjects are told, in the true order but for ties."""
    truth, told = _before_roll(truth), _before_roll(told)
    if set(truth) != set(told):
        return False
    return all(
        told[first] < told[second]
        for first in truth
        for second in truth
        if truth[second] - truth[first] >= APART_S
    )


def _before_roll(onsets: Mapping[Subject, float]) -> dict[Subject, float]:
    latest_s = onsets.get(Subject.ROLL, np.inf) - APART_S
    part_of_it = (Subject.YAW, Subject.SHOCK)
    return {
        subject: at_s
        for subject, at_s in onsets.items()
        if subject not in part_of_it or at_s <= latest_s
    }


def outcome_of(job: tuple[int, Cause]) -> Outcome | None:
    """Simulate a crash and compare its timeline with the truth."""
    number, cause = job
    for attempt in range(TRIES):
        seed = number + 100_000 * attempt
        source = np.random.default_rng([seed, 41, list(Cause).index(cause)])
        good = healthy(source)
        scenario = faulty(good, cause, source)
        run = simulate_truth(scenario, seed)
        roll = int(np.argmax(run.crashed))
        if not run.crashed[roll] or run.speed_mps[roll] < 12.0:
            continue
        if run.t_s[roll] > scenario.duration_s - 2.0:
            continue
        truth = true_onsets(scenario, run, simulate_truth(good, seed), cause)
        record = record_from(scenario, seed)
        spans = find_passes(record)
        incident = incident_of(record, spans, course_of(record, spans))
        ends = record.ends_s()
        assert ends is not None
        return _judged(cause, seed, scenario, truth, run, incident, ends[0] - 0.01)
    return None


def _judged(
    cause: Cause,
    seed: int,
    scenario: Scenario,
    truth: dict[Subject, float],
    run: Truths,
    incident: Incident | None,
    zero_s: float,
) -> Outcome:
    told: dict[Subject, float] = {}
    error_m = radius_m = np.nan
    if incident is not None:
        for each in incident.departures:
            told.setdefault(each.subject, each.onset_s - zero_s)
        place = incident.position
        if place is not None:
            row = min(round((place.at_s - zero_s) / 0.01) - 1, len(run.t_s) - 1)
            truly = scenario.course.origin.place_deg(
                float(run.position_m[row]), float(run.across_m[row])
            )
            east_m, north_m = local_m(
                truly, np.array([place.latitude_deg]), np.array([place.longitude_deg])
            )
            error_m, radius_m = hypot(float(east_m[0]), float(north_m[0])), place.radius_m
    first = min(truth, key=lambda each: truth[each])
    told_first = min(told, key=lambda each: told[each]) if told else None
    tie = told_first is not None and truth.get(told_first, np.inf) - truth[first] < APART_S
    return Outcome(cause, seed, truth, told, order_is_right(truth, told), tie, error_m, radius_m)


ENDED_WELL = ("good pass", "gain turned up", "weak aerial")


def wrongly_bad(job: tuple[int, str]) -> bool | None:
    """Return whether a session that ended well is told to have ended badly; None if it did not."""
    seed, kind = job
    source = np.random.default_rng([seed, 42])
    scenario = healthy(source)
    if kind == "gain turned up":
        stabiliser = StabiliserParameters(gain_percent_per_dps=0.48)
        scenario = replace(scenario, car=replace(scenario.car, stabiliser=stabiliser))
    elif kind == "weak aerial":
        weak_db = float(source.uniform(8.0, 16.0))
        scenario = replace(scenario, channel=replace(scenario.channel, disturbance_db=weak_db))
    scenario = replace(scenario, duration_s=24.0)
    run = simulate_truth(scenario, seed)
    if run.crashed.any() or run.failsafe.any():
        return None
    record = record_from(scenario, seed)
    spans = find_passes(record)
    return incident_of(record, spans, course_of(record, spans)) is not None


def rows(sessions: int, seed: int) -> list[Row]:
    """Return the figures of a Monte Carlo.

    Args:
        sessions: Crashes to simulate, evenly spread over the causes; a third as many end well.
        seed: Of the first; the others follow.
    """
    each = -(-sessions // len(Cause))
    # Each cause meets roads of its own, so that the sessions are independent.
    crashes = [
        (seed + 1000 * kind + number, cause)
        for kind, cause in enumerate(Cause)
        for number in range(each)
    ]
    well = -(-sessions // (3 * len(ENDED_WELL)))
    calm = [(seed + number, kind) for kind in ENDED_WELL for number in range(well)]
    with Pool(PROCESSES) as pool:
        found = [one for one in pool.map(outcome_of, crashes, chunksize=2) if one is not None]
        wrong = [one for one in pool.map(wrongly_bad, calm, chunksize=2) if one is not None]
    table = [
        _share("order of events right", [one.right for one in found], least=TARGET_ORDER),
        _share("what came first right", [one.first_right for one in found], least=TARGET_ORDER),
        _share(
            "car was within the radius told of its last position",
            [one.position_error_m <= one.radius_m for one in found],
            least=TARGET_INSIDE,
        ),
        _share("ended well, told to have ended badly", wrong, most=TARGET_WRONG),
    ]
    table += [
        _share(f"order right: {cause}", [one.right for one in found if one.cause is cause])
        for cause in Cause
    ]
    errors_s = [
        abs(one.told[subject] - one.truth[subject])
        for one in found
        for subject in one.truth
        if subject in one.told
    ]
    table.append(Row("median error of an onset", float(np.median(errors_s)), "s"))
    return table


def _share(
    name: str, hits: list[bool], *, least: float | None = None, most: float | None = None
) -> Row:
    count, trials = sum(hits), len(hits)
    share = count / max(trials, 1)
    target = "" if least is None else f">= {least}"
    target += "" if most is None else f"<= {most}"
    met = None if not target else (least is None or share >= least)
    if most is not None:
        met = share <= most
    return Row(f"{name} ({trials} sessions)", share, "", wilson(count, trials), target, met)
