"""Which column says when a row was, and in what unit."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from groundstation.errors import UsageError
from groundstation.importing.column_map import TimeColumn
from groundstation.importing.layout import Layout
from groundstation.importing.log import Numbers
from groundstation.importing.naming import is_counter, is_time, plain_name, unit_in
from groundstation.importing.table import Columns
from groundstation.importing.units import Unit, find_unit

OURS = ("vehicle_s", "at_s")

_EPOCHS = (("s", 1e9), ("ms", 1e12), ("us", 1e15), ("ns", 1e18))
"""Since 1970: what a time between 2001 and 2033 begins with, in each unit."""

_UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9}


@dataclass(frozen=True, slots=True)
class TimeGuess:
    """When rows were."""

    column: TimeColumn
    why: str


def guess_time(
    columns: Columns, layout: Layout, names: Collection[str], rate_hz: float | None
) -> TimeGuess:
    """Return which column says when a row was.

    Raises:
        UsageError: None does, and no rate is known.
    """
    told = rate_hz or layout.rate_hz
    for name in OURS:
        if name in columns.numbers:
            return TimeGuess(TimeColumn(column=name), "our own name")
    candidates = [name for name in names if _could_be_time(name, columns)]
    if rate_hz is None and candidates:
        name = max(candidates, key=lambda each: len(np.unique(columns.times(each))))
        return _with_unit(name, columns, layout)
    if told is None:
        raise UsageError(
            "no column of the log is a time",
            "give --rate HZ, or name the column in a --map FILE.toml",
        )
    who = "you say" if rate_hz else "its first lines say"
    for name in names:
        if name in columns.numbers and is_counter(name) and _climbs(columns.numbers[name]):
            why = f"a count, {who} {told:g} Hz"
            return TimeGuess(TimeColumn(column=name, rate_hz=told), why)
    return TimeGuess(TimeColumn(rate_hz=told), f"{who} {told:g} rows a second")


def _could_be_time(name: str, columns: Columns) -> bool:
    if name in columns.stamps:
        return bool(np.isfinite(columns.stamps[name]).any())
    if name not in columns.numbers or not is_time(name):
        return False
    return _climbs(columns.numbers[name])


def _climbs(values: Numbers) -> bool:
    known = values[np.isfinite(values)]
    if len(known) < 2:
        return False
    with np.errstate(all="ignore"):
        steps = np.diff(known)
        return bool(np.mean(steps >= 0) >= 0.95 and np.any(steps > 0))


def _with_unit(name: str, columns: Columns, layout: Layout) -> TimeGuess:
    if name in columns.stamps:
        known = columns.stamps[name][np.isfinite(columns.stamps[name])]
        dated = bool(np.median(known) > 1e8)
        why = "dates with times" if dated else "hours, minutes, seconds"
        return TimeGuess(TimeColumn(column=name, unit="text", since_1970=dated), why)
    values = columns.numbers[name]
    known = values[np.isfinite(values)]
    unit, why = _written_unit(name, layout), "name and unit"
    for epoch, size in _EPOCHS:
        if size <= float(np.median(known)) < 2 * size and (unit is None or unit.name == epoch):
            why = f"{epoch} since 1970, by its size"
            return TimeGuess(_numeric(name, epoch, since_1970=True), why)
    if unit is None:
        step = _usual_step(known)
        chosen = "s" if step < 2 else "ms" if step < 2000 else "us"
        hz = 1 / (step * _UNITS[chosen])
        return TimeGuess(_numeric(name, chosen), f"name; steps of {step:.4g} are {hz:.4g} Hz")
    return TimeGuess(_numeric(name, unit.name), why)


def _written_unit(name: str, layout: Layout) -> Unit | None:
    written = dict(zip(layout.names, layout.units, strict=True))[name]
    unit = find_unit("time", written)
    return (
        unit
        or (unit_in(name, "time")[1] if len(plain_name(name).split()) > 1 else None)
        or (find_unit("time", {"millis": "ms", "micros": "us"}.get(plain_name(name), "")))
    )


def _usual_step(known: Numbers) -> float:
    steps = np.diff(known)
    steps = steps[steps > 0]
    return float(np.median(steps)) if len(steps) else 1.0


def _numeric(name: str, unit: str, *, since_1970: bool = False) -> TimeColumn:
    match unit:
        case "ms":
            return TimeColumn(column=name, unit="ms", since_1970=since_1970)
        case "us":
            return TimeColumn(column=name, unit="us", since_1970=since_1970)
        case "ns":
            return TimeColumn(column=name, unit="ns", since_1970=since_1970)
        case _:
            return TimeColumn(column=name, unit="s", since_1970=since_1970)
