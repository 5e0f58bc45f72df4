"""Unit and sign of the inertial columns: by rest, by how the car moves, by the right-hand rule.

Ours are ISO 8855 axes: x forward, y left, z up. With z down a right-handed sensor has y to the
right and yaw positive to the right (SAE J670e), so both turn round unless the motion says else.
"""

from __future__ import annotations

from dataclasses import replace
from math import radians

import numpy as np

from groundstation.importing.guessed import Guessed
from groundstation.importing.log import Numbers
from groundstation.importing.plausibility import (
    Motion,
    Rest,
    at_rest,
    means_between,
    nearest,
    relation,
    turning_dps,
)
from groundstation.importing.table import Columns
from groundstation.importing.units import find_unit
from groundstation.units import STANDARD_GRAVITY_MPS2

AXES = ("accel_x_g", "accel_y_g", "accel_z_g")

AXES_AND_YAW = (*AXES, "yaw_rate_dps")

UPRIGHT_SHARE = 0.7
"""Of gravity on the z axis; with less of it the sensor stands otherwise."""

RADIANS_UP_TO = 12.0
"""Nearly all readings of a gyro under this are taken for rad/s where nothing else tells."""

STANDING_MPS = 0.5

MIN_ROWS_STANDING = 25

MOVING_MPS = 3.0
"""Below this a course means nothing."""


def settle_axes(
    columns: Columns, named: dict[str, Guessed], times_s: Numbers, moving: Motion | None
) -> tuple[dict[str, Guessed], list[str]]:
    """Return the columns with the units and signs of the inertial ones, and what to look at."""
    settled = dict(named)
    place = {each.channel: name for name, each in named.items() if each.channel}
    open_to_guess = [
        channel for channel in AXES_AND_YAW if not _is_certain(settled, place, channel)
    ]
    if not open_to_guess:
        return settled, []
    notes: list[str] = []
    rest = _rest(columns, settled, place)
    down = False
    if rest is not None:
        down = rest.z_share <= -UPRIGHT_SHARE
        if abs(rest.z_share) < UPRIGHT_SHARE:
            notes.append(
                f"at rest only {abs(rest.z_share):.0%} of gravity is on accel z: the sensor stands "
                "otherwise, its axes are taken as they are"
            )
    for channel in AXES:
        if channel in open_to_guess:
            each = settled[place[channel]]
            settled[each.name] = _with_accel_unit(each, rest, columns.numbers[each.name])
    if rest is not None and "accel_z_g" in open_to_guess:
        each = settled[place["accel_z_g"]]
        reads = f"{rest.mean[2]:+.3g} at rest"
        why = f"{each.why}; z down, {reads}" if down else f"{each.why}; {reads}"
        settled[each.name] = replace(each, sign=-1 if down else 1, why=why)
    if "accel_x_g" in open_to_guess:
        _settle_forward(settled, place, columns, times_s, moving)
    if "yaw_rate_dps" in open_to_guess:
        _settle_yaw(settled, place, columns, times_s, moving, down=down)
    if "accel_y_g" in open_to_guess:
        _settle_left(settled, place, columns, moving, down=down)
    return settled, notes


def _is_certain(settled: dict[str, Guessed], place: dict[str, str], channel: str) -> bool:
    return channel not in place or settled[place[channel]].certain


def _rest(columns: Columns, settled: dict[str, Guessed], place: dict[str, str]) -> Rest | None:
    if not all(channel in place for channel in AXES):
        return None
    axes = [columns.numbers[place[channel]] for channel in AXES]
    speed = place.get("ground_speed_mps") or place.get("speed_mps")
    if speed is not None:
        # A steady acceleration is as quiet as rest, but is not 1 g.
        stands = _in_own_unit(settled[speed], columns.numbers[speed], "speed") < STANDING_MPS
        if np.count_nonzero(stands) >= MIN_ROWS_STANDING:
            axes = [axis[stands] for axis in axes]
    return at_rest(*axes)


def _with_accel_unit(each: Guessed, rest: Rest | None, values: Numbers) -> Guessed:
    by_rest = rest.unit if rest else None
    if each.unit and by_rest and by_rest != each.unit:
        return replace(each, why=f"{each.why}, but at rest it looks like {by_rest}")
    if each.unit:
        return replace(each, why=f"{each.why}; 1 g at rest") if by_rest else each
    if by_rest and rest:
        why = f"{each.why}; |a| {rest.magnitude:.4g} at rest is 1 g"
        return replace(each, unit=by_rest, why=why)
    usual = float(np.nanmedian(np.abs(values)))
    unit = "g" if usual < 3 else "m/s^2" if usual < 60 else "mg"
    return replace(each, unit=unit, why=f"{each.why}; {unit} assumed by its size")


