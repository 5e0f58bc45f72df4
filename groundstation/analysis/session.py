"""Everything that is found out after a session, in one frozen result.

Owns the joining: which analysis is asked of which pass, and one plain reason for each part that
this recording cannot answer. Rule: nothing here measures; the figures are those of the parts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.braking import (
    BrakingFigures,
    Learned,
    braking_of,
    learned_braking,
    learned_words,
)
from groundstation.analysis.course import Course, course_of, is_forward, place_over_time
from groundstation.analysis.incident import Incident, incident_of
from groundstation.analysis.link_by_place import LinkByPlace, link_by_place
from groundstation.analysis.passes import PassSpan, find_passes
from groundstation.analysis.record import Columns, Record
from groundstation.analysis.roughness import RoughCell, roughness_of
from groundstation.analysis.shocks import Joint, Shock, joints_of, shocks_of
from groundstation.analysis.speed import PassSpeed, fix_delay_s, speeds_of
from groundstation.analysis.steering import SteeringLimit, steering_schedule
from groundstation.analysis.timed import TimedRun, fastest_over, timed_between
from groundstation.analysis.two_way import TwoWayMean, best_two_way
from groundstation.analysis.yaw import YawFigures, yaw_of
from groundstation.analysis.yaw_model import CarGeometry
from groundstation.units import STANDARD_GRAVITY_MPS2

FASTEST_M = 20.0
"""Distance of the measured speed where no trap is named."""


@dataclass(frozen=True, slots=True)
class SteeringQuestion:
    """What a steering schedule is reckoned for."""

    wheelbase_m: float
    lock_deg: float
    """Wheel angle at 100 % steering."""
    lateral_g: float
    """Side acceleration not to be exceeded."""
    step_mps: float = 5.0
    """From row to row of the schedule."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Questions:
    """What is asked beside what is always told."""

    trap_m: tuple[float, float] | None = None
    """Two places along the course between which speed is measured; None: the fastest 20 m."""
    steering: SteeringQuestion | None = None
    geometry: CarGeometry | None = None
    """What a ruler tells of the car: narrows the damping's interval."""


@dataclass(frozen=True, slots=True)
class PassMargin:
    """The lowest margin of a pass, a single report."""

    margin_db: float
    t_s: float
    """Vehicle clock, of the report."""
    along_m: float | None
    speed_mps: float | None


