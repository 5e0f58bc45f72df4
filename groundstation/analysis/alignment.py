"""How late the satellite speed is, found by laying it against what the car's own sensors say.

Owns the delay between the moment a fix is stamped with and the moment its speed was true. One
delay holds for a receiver, so the passes of a recording vote.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from groundstation.analysis.record import Floats
from groundstation.analysis.speed_channels import SpeedChannels

EARLIEST_S = -0.10
LATEST_S = 0.60
STEP_S = 0.01
"""Delays that are tried; between them a parabola finds the least."""

MOST_VOTES = 8
LEAST_FIXES = 12
LEAST_GAIN_MPS = 8.0
"""Passes that vote, at most. One with fewer fixes has no vote, nor one that gains or loses less
speed: an even acceleration alone looks the same at any delay, but for a constant."""

SLOWEST_MPS = 1.0
NOISE_MPS = 0.2
"""A fix several times further off than this has little vote: it may be a spike."""

TURNED_OVER_S = 0.5
"""Forward acceleration unknown from so long before the end: the car turned over (see
`speed_channels`)."""

SLIP_SHARE = 0.05
"""What slip may leave unexplained, of the speed: a wheel tells a delay near standstill only."""


def satellite_delay_s(passes: Sequence[SpeedChannels]) -> float | None:
    """Return how much later than true the satellite speeds are stamped; None where none can tell.

    For each delay the fixes are explained by the summed acceleration (else the wheel), a constant,
    a bias and a scale; the delay that leaves least is taken.
    """
    delays_s = np.arange(EARLIEST_S, LATEST_S + 0.5 * STEP_S, STEP_S)
    costs = np.zeros(len(delays_s))
    votes = 0
    for channels in passes:
        curve = _own_curve(channels)
        if curve is None or votes == MOST_VOTES:
            continue
        usable = channels.fix_mps > SLOWEST_MPS
        # Fixes whose true moment may lie outside the cut would compare unequal sets.
        usable &= channels.fix_t_s - LATEST_S >= curve[0][0]
        usable &= channels.fix_t_s - EARLIEST_S <= curve[0][-1]
        fix_t_s, fix_mps = channels.fix_t_s[usable], channels.fix_mps[usable]
        if len(fix_t_s) < LEAST_FIXES or _least_swing_mps(fix_mps) < LEAST_GAIN_MPS:
            continue
        votes += 1
        costs += [_cost(fix_t_s, fix_mps, curve, delay_s) for delay_s in delays_s.tolist()]
    if not votes:
        return None
    least = min(max(int(np.argmin(costs)), 1), len(costs) - 2)
    before, at, after = costs[least - 1 : least + 2].tolist()
    bend = before - 2.0 * at + after
    aside = 0.5 * (before - after) / bend if bend > 0.0 else 0.0
    return float(delays_s[least] + STEP_S * min(max(aside, -1.0), 1.0))


def _least_swing_mps(fix_mps: Floats) -> float:
    """Return what the speed gained before its peak or lost after it, the less of both.

    Of medians of three, so that a spike is no peak.
    """
    calm_mps = np.median(np.lib.stride_tricks.sliding_window_view(fix_mps, 3), axis=1)
    peak = int(np.argmax(calm_mps))
    lowest_mps = max(float(calm_mps[: peak + 1].min()), float(calm_mps[peak:].min()))
    return float(calm_mps[peak]) - lowest_mps


def _own_curve(channels: SpeedChannels) -> tuple[Floats, Floats, Floats] | None:
    """Return times, what the car's own sensors say, and what a slip of its wheels would add.

    Slip grows with force and is a share of the speed: the same shape as a delay's but for the
    speed, so it must be let go beside it.
    """
    t_s = channels.t_s
    if channels.has_accel:
        last_s = t_s[np.flatnonzero(~np.isnan(channels.accel_mps2))[-1]]
        if t_s[-1] - last_s > TURNED_OVER_S:
            # It slid sideways before it turned over: its forward axis was not where it went.
            return None
        return t_s, channels.summed_mps, np.zeros(len(t_s))
    if channels.has_wheel:
        known = ~np.isnan(channels.wheel_mps)
        t_s, wheel_mps = t_s[known], channels.wheel_mps[known]
        risen_mps = np.interp(t_s + 0.1, t_s, wheel_mps) - np.interp(t_s - 0.1, t_s, wheel_mps)
        return t_s, wheel_mps, wheel_mps * risen_mps
    return None


def _cost(
    fix_t_s: Floats, fix_mps: Floats, curve: tuple[Floats, Floats, Floats], delay_s: float
) -> float:
    """Return what a delay leaves unexplained; a large residual counts by its logarithm only."""
    t_s, own_mps, slip = curve
    true_s = fix_t_s - delay_s
    columns = [np.interp(true_s, t_s, own_mps)]
    if slip.any():
        # A wheel at rest says zero: no constant, no bias.
        columns.append(np.interp(true_s, t_s, slip))
        sigmas_mps = np.hypot(NOISE_MPS, SLIP_SHARE * fix_mps)
    else:
        columns += [np.ones(len(true_s)), true_s - true_s[0]]
        sigmas_mps = np.full(len(true_s), NOISE_MPS)
    explaining = np.stack(columns, axis=1)
    share = sigmas_mps**-2
    left_mps = np.zeros(len(true_s))
    for _ in range(3):
        weighted = explaining * share[:, None]
        answer = np.linalg.lstsq(weighted.T @ explaining, weighted.T @ fix_mps, rcond=None)[0]
        left_mps = fix_mps - explaining @ answer
        share = 1.0 / (sigmas_mps**2 + left_mps**2)
    return float(np.log1p((left_mps / sigmas_mps) ** 2).sum())
