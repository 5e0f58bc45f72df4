"""What a foreign table holds, guessed from names, units and the values; each guess has its reason.

Rule: a guess is shown and confirmed before anything is imported, so every one of them, the
uncertain ones too, says why.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

import numpy as np

from groundstation.errors import UsageError
from groundstation.importing.column_map import ColumnEntry, ColumnMap, TimeColumn
from groundstation.importing.guess_axes import settle_axes
from groundstation.importing.guess_time import TimeGuess, guess_time
from groundstation.importing.guessed import Guessed
from groundstation.importing.layout import FileLayout, Layout
from groundstation.importing.log import Numbers
from groundstation.importing.naming import channel_of, is_counter, is_time, own_name
from groundstation.importing.plausibility import Motion, motion, nearest, speed_ratio
from groundstation.importing.table import Columns
from groundstation.importing.units import QUANTITIES, find_unit, own_unit, quantity_of
from protocol import Table

MAX_OWN_CHANNELS = 200

REPEATED_SHARE = 0.4
"""Rows that repeat the fix before them, of all while it moves: above this it is held, not new."""


@dataclass(frozen=True, slots=True)
class Guess:
    """What a whole table is taken for."""

    columns: tuple[Guessed, ...]
    time: TimeGuess
    layout: Layout
    fixes_repeat: bool
    notes: tuple[str, ...]
    """What is to be looked at before the guess is accepted."""

    @property
    def map(self) -> ColumnMap:
        """The guess as a map."""
        return ColumnMap(
            file=FileLayout(
                delimiter=self.layout.delimiter,
                decimal="," if self.layout.decimal == "," else ".",
                encoding=self.layout.encoding,
                first_line=self.layout.first_line,
            ),
            time=self.time.column,
            column=tuple(
                ColumnEntry(
                    name=each.name,
                    channel=each.channel,
                    unit=each.unit,
                    sign=-1 if each.sign < 0 else 1,
                )
                for each in self.columns
                if each.channel
            ),
            fixes_repeat=self.fixes_repeat,
        )


def guess(columns: Columns, layout: Layout, table: Table, rate_hz: float | None = None) -> Guess:
    """Return what a table is taken for.

    Args:
        columns: Its values, all or the first of them.
        layout: How it is laid out.
        table: Channels there are.
        rate_hz: Rows a second, where the user says so.

    Raises:
        UsageError: Nothing tells when its rows were.
    """
    named = _by_name(columns, layout, table)
    timed = guess_time(columns, layout, named.keys(), rate_hz)
    named.pop(timed.column.column or "", None)
    times_s = seconds_of(columns, timed.column)
    named, moving = _settle_place(columns, named, times_s)
    named = _settle_speeds(columns, named, moving)
    named, notes = settle_axes(columns, named, times_s, moving)
    repeat = _fixes_repeat(columns, named)
    if repeat:
        notes.append("satellite columns are repeated between fixes: each fix is taken once")
    if not any(each.channel for each in named.values()):
        raise UsageError("no column of the log holds a number to import", "give --map FILE.toml")
    order = {name: place for place, name in enumerate(layout.names)}
    shown = sorted(named.values(), key=lambda each: order[each.name])
    return Guess(tuple(shown), timed, layout, repeat, tuple(notes))


def seconds_of(columns: Columns, time: TimeColumn) -> Numbers:
    """Return when each row was, as the map says; NaN where a row does not tell."""
    if time.column is None:
        rows = len(next(iter((*columns.numbers.values(), *columns.stamps.values()))))
        return np.arange(rows) / (time.rate_hz or 1.0)
    values = columns.times(time.column)
    if time.rate_hz is not None:
        return values / time.rate_hz
    if time.unit == "text" or time.column in columns.stamps:
        return values if time.since_1970 else _over_midnight(values)
    unit = find_unit("time", time.unit)
    with np.errstate(over="ignore"):
        return values * (unit.factor if unit else 1.0)


def _over_midnight(values: Numbers) -> Numbers:
    known = np.isfinite(values)
    back = np.concatenate([[0.0], np.diff(values[known])]) < -43_200
    unrolled = values.copy()
    unrolled[known] += 86_400.0 * np.cumsum(back)
    return unrolled


def _by_name(columns: Columns, layout: Layout, table: Table) -> dict[str, Guessed]:
    units = dict(zip(layout.names, layout.units, strict=True))
    found: dict[str, Guessed] = {}
    taken: set[str] = set()
    # First those that carry our own names, then the standard wordings, then all the rest.
    for name in columns.numbers:
        field = table.field(name)
        if field is not None and not field.is_text:
            ours = own_unit(quantity_of(name)).name
            found[name] = Guessed(name, name, "our own name", ours, certain=True)
            taken.add(name)
    has_place = any("latitude_deg" in (channel_of(n) or ()) for n in columns.numbers)
    for name in columns.numbers:
        named = channel_of(name)
        if name in found or named is None or not np.isfinite(columns.numbers[name]).any():
            continue
        channel, unit = named
        other = "ground_speed_mps"
        if channel == "speed_mps" and has_place and name.strip().lower()[:5] == "speed":
            has_satellite = any(other in (channel_of(n) or ()) for n in columns.numbers)
            channel = channel if has_satellite else other
        if channel in taken:
            continue
        written = find_unit(quantity_of(channel), units[name]) or unit
        why = "name" if written is None else "name and unit"
        found[name] = Guessed(name, channel, why, written.name if written else "")
        taken.add(channel)
    own = 0
    for name in (*columns.numbers, *columns.stamps):
        if name in found:
            continue
        values = columns.numbers.get(name)
        unnamed = re.fullmatch(r"column \d+", name) and _counts(values)
        if name in columns.stamps or is_time(name) or is_counter(name) or unnamed:
            found[name] = Guessed(name, None, "a time or a count, no measurement")
        elif values is None or not np.isfinite(values).any():
            found[name] = Guessed(name, None, "holds no numbers")
        elif own >= MAX_OWN_CHANNELS:
            found[name] = Guessed(name, None, f"more than {MAX_OWN_CHANNELS} channels of your own")
        else:
            channel = own_name(name, units[name], taken, table)
            found[name] = Guessed(name, channel, "a channel of your own", units[name])
            taken.add(channel)
            own += 1
    return found


def _counts(values: Numbers | None) -> bool:
    """Return whether a column only numbers the rows."""
    return values is not None and len(values) > 1 and bool(np.all(np.diff(values) == 1))


def _column(
    columns: Columns, named: dict[str, Guessed], channel: str
) -> tuple[str, Numbers] | None:
    for name, each in named.items():
        if each.channel == channel:
            return name, columns.numbers[name]
    return None


def _settle_place(
    columns: Columns, named: dict[str, Guessed], times_s: Numbers
) -> tuple[dict[str, Guessed], Motion | None]:
    """Settle the unit of the position; return also how it moves."""
    named, places = dict(named), []
    for channel, limit_deg in (("latitude_deg", 90.0), ("longitude_deg", 180.0)):
        found = _column(columns, named, channel)
        if found is None:
            return named, None
        name, values = found
        each = named[name]
        if not each.unit:
            highest = _size(values)
            whole = "1e-7 deg" if _e7_fits(columns, named, times_s) else "semicircles"
            unit = "deg" if highest <= limit_deg else whole
            named[name] = each = replace(each, unit=unit, why=f"{each.why}; size says {unit}")
        settled = find_unit("place", each.unit)
        places.append(values * (settled.factor if settled else 1.0))
    return named, motion(times_s, *places)


def _e7_fits(columns: Columns, named: dict[str, Guessed], times_s: Numbers) -> bool:
    """Return whether large whole coordinates are degrees times 1e7 and not semicircles.

    The two lie 16 % apart, so only a speed beside them can tell; without one the commoner counts.
    """
    latitude, longitude = (
        _column(columns, named, channel) for channel in ("latitude_deg", "longitude_deg")
    )
    if latitude is None or longitude is None:
        return True
    if _size(latitude[1]) > 90e7 or _size(longitude[1]) > 180e7:
        return False
    speed = _column(columns, named, "ground_speed_mps") or _column(columns, named, "speed_mps")
    if speed is None:
        return True
    misfit = []
    for factor in (1e-7, 180 / 2**31):
        moving = motion(times_s, latitude[1] * factor, longitude[1] * factor)
        ratio = speed_ratio(moving, speed[1]) if moving else None
        if ratio is None or ratio <= 0:
            return True
        misfit.append(min(abs(np.log(ratio * unit.factor)) for unit in QUANTITIES["speed"]))
    return bool(misfit[0] <= misfit[1])


def _settle_speeds(
    columns: Columns, named: dict[str, Guessed], moving: Motion | None
) -> dict[str, Guessed]:
    named = dict(named)
    per_mps = {unit.name: 1 / unit.factor for unit in QUANTITIES["speed"]}
    for channel in ("ground_speed_mps", "speed_mps"):
        found = _column(columns, named, channel)
        if found is None:
            continue
        name, values = found
        each = named[name]
        ratio = speed_ratio(moving, values) if moving else None
        unit = nearest(ratio, per_mps, within=1.12) if ratio else None
        if each.unit and unit and unit != each.unit:
            why = f"{each.why}, but against the position it looks like {unit}"
            named[name] = replace(each, why=why)
        elif each.unit:
            if unit:
                named[name] = replace(each, why=f"{each.why}; fits the position")
        elif unit and ratio:
            why = f"{each.why}; {ratio:.2f} times the speed of the position"
            named[name] = replace(each, unit=unit, why=why)
        else:
            why = f"{each.why}; unit not told, m/s assumed"
            named[name] = replace(each, unit="m/s", why=why)
    for name, each in named.items():
        quantity = quantity_of(each.channel or "")
        if each.channel and not each.unit and quantity in ("share", "course"):
            named[name] = _settle_by_size(each, columns.numbers[name], quantity)
    return named


def _settle_by_size(each: Guessed, values: Numbers, quantity: str) -> Guessed:
    if quantity == "share":
        # Full throttle may be rare.
        highest = float(np.nanpercentile(np.abs(values), 99.9))
        lowest = float(np.nanpercentile(values, 1))
        if lowest >= 700 and highest <= 2300:
            return replace(each, unit="us pulse", why=f"{each.why}; pulses of 1000 to 2000 us")
        unit = "1" if highest <= 1.0 else "%"
        return replace(each, unit=unit, why=f"{each.why}; size says {unit}")
    highest = _size(values)
    unit = "rad" if highest <= 6.3 else "deg" if highest <= 360 else "0.01 deg"
    return replace(each, unit=unit, why=f"{each.why}; size says {unit}")


def _size(values: Numbers) -> float:
    """Return how large a column's values are; a few damaged ones do not count."""
    return float(np.nanpercentile(np.abs(values), 95))


def _fixes_repeat(columns: Columns, named: dict[str, Guessed]) -> bool:
    latitude, longitude = (
        _column(columns, named, channel) for channel in ("latitude_deg", "longitude_deg")
    )
    if latitude is None or longitude is None:
        return False
    changed = (np.diff(latitude[1]) != 0) | (np.diff(longitude[1]) != 0)
    where = np.flatnonzero(changed)
    if len(where) < 5:
        return False
    # Only steps between changes that lie close together: a car at rest repeats its place too.
    gaps = np.diff(where)
    usual = float(np.median(gaps))
    near = gaps[gaps <= 3 * usual]
    return bool(1 - len(near) / np.sum(near) >= REPEATED_SHARE)
