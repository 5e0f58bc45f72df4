"""A builder's own channels: every channel that the standard frame table does not know."""

from __future__ import annotations

from functools import cache

from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import UNKNOWN, ago, beside, fit, line, number
from groundstation.vehicle.snapshot import Reading, Snapshot
from protocol import Table, Value, standard_table

_UNITS = {
    "percent": "%", "dps": "deg/s", "mps": "m/s", "mps2": "m/s²", "deg": "deg", "rpm": "rpm",
    "hz": "Hz", "dbm": "dBm", "db": "dB", "c": "°C", "k": "K", "v": "V", "a": "A", "w": "W",
    "g": "g", "m": "m", "mm": "mm", "s": "s", "ms": "ms", "pa": "Pa", "kpa": "kPa", "bar": "bar",
    "n": "N", "nm": "Nm", "j": "J", "kg": "kg",
}  # fmt: skip
"""How the unit that a channel's name ends with is written."""

COLUMN_CELLS = 38
"""A table that would be too long goes on in a second column from twice this width."""


@cache
def standard_channels() -> frozenset[str]:
    """Return the names of all channels of the standard table."""
    return frozenset(
        name
        for kind in standard_table().kinds
        for field in kind.fields
        for name in (field.name, *field.bits)
    )


def own_channels(snapshot: Snapshot) -> dict[str, Reading]:
    """Return the readings that are a builder's own, in the order they were first heard."""
    known = standard_channels()
    return {
        name: reading for name, reading in (snapshot.channels or {}).items() if name not in known
    }


def own_table(snapshot: Snapshot, table: Table, *, width: int, rows: int) -> list[Line]:
    """Return the builder's channels under a title; what does not fit is counted.

    Args:
        snapshot: What is known.
        table: Gives labels and decimals, where it knows the channel.
        width: In cells.
        rows: With the title.
    """
    readings = list(own_channels(snapshot).items())
    title = line(width, (" OWN CHANNELS", Ink.TITLE), pad=Ink.TITLE)
    if not readings:
        return [
            title,
            line(
                width, ("  none heard; --channels FILE tells what your own frames hold", Ink.FAINT)
            ),
        ][:rows]
    height = max(rows - 1, 0)
    columns = min(max(width // COLUMN_CELLS, 1), -(-len(readings) // max(height, 1)))
    room = height * columns
    shown = readings if len(readings) <= room else readings[: max(room - 1, 0)]
    drawn = [_row(name, reading, snapshot.at_s, table, width // columns) for name, reading in shown]
    if len(shown) < len(readings):
        more = f"  and {len(readings) - len(shown)} more"
        drawn.append(line(width // columns, (more, Ink.FAINT)))
    blocks = [drawn[at : at + height] for at in range(0, len(drawn), height)] if height else []
    table_rows = [line(width, *row) for row in beside(*((width // columns, b) for b in blocks))]
    return [title, *table_rows][:rows]


def _row(name: str, reading: Reading, now_s: float, table: Table, width: int) -> Line:
    age_s = max(now_s - reading.at_s, 0.0) if reading.stale else None
    field = table.field(name)
    stem, _, suffix = name.rpartition("_")
    unit = _UNITS.get(suffix, "") if stem else ""
    label = (stem if unit else name).replace("_", " ")
    digits = None
    if field is not None:
        digits = field.digits
        if field.label and field.label != field.name and not field.bits:
            label = field.label
    room = min(max(width * 3 // 5 - 3, 8), 30)
    old = () if age_s is None else ((f"  {ago(age_s)}", Ink.STALE),)
    ink = Ink.TEXT if age_s is None else Ink.STALE
    label_text = f"  {fit(label, room):<{room}} "
    return line(width, (label_text, Ink.LABEL), (_value(reading.value, digits, unit), ink), *old)


def _value(value: Value, digits: int | None, unit: str) -> str:
    if value is None:
        return UNKNOWN
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return fit(value, 24)
    if digits is None:
        digits = 0 if isinstance(value, int) else 2
    return number(value, digits, unit)
