"""Columns in our units sorted into kinds of frames; what cannot be is made unknown or clamped.

Rules: encoders clamp a value to its field's range, so one beyond it is counted here and told; a
place that is none (latitude beyond 90, or exactly 0, 0 of a receiver without a fix) is unknown.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from groundstation.importing.log import Numbers, Series
from groundstation.importing.own_kinds import own_kinds
from protocol import Table

FIX_KIND = "fix"


def assemble(
    at_s: Numbers,
    channels: Mapping[str, Numbers],
    table: Table,
    counts: Counter[str],
    *,
    fixes_repeat: bool = False,
) -> tuple[tuple[Series, ...], str]:
    """Return a series for each kind of frame, and TOML text of the kinds that had to be made.

    Args:
        at_s: When each row was.
        channels: Values by channel; a name that `table` does not know becomes a kind of its own.
        table: The kinds there are.
        counts: What is left out or clamped is added.
        fixes_repeat: Whether a fix counts only where it differs from the row before.

    Raises:
        SessionFileError: More channels than frames can hold.
    """
    checked = {name: values.astype(np.float64) for name, values in channels.items()}
    _check_place(checked, counts)
    own = {name: values for name, values in checked.items() if table.field(name) is None}
    text, by_kind = own_kinds(own, table)
    known = table.extended(text, "imported channels") if text else table
    for kind in table.kinds:
        if members := [n for field in kind.fields for n in field.channels if n in checked]:
            by_kind[kind.name] = members
    series = []
    for name, members in by_kind.items():
        values = {member: checked[member] for member in members}
        rows = np.any([np.isfinite(each) for each in values.values()], axis=0)
        if name == FIX_KIND and fixes_repeat:
            fresh = _changed(values)
            counts["rows that repeat a fix"] += int(np.count_nonzero(rows & ~fresh))
            rows &= fresh
        values = {member: each[rows] for member, each in values.items()}
        _count_clamped(values, known, counts)
        if rows.any():
            series.append(Series(name, at_s[rows], values))
    return tuple(series), text


def _check_place(channels: dict[str, Numbers], counts: Counter[str]) -> None:
    if "course_deg" in channels:
        with np.errstate(invalid="ignore"):
            channels["course_deg"] = channels["course_deg"] % 360.0
    latitude, longitude = channels.get("latitude_deg"), channels.get("longitude_deg")
    if latitude is None or longitude is None:
        return
    nowhere = (np.abs(latitude) > 90) | (np.abs(longitude) > 180)
    nowhere |= (latitude == 0) & (longitude == 0)
    if nowhere.any():
        counts["rows with a place that is none"] += int(np.count_nonzero(nowhere))
        latitude[nowhere] = longitude[nowhere] = np.nan


def _changed(values: Mapping[str, Numbers]) -> NDArray[np.bool_]:
    """Return which rows differ from the one before in any value; the first does."""
    changed = np.zeros(len(next(iter(values.values()))), np.bool_)
    changed[:1] = True
    for each in values.values():
        same = (each[1:] == each[:-1]) | (np.isnan(each[1:]) & np.isnan(each[:-1]))
        changed[1:] |= ~same
    return changed


def _count_clamped(values: Mapping[str, Numbers], table: Table, counts: Counter[str]) -> None:
    for name, each in values.items():
        field = table.field(name)
        if field is None or field.bits:
            continue
        half_step = 0.5 / field.per_unit
        beyond = (each < field.min - half_step) | (each > field.max + half_step)
        if beyond.any():
            counts[f"values of {name} beyond {field.min:g} to {field.max:g}, clamped"] += int(
                np.count_nonzero(beyond)
            )
