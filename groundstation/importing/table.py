"""A table of text read into columns of numbers, in bounded space.

Rules: a row with another number of cells than the table has is left out and counted; only the
columns that are asked for are kept.
"""

from __future__ import annotations

import csv
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np

from groundstation.errors import SessionFileError
from groundstation.importing.cells import clock_s, number, timestamp_s
from groundstation.importing.layout import Layout, split_line
from groundstation.importing.lines import Progress, no_progress, read_lines
from groundstation.importing.log import Numbers

ROWS_AT_ONCE = 20_000


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """The rows of a table."""

    numbers: dict[str, Numbers]
    """By column; NaN where a cell is no number."""
    stamps: dict[str, Numbers]
    """Columns whose cells are times of day or dates: seconds."""
    counts: Counter[str]
    """What was left out."""

    def times(self, name: str) -> Numbers:
        """Return a column of times, as seconds where it is text, else as its numbers."""
        return self.stamps[name] if name in self.stamps else self.numbers[name]


def read_columns(
    path: Path,
    layout: Layout,
    progress: Progress = no_progress,
    *,
    most_rows: int | None = None,
) -> Columns:
    """Return the values of a table.

    Args:
        path: Of the file.
        layout: How it is laid out.
        progress: Told how far reading is.
        most_rows: Stop after so many; None reads all.

    Raises:
        SessionFileError: The file cannot be read, or holds no rows.
    """
    counts: Counter[str] = Counter()
    rows = _rows(path, layout, counts, progress)
    if most_rows is not None:
        rows = islice(rows, most_rows)
    parts: list[list[Numbers]] = []
    readers: list[str] = []
    while batch := list(islice(rows, ROWS_AT_ONCE)):
        cells = list(zip(*batch, strict=True))
        if not readers:
            readers = [_reader_for(column, layout.decimal) for column in cells]
        paired = zip(cells, readers, strict=True)
        parts.append([_read(column, how, layout.decimal) for column, how in paired])
    if not parts:
        raise SessionFileError(f"{path} holds no rows")
    joined = [np.concatenate(column) for column in zip(*parts, strict=True)]
    named = list(zip(layout.names, readers, joined, strict=True))
    return Columns(
        {name: values for name, how, values in named if how == "number"},
        {name: values for name, how, values in named if how != "number"},
        counts,
    )


def _rows(
    path: Path, layout: Layout, counts: Counter[str], progress: Progress
) -> Iterator[Sequence[str]]:
    width = len(layout.names)
    lines = islice(read_lines(path, layout.encoding, counts, progress), layout.first_line - 1, None)
    for cells in _split_all(lines, layout.delimiter, counts):
        # Some loggers end every row, or none but the header, with a delimiter.
        if len(cells) == width + 1 and not cells[-1].strip():
            cells = cells[:-1]
        if len(cells) == width:
            yield cells
        elif any(cell.strip() for cell in cells):
            counts["rows of another width"] += 1


def _split_all(
    lines: Iterator[str], delimiter: str, counts: Counter[str]
) -> Iterator[Sequence[str]]:
    if delimiter == " ":
        for line in lines:
            yield split_line(line, delimiter)
        return

    def balanced() -> Iterator[str]:
        # A quote that is never closed would make one cell of the rest of the file.
        for line in lines:
            if line.count('"') % 2:
                counts["lines with a quote that is never closed"] += 1
            else:
                yield line

    yield from csv.reader(balanced(), delimiter=delimiter, skipinitialspace=True)


def _reader_for(cells: Sequence[str], decimal: str) -> str:
    """Return how a column is read: as numbers, as timestamps or as a time of day."""
    filled = [cell for cell in cells if cell.strip()][:50]
    best, most = "number", 0
    for how, read in (
        ("number", lambda cell: number(cell, decimal)),
        ("timestamp", timestamp_s),
        ("clock", clock_s),
    ):
        count = sum(read(cell) == read(cell) for cell in filled)
        if count > most:
            best, most = how, count
    return best


def _read(cells: Sequence[str], how: str, decimal: str) -> Numbers:
    if how == "timestamp":
        return np.array([timestamp_s(cell) for cell in cells], np.float64)
    if how == "clock":
        return np.array([clock_s(cell) for cell in cells], np.float64)
    if decimal == ".":
        try:
            quick = np.array(list(map(float, cells)), np.float64)
        except ValueError:
            pass
        else:
            quick[~np.isfinite(quick)] = np.nan
            return quick
    return np.array([number(cell, decimal) for cell in cells], np.float64)
