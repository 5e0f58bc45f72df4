"""A table of text, with its column map, as a log."""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.importing.assemble import assemble
from groundstation.importing.column_map import ColumnEntry, ColumnMap
from groundstation.importing.guess import Guess, guess, seconds_of
from groundstation.importing.layout import find_layout, require_columns
from groundstation.importing.lines import Progress, no_progress
from groundstation.importing.log import ForeignLog, Numbers, usable_times
from groundstation.importing.table import Columns, read_columns
from groundstation.importing.units import QUANTITIES, find_unit, quantity_of
from protocol import Table


def guess_csv(
    path: Path, table: Table, *, rate_hz: float | None = None, progress: Progress = no_progress
) -> tuple[Guess, Columns]:
    """Return what a table is taken for, and its values.

    Raises:
        SessionFileError: It cannot be read, or is no table.
        UsageError: Nothing tells when its rows were.
    """
    layout = find_layout(path)
    columns = read_columns(path, layout, progress)
    # A damaged cell may be any number; sums and products of it are then no numbers, no error.
    with np.errstate(all="ignore"):
        return guess(columns, layout, table, rate_hz), columns


def read_mapped(path: Path, column_map: ColumnMap, progress: Progress = no_progress) -> Columns:
    """Return the values of a table that is laid out as a map says.

    Raises:
        SessionFileError: It cannot be read, or lacks a column.
    """
    layout = find_layout(path, column_map.file)
    wanted = [entry.name for entry in column_map.column]
    if column_map.time.column is not None:
        wanted.append(column_map.time.column)
    require_columns(path, layout, wanted)
    return read_columns(path, layout, progress)


def csv_log(columns: Columns, column_map: ColumnMap, table: Table) -> ForeignLog:
    """Return the log that a table is, read by a map.

    Raises:
        SessionFileError: It holds nothing that can be imported.
    """
    counts = Counter(columns.counts)
    times_s = seconds_of(columns, column_map.time)
    usable = usable_times(times_s, counts)
    kept_s = times_s[usable]
    channels = {
        entry.channel: _in_our_unit(columns, entry, table)[usable] for entry in column_map.column
    }
    series, text = assemble(
        kept_s - kept_s[0], channels, table, counts, fixes_repeat=column_map.fixes_repeat
    )
    if not series:
        raise SessionFileError("no row of the log holds a value that the map asks for")
    started = None
    if column_map.time.since_1970:
        try:
            started = datetime.fromtimestamp(float(kept_s[0]), UTC)
        except (ValueError, OverflowError, OSError):
            counts["dates that cannot be"] += 1
    return ForeignLog(series, started, channels_text=text, counts=counts)


def _in_our_unit(columns: Columns, entry: ColumnEntry, table: Table) -> Numbers:
    if entry.name not in columns.numbers:
        raise SessionFileError(f"column {entry.name!r} holds no numbers")
    values = columns.numbers[entry.name]
    if table.field(entry.channel) is None:
        return values * float(entry.sign)
    quantity = quantity_of(entry.channel)
    unit = find_unit(quantity, entry.unit) or QUANTITIES[quantity][0]
    with np.errstate(over="ignore"):
        return (values * unit.factor + unit.offset) * float(entry.sign)
