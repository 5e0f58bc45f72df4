"""The rules that are compared on one pass: what each of them sees at every tick.

Owns the watch's own run, two baselines and an oracle. The baselines: the fixed threshold on RSSI,
and a simple stop-point rule (level averaged over a second, exponent 4, one threshold on the margin
at the stop point). Both have a plain alarm on silence. The oracle knows the true law of the channel
and the true strength and reach of its shadows; only the shadows themselves it must follow.
"""

from __future__ import annotations

from collections import deque
from math import exp, inf, log10, nan, sqrt

import numpy as np

from groundstation.radio.forecast import QUANTILE_5, Motion, stop_way_m
from groundstation.radio.level import Level
from groundstation.radio.watch import LinkWatch
from groundstation.radio.watch_setting import WatchSetting
from tests.benchmarks._warnings_feed import Place, Report, Tick, columns_of, follow, setting_of
from tests.benchmarks._warnings_passes import Floats, PassRun, Setting

AVERAGE_S = 1.0
SILENCE_S = 0.5
EDGE_SHARE = 0.25
"""A forecast is useful when the edge of range that it tells is right to within this share of it."""
MOVING_MPS = 1.5
ORACLE_VARIANCE_DB2 = 1.2
ORACLE_LAG_S = 0.15


def watch_ticks(run: PassRun, setting: WatchSetting | None = None) -> Floats:
    """Return the watch's figures, one row a tick.

    Columns: time, stop margin, its 5 % quantile (NaN where no forecast bears on the level), rank
    of the level, whether the level is LIFT or worse for another reason than the margin ahead, the
    edge of range.
    """
    setting = setting or setting_of(run)
    watch, rows, brakes = LinkWatch(), [], False
    for told in follow(run):
        if isinstance(told, Place):
            watch.moved(
                told.at_s,
                distance_m=told.distance_m,
                distance_sigma_m=told.sigma_m,
                speed_mps=told.speed_mps,
                away_mps=told.away_mps,
                brakes=told.brakes,
            )
            brakes = told.brakes
        elif isinstance(told, Report):
            watch.reported(
                told.at_s,
                rssi_dbm=told.rssi_dbm,
                received_percent=told.percent,
                signal_raw=None,
                setting=setting,
            )
        else:
            view = watch.judge(
                told.at_s, silence_s=told.silence_s, failsafe_active=told.failsafe, setting=setting
            )
            rank = -1 if view.level is None else view.level.rank
            p05_db = (
                nan
                if brakes or (view.lift_in_s is None and view.lift_point_m is None)
                else _or_nan(view.stop_margin_p05_db)
            )
            by_margin = p05_db < setting.limits.lift_stop_margin_db
            hard = rank >= Level.LIFT.rank and "margin" not in view.reason
            rows.append(
                (
                    told.at_s,
                    _or_nan(view.stop_margin_db),
                    p05_db,
                    rank,
                    hard and not by_margin,
                    _or_nan(view.range_edge_m),
                )
            )
    return columns_of(rows)


def baseline_ticks(run: PassRun) -> Floats:
    """Return the baselines' figures, one row a tick.

    Columns: time, margin now, simple margin at the stop point, whether silence alone warns. NaN
    where the rule has nothing to say.
    """
    setting = setting_of(run)
    threshold_dbm, points = run.sensitivity_dbm, setting.percent_map
    recent: deque[tuple[float, float]] = deque()
    place: Place | None = None
    rows = []
    for told in follow(run):
        if isinstance(told, Place):
            place = told
        elif isinstance(told, Report):
            level_dbm = told.rssi_dbm
            if points is not None and told.percent is not None:
                level_dbm = points.level_dbm(min(told.percent, points.high))
            if level_dbm is not None:
                recent.append((told.at_s, level_dbm))
                while recent[0][0] < told.at_s - AVERAGE_S:
                    recent.popleft()
        else:
            now_db = recent[-1][1] - threshold_dbm if recent else nan
            stop_db = nan
            if (
                recent
                and place is not None
                and place.away_mps > 0.0
                and place.speed_mps > MOVING_MPS
            ):
                braking = setting.braking
                speed_mps = place.speed_mps
                stop_m = place.distance_m + speed_mps * (braking.react_s + braking.latency_s)
                stop_m += speed_mps**2 / (2.0 * braking.decel_mps2)
                mean_dbm = sum(each for _, each in recent) / len(recent)
                fall_db = 40.0 * log10(stop_m / max(place.distance_m, 1.0))
                stop_db = mean_dbm - threshold_dbm - fall_db
            rows.append((told.at_s, now_db, stop_db, told.silence_s >= SILENCE_S or told.failsafe))
    return columns_of(rows)


