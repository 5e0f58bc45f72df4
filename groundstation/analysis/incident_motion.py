"""How the car itself left its normal range: yaw, heading, side force, shocks, rolling over."""

from __future__ import annotations

import numpy as np

from groundstation.analysis.incident_departure import Departure, Stretch, Subject, departure
from groundstation.analysis.incident_end import AFTER_PASS_S, rolled_over
from groundstation.analysis.incident_normal import (
    HEADING_FLOOR_DEG,
    SHOCK_FLOOR_G,
    SIDE_FLOOR_G,
    YAW_RATE_FLOOR_DPS,
    gyro_bias_dps,
    half_width,
    plain_half_width,
    shock_limit_g,
    speed_at,
)
from groundstation.analysis.incident_onset import excursions
from groundstation.analysis.passes import PassSpan
from groundstation.analysis.record import Columns, Floats

CERTAIN_S = 0.03
"""Three frames at 100 Hz and at twice the normal range."""
REST_S = 0.4
"""An oscillation is within its normal range twice a period."""
FIRST_S = 0.5
"""How far a departure went is told of its first moments: what comes later is another story."""
ONE_SHOCK_S = 0.05
"""Both axles are over a joint within this time."""
CLIPPED_TIMES = 2.0
CLIPPED_LEAST = 5.0
"""On-board samples at full scale that make a shock out of the normal where its height is not known:
so many, and so many times those of any earlier shock."""


def yaw_departures(stretch: Stretch, spans: list[PassSpan]) -> list[Departure]:
    """Return when yaw rate, heading and side force left their normal ranges in the last pass."""
    motion = stretch.record.motion
    if not len(motion):
        return []
    speed_mps = speed_at(stretch.record, motion.t_s)
    inside = _inside(motion.t_s, spans)
    found: list[Departure] = []
    yaw_dps = motion["yaw_rate_dps"] - gyro_bias_dps(motion)
    width = half_width(
        motion.t_s,
        yaw_dps,
        speed_mps,
        inside=inside,
        from_s=stretch.start_s,
        power=1,
        floor=YAW_RATE_FLOOR_DPS,
    )
    found += _about_zero(stretch, yaw_dps, width, quantity="yaw rate", unit="deg/s")
    heading_deg = _headings_deg(motion, yaw_dps, spans)
    earlier = motion.t_s < stretch.start_s
    width_deg = plain_half_width(heading_deg[earlier], floor=HEADING_FLOOR_DEG)
    widths = np.full(len(motion), width_deg)
    found += _about_zero(stretch, heading_deg, widths, quantity="heading off the line", unit="deg")
    side_g = motion["accel_y_g"]
    known = (inside > 0.0) & ~np.isnan(side_g)
    side_g = side_g - (float(np.median(side_g[known])) if known.any() else 0.0)
    width = half_width(
        motion.t_s,
        side_g,
        speed_mps,
        inside=inside,
        from_s=stretch.start_s,
        power=2,
        floor=SIDE_FLOOR_G,
    )
    found += _about_zero(stretch, side_g, width, quantity="side acceleration", unit="g")
    return found


def shock_departures(stretch: Stretch) -> list[Departure]:
    """Return the vertical shocks of the last pass that no road before explains."""
    motion = stretch.record.motion
    peak_g, clipped = _peaks(motion)
    if np.isnan(peak_g).all():
        return []
    speed_mps = speed_at(stretch.record, motion.t_s)
    limit_g = shock_limit_g(motion.t_s, peak_g, speed_mps)
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(clipped))])
    until = np.searchsorted(motion.t_s, motion.t_s + ONE_SHOCK_S)
    clipped = total[until] - total[:-1]
    before = np.searchsorted(motion.t_s, motion.t_s - REST_S, side="right") - 1
    most = np.maximum.accumulate(clipped)
    allowed = np.maximum(CLIPPED_TIMES * np.where(before >= 0, most[before], 0.0), CLIPPED_LEAST)
    struck = (peak_g > limit_g) | (np.isfinite(limit_g) & (clipped > allowed))
    # The frame that opens the window need not be the one that was struck.
    struck &= (peak_g > SHOCK_FLOOR_G) & (motion.t_s >= stretch.start_s)
    struck &= motion.t_s <= stretch.end_s
    rows = np.flatnonzero(struck)
    found = []
    for part in np.split(rows, np.flatnonzero(np.diff(motion.t_s[rows]) > REST_S) + 1):
        if not len(part):
            continue
        first = int(part[0])
        near = slice(first, int(np.searchsorted(motion.t_s, motion.t_s[first] + ONE_SHOCK_S)))
        cut = float(clipped[first])
        value_g, high_g = float(np.nanmax(peak_g[near])), float(limit_g[first])
        note = f"clipped {cut:.0f} times: its height was not measured" if cut else ""
        found.append(
            departure(
                stretch,
                subject=Subject.SHOCK,
                quantity="vertical shock of at least" if cut else "vertical shock of",
                seen=_seen(motion.t_s, first),
                value=value_g,
                unit="g",
                normal=(None, high_g if high_g < value_g else None),
                note=note,
            )
        )
    return found


