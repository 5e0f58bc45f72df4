"""A pass as the ground station follows it: distance and speed from the frames, ticks at 20 Hz.

Owns the order in which what was told reaches a rule, and the least of a distance logic: the last
fix, carried on with the speed; without fixes, the speed summed up from the start.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import isnan

import numpy as np

from groundstation.radio.estimate import LinkPrior
from groundstation.radio.forecast import Braking
from groundstation.radio.watch_setting import TwoPoints, WatchSetting
from tests.benchmarks._warnings_passes import Floats, PassRun, Setting

TICK_S = 0.05
FIX_AGE_S = 0.1
"""Of a fix when it arrives, as the clocks of fix and motion frames tell."""
CHECK_DISTANCES_M = np.array([10.0, 15.0, 25.0, 40.0, 60.0, 80.0])
CHECK_SIGMA_DB = 2.0
"""Scatter of a walked range check about its own line."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where the car is taken to be."""

    at_s: float
    distance_m: float
    sigma_m: float
    speed_mps: float
    away_mps: float
    brakes: bool = False


@dataclass(frozen=True, slots=True)
class Report:
    """One report of the control receiver."""

    at_s: float
    rssi_dbm: float | None
    percent: float | None


@dataclass(frozen=True, slots=True)
class Tick:
    """A moment at which a rule may warn."""

    at_s: float
    silence_s: float
    failsafe: bool


class Odometry:
    """The distance from the driver out of fixes and wheel speed."""

    def __init__(self, *, fixes: bool) -> None:
        self._fixes = fixes
        self._fix: tuple[float, float, float, float] | None = None
        """Arrival, distance, accuracy, wheel speed when it was measured."""
        self._fix_speed_mps = 0.0
        self._wheel: deque[tuple[float, float]] = deque(maxlen=12)
        self._travelled_m = 0.0
        self._track: deque[tuple[float, float, float]] = deque(maxlen=11)
        """Arrival, distance, way travelled, for the last second of fixes."""
        self._share = 1.0
        self._at_s: float | None = None

    def fixed(self, row: list[float]) -> None:
        """Take a fix in."""
        at_s, distance_m, accuracy_m, speed_mps = row
        wheel_mps = self._wheel[0][1] if self._wheel else speed_mps
        if abs(speed_mps - wheel_mps) > 4.0:
            speed_mps = wheel_mps
        self._fix, self._fix_speed_mps = (at_s, distance_m, accuracy_m, wheel_mps), speed_mps
        self._track.append((at_s, distance_m, self._travelled_m))
        way_m = self._travelled_m - self._track[0][2]
        if way_m > 2.0:
            self._share = min(max((distance_m - self._track[0][1]) / way_m, -1.0), 1.0)

    def rolled(self, at_s: float, wheel_mps: float) -> Place | None:
        """Take a wheel speed in, and return where the car is."""
        if self._at_s is not None:
            self._travelled_m += wheel_mps * (at_s - self._at_s)
        self._at_s = at_s
        self._wheel.append((at_s, wheel_mps))
        if not self._fixes:
            sigma_m = 4.0 + 0.04 * self._travelled_m
            return Place(at_s, 6.0 + self._travelled_m, sigma_m, wheel_mps, wheel_mps)
        if self._fix is None:
            return None
        fix_s, distance_m, accuracy_m, then_mps = self._fix
        speed_mps = max(self._fix_speed_mps + wheel_mps - then_mps, 0.0)
        away_mps = speed_mps * self._share
        distance_m += away_mps * (at_s - fix_s + FIX_AGE_S)
        return Place(at_s, max(distance_m, 0.0), accuracy_m, speed_mps, away_mps)


def follow(run: PassRun) -> Iterator[Place | Report | Tick]:
    """Yield what reaches a rule in the course of a pass, in order."""
    silent_s, ends_s = _silence(run)
    told = run.told
    rows = (
        [(row[0], 0, row) for row in told.fix.tolist()] if run.setting is not Setting.NO_FIX else []
    )
    rows += [(row[0], 1, row) for row in told.motion.tolist()]
    rows += [(row[0], 2, row) for row in told.radio.tolist()]
    rows = [row for row in rows if not silent_s <= row[0] < ends_s]
    rows += [(at_s, 3, [at_s]) for at_s in np.arange(0.5, run.t_s[-1], TICK_S).tolist()]
    rows.sort(key=lambda row: row[:2])
    odometry = Odometry(fixes=run.setting is not Setting.NO_FIX)
    heard_s, failsafe = 0.0, False
    for at_s, kind, row in rows:
        if kind == 3:
            yield Tick(at_s, at_s - heard_s, failsafe)
            continue
        heard_s = at_s
        if kind == 0:
            odometry.fixed(row)
        elif kind == 1:
            failsafe = bool(row[2])
            if (place := odometry.rolled(at_s, row[1])) is not None:
                yield replace(place, brakes=bool(row[3]))
        else:
            no_level = isnan(row[1]) or run.setting is Setting.PERCENT
            yield Report(at_s, None if no_level else row[1], None if isnan(row[2]) else row[2])