def oracle_ticks(run: PassRun) -> Floats:
    """Return time, margin at the stop point and its 5 % quantile by the true law of the channel."""
    setting, draw = setting_of(run), run.draw
    points = setting.percent_map
    sigma_db, reach_m = draw.shadow_sigma_db, draw.shadow_distance_m
    shadow_db, variance = 0.0, sigma_db**2
    motion: Motion | None = None
    smooth_mps = travelled_m = sampled_m = 0.0
    rows = []

    def law_db(distance_m: float) -> float:
        found = np.interp(distance_m, draw.mean_distances_m, draw.mean_dbm)
        return float(found) - run.sensitivity_dbm

    for told in follow(run):
        if isinstance(told, Place):
            step_s = 0.0 if motion is None else told.at_s - motion.at_s
            travelled_m += told.speed_mps * step_s
            smooth_mps += (1.0 - exp(-step_s / 0.4)) * (told.speed_mps - smooth_mps)
            motion = Motion(
                told.at_s,
                told.distance_m,
                told.sigma_m,
                told.speed_mps,
                told.away_mps,
                (told.speed_mps - smooth_mps) / 0.4,
            )
        elif isinstance(told, Report):
            level_dbm, noise = told.rssi_dbm, ORACLE_VARIANCE_DB2
            if points is not None and told.percent is not None and told.percent < points.high:
                level_dbm, noise = points.level_dbm(told.percent), 30.0
            if motion is None or level_dbm is None or travelled_m - sampled_m < 1.0:
                continue
            keep = exp(-(travelled_m - sampled_m) / reach_m)
            sampled_m = travelled_m
            shadow_db *= keep
            variance = keep**2 * variance + (1.0 - keep**2) * sigma_db**2
            here_m = max(motion.distance_m - ORACLE_LAG_S * motion.away_mps, 1.0)
            gain = variance / (variance + noise)
            shadow_db += gain * (level_dbm - run.sensitivity_dbm - law_db(here_m) - shadow_db)
            variance *= 1.0 - gain
        elif isinstance(told, Tick):
            stop_db = p05_db = nan
            if motion is not None and motion.speed_mps > MOVING_MPS:
                now = motion.after(told.at_s - motion.at_s)
                way_m, way_sigma_m = stop_way_m(now, setting.braking)
                stop_m = now.line().distance_m(way_m)
                keep = exp(-way_m / reach_m)
                spread = keep**2 * variance + (1.0 - keep**2) * sigma_db**2
                spread += (17.4 / stop_m) ** 2 * (way_sigma_m**2 + now.sigma_m**2)
                if stop_m > now.distance_m:
                    stop_db = law_db(stop_m) + keep * shadow_db
                    p05_db = stop_db - QUANTILE_5 * sqrt(spread)
            rows.append((told.at_s, stop_db, p05_db))
    return columns_of(rows)


def useful_at_s(ticks: Floats, edge_m: float) -> float:
    """Return from when on, to the end, the edge of range was foretold; infinite where never.

    Args:
        ticks: Of the watch.
        edge_m: True edge of range, shadows apart.
    """
    off = ~(np.abs(ticks[:, 5] / edge_m - 1.0) < EDGE_SHARE)
    last = int(np.flatnonzero(off)[-1]) if off.any() else -1
    return float(ticks[last + 1, 0]) if last + 1 < len(ticks) else inf


def _or_nan(value: float | None) -> float:
    return nan if value is None else value


__all__ = ["Setting", "baseline_ticks", "oracle_ticks", "useful_at_s", "watch_ticks"]
