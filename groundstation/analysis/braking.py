"""Braking, pass by pass: how hard, how far, how straight; and what the car has taught of it.

Owns the onset (the car's own command: the driver's reaction is not in these figures), the mean
fully developed deceleration and the mean over the whole stopping way. The latter, learned over
passes, is what the forecast of the stop point wants: a car that is told to lift needs v^2 / (2 b).

MFDD: dm = (vb^2 - ve^2) / (25.92 (se - sb)), km/h and metres, from 0.8 to 0.1 of the speed at the
onset (UN Regulation 13-H, annex 3, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from groundstation.analysis.record import Columns, Floats, Record
from groundstation.analysis.robust_line import robust_sigma
from groundstation.analysis.speed import PassSpeed
from groundstation.vehicle.passes import IDLE_PERCENT, SLOWEST_LIFT_MPS, SPUN_DPS

KMH_PER_MPS = 3.6
MFDD_FROM = 0.8
MFDD_TO = 0.1

REST_MPS = 0.4
"""Slower than this the car counts as at rest."""

ONSET_DECEL_MPS2 = 1.5
"""Without a command to go by, braking begins where the car loses more speed than this."""

SLOPE_S = 0.2
"""Over which a deceleration is read off the curve."""

LEAST_STOPS = 3
STRAY_SIGMAS = 3.5
"""A stop further off the median, in robust standard deviations, is left out (common practice)."""

SUPPOSED_SPREAD = 0.10
SUPPOSED_STOPS = 2
"""Few stops do not show their spread: as if so many more had been seen with this one."""


@dataclass(frozen=True, slots=True)
class BrakingFigures:
    """How one pass ended."""

    pass_number: int
    onset_s: float
    """Vehicle clock."""
    told_by: str
    """What the onset was taken from: "throttle", "brake flag" or "deceleration"."""
    speed_mps: float
    """At the onset."""
    end_speed_mps: float
    """At the end of the braking: 0, or where the recording lost sight of it."""
    distance_m: float
    time_s: float
    """From onset to end."""
    mean_decel_mps2: float
    """Over that distance: (v0^2 - ve^2) / 2 s."""
    mfdd_mps2: float | None
    """None where the car was not seen down to a tenth of its speed."""
    braked: bool | None
    """Whether the brake was on for most of it; None where nothing tells."""
    yaw_rate_abs_dps: float | None
    """Largest |yaw rate| while braking."""
    yaw_rate_rms_dps: float | None
    correction_abs_percent: float | None
    """The stabiliser's largest |correction|."""
    correction_rms_percent: float | None

    @property
    def at_rest(self) -> bool:
        """Whether the car was seen to come to rest."""
        return self.end_speed_mps <= REST_MPS

    @property
    def teaches(self) -> bool:
        """Whether this stop says how the car stops when it is told to lift."""
        spun = self.yaw_rate_abs_dps is not None and self.yaw_rate_abs_dps > SPUN_DPS
        return self.mfdd_mps2 is not None and self.braked is not False and not spun


@dataclass(frozen=True, slots=True)
class Learned:
    """What `[stopping]` of the vehicle's file should say."""

    decel_mps2: float
    decel_sigma_mps2: float
    """From stop to stop."""
    stops: int
    """That it rests on."""
    left_out: int
    """That strayed from the others."""


def mfdd_mps2(speed_mps: Floats, way_m: Floats) -> float | None:
    """Return the mean fully developed deceleration of a braking; None where it ends too early.

    Args:
        speed_mps: (n) from the onset on; the first is the speed at the onset.
        way_m: (n) since then or since anything.
    """
    ends = [_way_at(speed_mps, way_m, share * speed_mps[0]) for share in (MFDD_FROM, MFDD_TO)]
    if ends[0] is None or ends[1] is None or ends[1] <= ends[0]:
        return None
    begin_kmh, end_kmh = (share * speed_mps[0] * KMH_PER_MPS for share in (MFDD_FROM, MFDD_TO))
    return float((begin_kmh**2 - end_kmh**2) / (25.92 * (ends[1] - ends[0])))


def stop_decel_mps2(speed_mps: Floats, end_speed_mps: Floats, distance_m: Floats) -> Floats:
    """Return the deceleration that, held, takes a car from one speed to another over a way."""
    decel: Floats = (np.square(speed_mps) - np.square(end_speed_mps)) / (2.0 * distance_m)
    return decel


def braking_of(record: Record, speed: PassSpeed) -> BrakingFigures | None:
    """Return how a pass ended; None where no braking is to be seen."""
    t_s, speed_mps = speed.t_s, speed.speed_mps
    inside = (t_s >= speed.span.start_s) & (t_s <= speed.span.end_s)
    peak = int(np.argmax(np.where(inside, speed_mps, -1.0)))
    slow = peak + np.flatnonzero(speed_mps[peak:] <= 0.5 * speed_mps[peak])
    if not len(slow):
        return None
    motion = record.motion.between(float(t_s[0]), float(t_s[-1]))
    onset_s, told_by = _onset(motion, speed, float(t_s[peak]), float(t_s[slow[0]]))
    resting = np.flatnonzero((t_s > onset_s) & (speed_mps <= REST_MPS))
    end = int(resting[0]) if len(resting) else len(t_s) - 1
    part = (t_s > onset_s) & (np.arange(len(t_s)) <= end)
    started_mps = float(np.interp(onset_s, t_s, speed_mps))
    if started_mps < SLOWEST_LIFT_MPS or not np.any(part):
        return None
    ways_m = speed.way_m()
    started_m = float(np.interp(onset_s, t_s, ways_m))
    falling_mps = np.concatenate([[started_mps], speed_mps[part]])
    falling_m = np.concatenate([[started_m], ways_m[part]])
    ended_mps, distance_m = float(falling_mps[-1]), float(falling_m[-1] - started_m)
    ended_mps = 0.0 if ended_mps <= REST_MPS else ended_mps
    frames = motion.between(onset_s, float(t_s[end]))
    yaw_abs, yaw_rms = _size(frames["yaw_rate_dps"])
    correction_abs, correction_rms = _size(frames["correction_percent"])
    return BrakingFigures(
        pass_number=speed.span.number,
        onset_s=onset_s,
        told_by=told_by,
        speed_mps=started_mps,
        end_speed_mps=ended_mps,
        distance_m=distance_m,
        time_s=float(t_s[end]) - onset_s,
        mean_decel_mps2=float(
            stop_decel_mps2(np.array(started_mps), np.array(ended_mps), np.array(distance_m))
        ),
        mfdd_mps2=mfdd_mps2(falling_mps, falling_m),
        braked=_braked(frames),
        yaw_rate_abs_dps=yaw_abs,
        yaw_rate_rms_dps=yaw_rms,
        correction_abs_percent=correction_abs,
        correction_rms_percent=correction_rms,
    )