def setting_of(run: PassRun, *, prior: bool | None = None) -> WatchSetting:
    """Return what is known beforehand of a pass's vehicle and driver.

    Args:
        run: The pass.
        prior: Whether a range check was walked; None: where the setting calls for one.
    """
    source = np.random.default_rng([run.seed, 22])
    if prior is None:
        prior = run.setting in (Setting.DISTURBED, Setting.PERCENT)
    leg_coast_s = 0.15
    learned_at_mps = 30
    brake_m = run.brake_m[learned_at_mps] - learned_at_mps * leg_coast_s
    decel_mps2 = learned_at_mps**2 / (2.0 * brake_m) * source.normal(1.0, 0.05)
    found = _range_check(run, source)
    points = _percent_points(run, source)
    return WatchSetting(
        threshold_dbm=run.sensitivity_dbm,
        braking=Braking(
            react_s=0.3,
            latency_s=leg_coast_s,
            decel_mps2=decel_mps2,
            decel_from_mps=float(learned_at_mps),
            decel_sigma_mps2=0.06 * decel_mps2,
        ),
        percent_map=points if run.setting is Setting.PERCENT else None,
        prior=found if prior else None,
    )


def _silence(run: PassRun) -> tuple[float, float]:
    if run.setting is not Setting.SILENT:
        return 1e9, 1e9
    source = np.random.default_rng([run.seed, 23])
    if run.loss_m is None:
        # A gap, after which the telemetry comes back: no reason to lift.
        fastest_s = float(run.t_s[int(np.argmax(run.speed_mps))])
        begins_s = fastest_s + source.uniform(-2.0, 1.0)
        return begins_s, begins_s + source.uniform(0.2, 0.8)
    ticks_s = np.arange(2.0, run.t_s[-1], TICK_S)
    in_time = [each for each in ticks_s.tolist() if run.stop_m(each) <= run.loss_m]
    return in_time[-1] - source.uniform(0.3, 2.5), 1e9


def _range_check(run: PassRun, source: np.random.Generator) -> LinkPrior:
    """Walk an earlier day's range check, with the aerial as it should lie."""
    decades = 10.0 * np.log10(CHECK_DISTANCES_M)
    law_dbm = np.interp(CHECK_DISTANCES_M, run.draw.mean_distances_m, run.draw.undisturbed_dbm)
    read_dbm = law_dbm + source.normal(0.0, CHECK_SIGMA_DB, len(decades)) + source.normal(0.0, 1.0)
    columns = np.column_stack([np.ones_like(decades), -decades])
    covariance = CHECK_SIGMA_DB**2 * np.linalg.inv(columns.T @ columns)
    level_dbm, exponent = np.linalg.lstsq(columns, read_dbm, rcond=None)[0]
    return LinkPrior(
        level_at_1m_dbm=float(level_dbm),
        exponent=float(exponent),
        level_variance_db2=float(covariance[0, 0]),
        exponent_variance=float(covariance[1, 1]),
        covariance_db=float(covariance[0, 1]),
        reach_m=float(CHECK_DISTANCES_M[-1]),
    )


def _percent_points(run: PassRun, source: np.random.Generator) -> TwoPoints:
    """Read two points of the percentage off in a range check, where it has begun to fall."""
    receiver, k = run.draw.scenario.receiver, 10.0 ** (run.draw.scenario.channel.rician_k_db / 10.0)
    waves = source.normal(size=(2, 2000)) * (0.5 / (k + 1.0)) ** 0.5
    fades_db = 10.0 * np.log10((waves[0] + (k / (k + 1.0)) ** 0.5) ** 2 + waves[1] ** 2)

    def percent(margin_db: float) -> float:
        odds = (margin_db + fades_db) / receiver.loss_slope_db + np.log(9.0)
        share = np.mean((1.0 - receiver.interference_loss) / (1.0 + np.exp(-odds)))
        return float(100.0 * share)

    low_db, high_db = -1.5, 2.5
    off_db = float(source.normal(0.0, 1.0))
    return TwoPoints(
        low=percent(low_db),
        low_dbm=receiver.sensitivity_dbm + low_db + off_db,
        high=min(percent(high_db), 97.0),
        high_dbm=receiver.sensitivity_dbm + high_db + off_db,
    )


def columns_of(ticks: list[tuple[float, ...]]) -> Floats:
    """Return rows of figures as an array."""
    return np.array(ticks, dtype=float)
