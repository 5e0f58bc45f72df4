"""How pack and controller left their normal ranges: voltage under load, current, temperature.

Owns the pack's own line: voltage falls with current by its resistance, and what it falls more is a
sag. The line is learned from the frames before each one, so that a pack that fails half way
through a pass does not set its own standard.
"""

from __future__ import annotations

import numpy as np

from groundstation.analysis.incident_departure import Departure, Stretch, Subject, departure
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Floats
from groundstation.analysis.robust_line import robust_line

LEAST_FRAMES = 5
BEFORE_PASS_S = 2.0
"""Rest belongs to the line too, but not so much of it that the load is forgotten."""
SAG_SHARE = 0.04
"""Of the voltage expected: less is no sag worth a word (common practice, no source)."""
SAG_SIGMAS = 6.0
CURRENT_TIMES = 1.4
"""A current is out of the normal when it is so many times the highest before it."""
CURRENT_FLOOR_A = 30.0
HOT_C = 100.0
"""Speed controllers protect themselves about here (common practice, no source)."""
HOTTER_C = 20.0
"""Above the highest of the earlier passes."""


def pack_departures(stretch: Stretch, spans: list[PassSpan]) -> list[Departure]:
    """Return when voltage, current and temperature left their normal ranges in the last pass."""
    return [*_sags(stretch, spans), *_currents(stretch), *_heat(stretch)]


def expected_voltage_v(voltage_v: Floats, current_a: Floats, first: int) -> tuple[Floats, Floats]:
    """Return what voltages should be by the frames before each, and how far below is normal.

    Args:
        voltage_v: (n) Known, of frames in passes.
        current_a: (n) Known.
        first: Rows from here on are judged; a row that is too low teaches nothing. The rows
            before it all teach. NaN is returned for them, and where too few taught.
    """
    expected_v, below_v = np.full(len(voltage_v), np.nan), np.full(len(voltage_v), np.nan)
    normal = list(range(first))
    for row in range(first, len(voltage_v)):
        if len(normal) >= LEAST_FRAMES:
            line = robust_line(current_a[normal], voltage_v[normal])
            if line is not None:
                # A resistance is not negative.
                slope = min(line.slope, 0.0)
                middle_v = float(np.median(voltage_v[normal] - slope * current_a[normal]))
                expected_v[row] = middle_v + slope * current_a[row]
                below_v[row] = max(SAG_SIGMAS * line.sigma, SAG_SHARE * expected_v[row])
        if not voltage_v[row] < expected_v[row] - below_v[row]:
            normal.append(row)
    return expected_v, below_v


def _sags(stretch: Stretch, spans: list[PassSpan]) -> list[Departure]:
    power = stretch.record.power
    driven = ~np.isnan(power["pack_voltage_v"]) & ~np.isnan(power["pack_current_a"])
    driven &= np.any(
        [(power.t_s >= span.start_s - BEFORE_PASS_S) & (power.t_s <= span.end_s) for span in spans],
        axis=0,
    )
    t_s = power.t_s[driven]
    voltage_v, current_a = power["pack_voltage_v"][driven], power["pack_current_a"][driven]
    first = int(np.searchsorted(t_s, stretch.start_s))
    expected_v, below_v = expected_voltage_v(voltage_v, current_a, first)
    low = voltage_v < expected_v - below_v
    return [
        departure(
            stretch,
            subject=Subject.PACK,
            quantity="pack voltage",
            seen=_seen(t_s, row),
            value=float(voltage_v[row]),
            unit="V",
            normal=(float(expected_v[row] - below_v[row]), None),
            note=f"at {current_a[row]:.0f} A",
        )
        for row in _begins(stretch, t_s, low)
    ]


def _currents(stretch: Stretch) -> list[Departure]:
    power = stretch.record.power
    current_a = power["pack_current_a"]
    highest_a = np.maximum.accumulate(np.nan_to_num(current_a))
    before_a = np.concatenate([[0.0], highest_a[:-1]]) if len(power) else highest_a
    # The first full throttle of a session is no departure: there is nothing to hold it against.
    earlier = power.t_s < stretch.start_s
    used_a = float(np.max(before_a[earlier], initial=0.0))
    limit_a = np.maximum(CURRENT_TIMES * before_a, CURRENT_FLOOR_A)
    high = (current_a > limit_a) & (used_a > CURRENT_FLOOR_A)
    return [
        departure(
            stretch,
            subject=Subject.PACK,
            quantity="pack current",
            seen=_seen(power.t_s, row),
            value=float(current_a[row]),
            unit="A",
            normal=(None, float(limit_a[row])),
        )
        for row in _begins(stretch, power.t_s, high)
    ]


def _heat(stretch: Stretch) -> list[Departure]:
    power = stretch.record.power
    heat_c = power["controller_temperature_c"]
    earlier = heat_c[(power.t_s < stretch.start_s) & ~np.isnan(heat_c)]
    limit_c = max(HOT_C, float(earlier.max()) + HOTTER_C if len(earlier) else HOT_C)
    return [
        departure(
            stretch,
            subject=Subject.PACK,
            quantity="controller temperature",
            seen=_seen(power.t_s, row),
            value=float(np.nanmax(heat_c[row:])),
            unit="deg C",
            normal=(None, limit_c),
        )
        for row in _begins(stretch, power.t_s, heat_c > limit_c)
    ]


def _begins(stretch: Stretch, t_s: Floats, out: np.ndarray) -> list[int]:
    """Return the first row of each run that is out, in the last pass."""
    inside = (t_s >= stretch.start_s) & (t_s <= stretch.end_s)
    fresh = out & inside & ~np.concatenate([[False], (out & inside)[:-1]])[: len(out)]
    return [int(row) for row in np.flatnonzero(fresh)]


def _seen(t_s: Floats, row: int) -> tuple[float, float]:
    return float(t_s[max(row - 1, 0)]), float(t_s[row])