@dataclass(frozen=True, slots=True, eq=False)
class PassAnalysis:
    """One pass."""

    span: PassSpan
    place: Columns
    """At each motion frame, else at each fix: `along_m`, and `aside_m` where fixes tell it."""
    forward: bool | None
    """Toward growing places of the course; None where that is not known."""
    way_m: float | None
    """Driven."""
    speed: PassSpeed | None
    """None where nothing told it."""
    timed: TimedRun | None
    """Through the trap, or over the fastest `FASTEST_M`; None where it did not cover that."""
    lowest: PassMargin | None
    """None where no margin is known."""
    yaw: YawFigures
    yaw_rate_abs_dps: float | None
    """Largest |yaw rate|, as it came."""
    accel_y_abs_g: float | None
    shocks: tuple[Shock, ...]
    braking: BrakingFigures | None

    @property
    def hardest(self) -> Shock | None:
        """The hardest shock; a clipped one counts as harder than any that was measured."""
        return max(self.shocks, key=lambda each: (each.clipped, each.size_g), default=None)


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A part that this recording cannot answer."""

    part: str
    """One of "speed", "link", "yaw", "shocks", "braking", "steering", "place"."""
    reason: str


@dataclass(frozen=True, slots=True, eq=False)
class SessionAnalysis:
    """One session."""

    record: Record
    questions: Questions
    course: Course | None
    passes: tuple[PassAnalysis, ...]
    two_way: TwoWayMean | None
    """Of the timed runs; None where no two are opposite and within the hour."""
    link: LinkByPlace
    joints: tuple[Joint, ...]
    roughness: tuple[RoughCell, ...]
    incident: Incident | None
    """None where the session ended well."""
    learned: Learned | None
    learned_words: str
    steering: tuple[SteeringLimit, ...]
    """Empty where it was not asked for."""
    left_out: tuple[LeftOut, ...]

    @property
    def fastest(self) -> PassAnalysis | None:
        """The pass with the highest peak."""
        known = [each for each in self.passes if each.speed is not None]
        return max(known, key=lambda each: each.speed.peak.speed_mps, default=None)  # type: ignore[union-attr]

    def why_not(self, part: str) -> str | None:
        """Return why a part is left out; None where it is there."""
        return next((each.reason for each in self.left_out if each.part == part), None)


def analyse(record: Record, questions: Questions | None = None) -> SessionAnalysis:
    """Return all that a recording tells.

    Args:
        record: One vehicle's recording.
        questions: What is asked beside what is always told.

    Raises:
        ValueError: The steering is asked for a car that cannot be.
    """
    questions = questions or Questions()
    spans = find_passes(record)
    course = course_of(record, spans)
    speeds = speeds_of(record, spans)
    delay_s = fix_delay_s(speeds)
    places = [place_over_time(record, course, span, fix_delay_s=delay_s) for span in spans]
    passes = tuple(
        _pass_of(record, span, place, speed, questions)
        for span, place, speed in zip(spans, places, speeds, strict=True)
    )
    braking = [each.braking for each in passes if each.braking is not None]
    return SessionAnalysis(
        record=record,
        questions=questions,
        course=course,
        passes=passes,
        two_way=best_two_way([each.timed for each in passes if each.timed is not None]),
        link=link_by_place(record, spans, places),
        joints=tuple(joints_of([shock for each in passes for shock in each.shocks])),
        roughness=tuple(roughness_of(record, spans, places)),
        incident=incident_of(record, spans, course, fix_delay_s=delay_s),
        learned=learned_braking(braking),
        learned_words=learned_words(braking),
        steering=_steering(questions, passes),
        left_out=tuple(_left_out(record, spans, passes)),
    )


def _pass_of(
    record: Record,
    span: PassSpan,
    place: Columns,
    speed: PassSpeed | None,
    questions: Questions,
) -> PassAnalysis:
    motion = record.motion.between(span.start_s, span.end_s)
    timed = way_m = None
    if speed is not None:
        inside = (speed.t_s >= span.start_s) & (speed.t_s <= span.end_s)
        ways_m = speed.way_m()[inside]
        way_m = float(ways_m[-1] - ways_m[0]) if len(ways_m) else None
        if questions.trap_m is not None:
            timed = timed_between(speed, place, *questions.trap_m)
        else:
            timed = fastest_over(speed, FASTEST_M, place=place)
    return PassAnalysis(
        span=span,
        place=place,
        forward=is_forward(place),
        way_m=way_m,
        speed=speed,
        timed=timed,
        lowest=_lowest(record, span, place, speed),
        yaw=yaw_of(record, span, questions.geometry),
        yaw_rate_abs_dps=_largest(motion, "yaw_rate_dps"),
        accel_y_abs_g=_largest(motion, "accel_y_g"),
        shocks=tuple(shocks_of(record, span, place)),
        braking=None if speed is None else braking_of(record, speed),
    )


def _lowest(
    record: Record, span: PassSpan, place: Columns, speed: PassSpeed | None
) -> PassMargin | None:
    radio = record.radio.between(span.start_s, span.end_s)
    threshold_dbm = record.threshold_dbm
    if threshold_dbm is None or np.all(np.isnan(radio["control_rssi_dbm"])):
        return None
    row = int(np.nanargmin(radio["control_rssi_dbm"]))
    at_s = float(radio.t_s[row])
    along_m = float(np.interp(at_s, place.t_s, place["along_m"])) if len(place) else float("nan")
    return PassMargin(
        margin_db=float(radio["control_rssi_dbm"][row]) - threshold_dbm,
        t_s=at_s,
        along_m=None if np.isnan(along_m) else along_m,
        speed_mps=None if speed is None else speed.at(at_s)[0],
    )


def _largest(columns: Columns, channel: str) -> float | None:
    values = columns[channel]
    return None if np.all(np.isnan(values)) else float(np.nanmax(np.abs(values)))


def _steering(questions: Questions, passes: tuple[PassAnalysis, ...]) -> tuple[SteeringLimit, ...]:
    asked = questions.steering
    if asked is None:
        return ()
    peaks_mps = [each.speed.peak.speed_mps for each in passes if each.speed is not None]
    # A little beyond what has been driven: the next pass is meant to be faster.
    rows = int(max(peaks_mps, default=40.0) / asked.step_mps) + 2
    return steering_schedule(
        (asked.step_mps * np.arange(1, rows + 1)).tolist(),
        most_side_mps2=asked.lateral_g * STANDARD_GRAVITY_MPS2,
        wheelbase_m=asked.wheelbase_m,
        steering_lock_deg=asked.lock_deg,
    )


def _left_out(
    record: Record, spans: list[PassSpan], passes: tuple[PassAnalysis, ...]
) -> list[LeftOut]:
    """Return what cannot be told, each with one plain reason."""
    if not spans:
        reason = "no pass was found in this recording"
        if not _heard(record, "motion", "speed_mps") and not _heard(
            record, "fix", "ground_speed_mps"
        ):
            reason = "no speed in this recording, so no pass can be found"
        return [LeftOut(part, reason) for part in ("speed", "link", "yaw", "shocks", "braking")]
    found = []
    if all(each.speed is None for each in passes):
        found.append(LeftOut("speed", "neither wheel nor satellite speed over a whole pass"))
    if not any(
        _heard(record, "radio", channel)
        for channel in ("control_rssi_dbm", "control_received_percent", "control_signal_raw")
    ):
        found.append(LeftOut("link", "no control link report in this recording"))
    elif not _heard(record, "radio", "control_rssi_dbm"):
        found.append(LeftOut("link", "the control receiver reports no level in dBm"))
    elif record.threshold_dbm is None:
        found.append(
            LeftOut("link", "the receiver's threshold is not known: say it with --threshold DBM")
        )
    if not _heard(record, "motion", "yaw_rate_dps"):
        found.append(LeftOut("yaw", "no yaw rate in this recording"))
    if not any(
        _heard(record, "motion", channel)
        for channel in ("accel_z_g", "accel_z_max_g", "accel_z_min_g")
    ):
        found.append(LeftOut("shocks", "no vertical acceleration in this recording"))
    if all(each.braking is None for each in passes):
        found.append(LeftOut("braking", "no braking from speed was seen to its end"))
    if not _heard(record, "fix", "latitude_deg"):
        found.append(
            LeftOut(
                "place", "no satellite fix in this recording: places are ways since a pass began"
            )
        )
    return found


def _heard(record: Record, kind: str, channel: str) -> bool:
    return bool(np.any(~np.isnan(record.kinds[kind][channel])))