def roll_departures(stretch: Stretch) -> list[Departure]:
    """Return when the car left its wheels for good."""
    motion = stretch.record.motion.between(stretch.start_s, stretch.end_s + AFTER_PASS_S)
    out = rolled_over(motion)
    if out is None:
        return []
    after = motion["accel_z_g"][out.alarm : out.alarm + 40]
    return [
        departure(
            stretch,
            subject=Subject.ROLL,
            quantity="off its wheels, vertical acceleration",
            seen=_seen(motion.t_s, out.first),
            value=float(np.nanmean(after)),
            unit="g on average",
            note="1 g on its wheels",
        )
    ]


def _about_zero(
    stretch: Stretch, values: Floats, width: Floats, *, quantity: str, unit: str
) -> list[Departure]:
    motion = stretch.record.motion
    part = slice(
        *np.searchsorted(motion.t_s, [stretch.start_s, np.nextafter(stretch.end_s, np.inf)])
    )
    t_s, values, width = motion.t_s[part], values[part], width[part]
    found = []
    for out in excursions(t_s, np.abs(values) / width - 1.0, certain_s=CERTAIN_S, rest_s=REST_S):
        until = min(int(np.searchsorted(t_s, t_s[out.alarm] + FIRST_S)), out.last + 1)
        went = values[out.first : until]
        edge = float(width[out.first])
        found.append(
            departure(
                stretch,
                subject=Subject.YAW,
                quantity=quantity,
                seen=_seen(t_s, out.first),
                value=float(went[int(np.nanargmax(np.abs(went)))]),
                unit=unit,
                normal=(-edge, edge),
            )
        )
    return found


def _seen(t_s: Floats, first: int) -> tuple[float, float]:
    return float(t_s[max(first - 1, 0)]), float(t_s[first])


def _inside(t_s: Floats, spans: list[PassSpan]) -> Floats:
    inside = np.zeros(len(t_s))
    for span in spans:
        inside[(t_s >= span.start_s) & (t_s <= span.end_s)] = 1.0
    return inside


def _headings_deg(motion: Columns, yaw_dps: Floats, spans: list[PassSpan]) -> Floats:
    """Return the heading off each pass's first one; NaN between passes."""
    heading_deg = np.full(len(motion), np.nan)
    for span in spans:
        rows = np.flatnonzero((motion.t_s >= span.start_s) & (motion.t_s <= span.end_s))
        rate = np.nan_to_num(yaw_dps[rows])
        steps = 0.5 * (rate[1:] + rate[:-1]) * np.diff(motion.t_s[rows])
        heading_deg[rows] = np.concatenate([[0.0], np.cumsum(steps)])[: len(rows)]
    return heading_deg


def _peaks(motion: Columns) -> tuple[Floats, Floats]:
    high_g, low_g = motion["accel_z_max_g"], motion["accel_z_min_g"]
    peak_g = np.fmax(high_g - 1.0, 1.0 - low_g)
    peak_g = np.where(np.isnan(peak_g), np.abs(motion["accel_z_g"] - 1.0), peak_g)
    clipped = motion["clipped_samples"]
    return peak_g, np.where(np.isnan(clipped), motion["sensor_clipped"], clipped)