def learned_braking(figures: list[BrakingFigures]) -> Learned | None:
    """Return the deceleration that stops have in common; None for fewer than `LEAST_STOPS`.

    Stops that stray from the median are left out, the rest are averaged. The spread is drawn
    toward `SUPPOSED_SPREAD` while there are few.
    """
    decels = np.array([each.mean_decel_mps2 for each in figures if each.teaches])
    if len(decels) < LEAST_STOPS:
        return None
    middle = float(np.median(decels))
    # A spread of a few stops may be small by chance; 2 % of the deceleration is no stray.
    spread = max(robust_sigma(decels), 0.02 * middle)
    kept = decels[np.abs(decels - middle) <= STRAY_SIGMAS * spread]
    mean = float(kept.mean())
    squares = float(((kept - mean) ** 2).sum()) + SUPPOSED_STOPS * (SUPPOSED_SPREAD * mean) ** 2
    return Learned(
        decel_mps2=mean,
        decel_sigma_mps2=float(np.sqrt(squares / (len(kept) - 1 + SUPPOSED_STOPS))),
        stops=len(kept),
        left_out=len(decels) - len(kept),
    )


def learned_words(figures: list[BrakingFigures]) -> str:
    """Return what has been learned of the braking as one sentence, or why nothing has."""
    learned = learned_braking(figures)
    if learned is None:
        stops = sum(each.teaches for each in figures)
        seen = "none was" if stops == 0 else "one was" if stops == 1 else f"{stops} were"
        return f"braking is learned from {LEAST_STOPS} whole stops with the brake on; {seen} seen"
    strays = f", {learned.left_out} left out as unlike the others" if learned.left_out else ""
    return (
        f"braking {learned.decel_mps2:.1f} m/s² from lift to rest, from stop to stop "
        f"± {learned.decel_sigma_mps2:.1f}, over {learned.stops} stops{strays}"
    )


def _onset(motion: Columns, speed: PassSpeed, peak_s: float, slow_s: float) -> tuple[float, str]:
    """Return when braking began, before the speed had halved, and what told it."""
    frames = motion.between(peak_s - 1.0, slow_s)
    throttle = frames["throttle_percent"]
    known = ~np.isnan(throttle)
    if np.any(known):
        t_s, driven = frames.t_s[known], throttle[known] > IDLE_PERCENT
        told_by = "throttle"
    else:
        brake = frames["brake_on"]
        known = ~np.isnan(brake)
        t_s, driven, told_by = frames.t_s[known], brake[known] == 0.0, "brake flag"
    if len(t_s) and not driven[-1]:
        last = np.flatnonzero(driven)
        return float(t_s[last[-1] + 1 if len(last) else 0]), told_by
    inside = (speed.t_s >= peak_s) & (speed.t_s <= slow_s)
    t_s = speed.t_s[inside]
    ahead_mps = np.interp(t_s + 0.5 * SLOPE_S, speed.t_s, speed.speed_mps)
    behind_mps = np.interp(t_s - 0.5 * SLOPE_S, speed.t_s, speed.speed_mps)
    easy = np.flatnonzero((ahead_mps - behind_mps) / SLOPE_S > -ONSET_DECEL_MPS2)
    return float(t_s[min(easy[-1] + 1, len(t_s) - 1)] if len(easy) else peak_s), "deceleration"


def _braked(frames: Columns) -> bool | None:
    for channel, sign in (("brake_on", 1.0), ("throttle_percent", -1.0)):
        values = frames[channel]
        known = values[~np.isnan(values)]
        if len(known):
            return bool(np.mean(sign * known > 0.0) > 0.5)
    return None


def _size(values: Floats) -> tuple[float | None, float | None]:
    """Return the largest magnitude and the root mean square; None each where nothing is known."""
    known = values[~np.isnan(values)]
    if not len(known):
        return None, None
    return float(np.abs(known).max()), float(np.sqrt(np.mean(known**2)))


def _way_at(speed_mps: Floats, way_m: Floats, at_mps: float) -> float | None:
    """Return the way at which a falling speed first comes to a value."""
    under = np.flatnonzero(speed_mps <= at_mps)
    if not len(under) or under[0] == 0:
        return None
    last, first = int(under[0]) - 1, int(under[0])
    share = (speed_mps[last] - at_mps) / (speed_mps[last] - speed_mps[first])
    return float(way_m[last] + share * (way_m[first] - way_m[last]))