def _in_own_unit(each: Guessed, values: Numbers, quantity: str) -> Numbers:
    unit = find_unit(quantity, each.unit)
    with np.errstate(over="ignore"):
        return values * (unit.factor if unit else 1.0) * each.sign


def _settle_forward(
    settled: dict[str, Guessed],
    place: dict[str, str],
    columns: Columns,
    times_s: Numbers,
    moving: Motion | None,
) -> None:
    each = settled[place["accel_x_g"]]
    found = None
    speed = place.get("speed_mps") or place.get("ground_speed_mps")
    if speed is not None:
        rows = moving.rows if moving else _steps(times_s)
        if len(rows) > 2:
            speed_mps = _in_own_unit(settled[speed], columns.numbers[speed], "speed")[rows]
            with np.errstate(divide="ignore", invalid="ignore"):
                gain_g = np.diff(speed_mps) / np.diff(times_s[rows]) / STANDARD_GRAVITY_MPS2
            felt = means_between(columns.numbers[each.name], rows)
            found = relation(felt, gain_g)
    if found is None:
        settled[each.name] = replace(each, why=f"{each.why}; forward assumed")
    elif found.correlation > 0:
        settled[each.name] = replace(each, why=f"{each.why}; rises as speed does")
    else:
        settled[each.name] = replace(each, sign=-1, why=f"{each.why}; falls as speed rises")


def _settle_yaw(
    settled: dict[str, Guessed],
    place: dict[str, str],
    columns: Columns,
    times_s: Numbers,
    moving: Motion | None,
    *,
    down: bool,
) -> None:
    each = settled[place["yaw_rate_dps"]]
    values, found = columns.numbers[each.name], None
    if moving is not None:
        fast = moving.speed_mps > MOVING_MPS
        course_deg = np.where(fast, moving.course_deg, np.nan)
        middles_s = (times_s[moving.rows[:-1]] + times_s[moving.rows[1:]]) / 2
        turned = turning_dps(course_deg, middles_s)
        yaw = means_between(values, moving.rows)
        found = relation((yaw[:-1] + yaw[1:]) / 2, turned)
    sign, why = (-1 if down else 1), each.why
    if found is not None:
        sign = 1 if found.correlation > 0 else -1
        why += (
            "; turns as the course does" if sign > 0 else "; turns against the course: to the right"
        )
    else:
        why += "; to the right, as z is down" if down else "; to the left assumed"
    unit = each.unit
    if not unit:
        ratio = abs(found.slope) if found else None
        by_course = (
            nearest(ratio, {"deg/s": 1.0, "rad/s": radians(1)}, within=4.0) if ratio else None
        )
        size = float(np.nanpercentile(np.abs(values), 99))
        unit = by_course or ("rad/s" if size < RADIANS_UP_TO else "deg/s")
        why += f"; {unit} by the course" if by_course else f"; {unit} by its size"
    settled[each.name] = replace(each, sign=sign, unit=unit, why=why)


def _settle_left(
    settled: dict[str, Guessed],
    place: dict[str, str],
    columns: Columns,
    moving: Motion | None,
    *,
    down: bool,
) -> None:
    each = settled[place["accel_y_g"]]
    found = None
    if "yaw_rate_dps" in place and moving is not None:
        yaw = settled[place["yaw_rate_dps"]]
        turn_dps = _in_own_unit(yaw, columns.numbers[yaw.name], "turn rate")
        turn_dps = means_between(turn_dps, moving.rows)
        fast = moving.speed_mps > MOVING_MPS
        pull = np.where(fast, moving.speed_mps * np.radians(turn_dps), np.nan)
        found = relation(means_between(columns.numbers[each.name], moving.rows), pull)
    if found is not None:
        sign = 1 if found.correlation > 0 else -1
        why = "follows v times yaw rate" if sign > 0 else "runs against v times yaw rate"
    else:
        sign = -1 if down else 1
        why = "to the right, as z is down" if down else "to the left assumed"
    settled[each.name] = replace(each, sign=sign, why=f"{each.why}; {why}")


def _steps(times_s: Numbers) -> np.ndarray[tuple[int], np.dtype[np.intp]]:
    """Return rows about a fifth of a second apart."""
    known = np.flatnonzero(np.isfinite(times_s))
    if len(known) < 3:
        return known
    with np.errstate(all="ignore"):
        step_s = float(np.median(np.diff(times_s[known])))
    stride = max(1, min(round(0.2 / step_s), len(known))) if step_s > 0 else 1
    return known[::stride]
