"""How a table of text is laid out: delimiter, decimal mark, where the names and the rows are.

Owns finding that out from the first lines; what the user's map says comes before it.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import islice
from math import isfinite
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from groundstation.errors import SessionFileError
from groundstation.importing.cells import clock_s, number, timestamp_s
from groundstation.importing.lines import encoding_of, read_lines
from groundstation.importing.units import QUANTITIES
from groundstation.recording.store import file_error
from groundstation.wording import printable

LOOKED_AT = 200
"""Lines; whoever writes a longer preamble must say where the table begins."""

NAMES_BEFORE = 20
"""Lines before the rows in which the names are looked for, where the user says where rows begin."""

MAX_COLUMNS = 500

_ENCODINGS = r"^(utf-8|utf-8-sig|utf-16|latin-1|cp\d{3,4}|iso8859-\d{1,2}|shift_jis|gbk|euc_kr)$"

DELIMITERS = (",", ";", "\t", "|", " ")
"""A space stands for any run of spaces."""

_RATE = re.compile(r"rate\D{0,20}?(\d{1,6}(?:\.\d{1,6})?)\s*hz", re.IGNORECASE | re.ASCII)

_UNITS = {
    alias
    for units in QUANTITIES.values()
    for unit in units
    for alias in (unit.name.lower().replace(" ", ""), *unit.aliases)
    if alias
}


class FileLayout(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[file]` of a map: how the table is laid out; what is not said is found out."""

    delimiter: Annotated[str, msgspec.Meta(pattern='^[^\\w"\r\n]$')] | None = None
    decimal: Literal[".", ","] | None = None
    encoding: Annotated[str, msgspec.Meta(pattern=_ENCODINGS)] | None = None
    first_line: Annotated[int, msgspec.Meta(ge=1, le=1_000_000)] | None = None
    """The first row of values, counted from 1."""


@dataclass(frozen=True, slots=True)
class Layout:
    """Where what is in the file."""

    encoding: str
    delimiter: str
    decimal: str
    names: tuple[str, ...]
    """Of the columns, made different from each other."""
    units: tuple[str, ...]
    """What a row of units says, or the names' brackets; empty where nothing does."""
    first_line: int
    """The first row of values, counted from 1."""
    rate_hz: float | None = None
    """What the lines before the table say of it."""


def split_line(line: str, delimiter: str) -> list[str]:
    """Return the cells of a line."""
    if delimiter == " ":
        return line.split(maxsplit=MAX_COLUMNS + 1)
    try:
        # One cell more than can be imported shows that there are too many.
        cells = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
        return cells[: MAX_COLUMNS + 1]
    except csv.Error:
        return []


def find_layout(path: Path, said: FileLayout | None = None) -> Layout:
    """Return how a table is laid out.

    Args:
        path: Of the file.
        said: What the user says of it; only the rest is looked for.

    Raises:
        SessionFileError: The file cannot be read, or no table is found in its first lines.
    """
    said = said or FileLayout()
    encoding = said.encoding or encoding_of(path)
    start = max((said.first_line or 1) - 1 - NAMES_BEFORE, 0)
    lines = list(islice(read_lines(path, encoding, Counter()), start, start + LOOKED_AT))
    chosen = _mark_and_delimiter(lines, said)
    if chosen is None:
        raise file_error(path, "holds no table of numbers", "CSV, NMEA 0183 and GPX are known")
    delimiter, decimal = chosen
    rows = [split_line(line, delimiter) for line in lines]
    first, _ = _table_in(rows, decimal)
    if said.first_line is not None:
        first = said.first_line - 1 - start
    width = len(rows[first]) if first < len(rows) else 0
    if not 1 < width <= MAX_COLUMNS:
        what = f"has {'no' if width < 2 else f'more than {MAX_COLUMNS}'} columns"
        raise file_error(path, what, "Say where its rows begin, or leave some out")
    header, units = _names_before(rows[:first], width)
    bracketed = tuple(_bracketed(name) for name in header)
    return Layout(
        encoding=encoding,
        delimiter=delimiter,
        decimal=decimal,
        names=_made_different(header, width),
        units=units if any(units) else _to_width(bracketed, width),
        first_line=start + first + 1,
        rate_hz=_rate_in(lines[:first]),
    )


def _mark_and_delimiter(lines: Sequence[str], said: FileLayout) -> tuple[str, str] | None:
    """Return the delimiter and the decimal mark by which most cells are values."""
    best: tuple[int, str, str] | None = None
    for delimiter in (said.delimiter,) if said.delimiter else DELIMITERS:
        for decimal in (said.decimal,) if said.decimal else (".", ","):
            if delimiter == decimal:
                continue
            rows = [split_line(line, delimiter) for line in lines]
            first, count = _table_in(rows, decimal)
            if not count:
                continue
            filled = sum(_is_value(cell, decimal) for row in rows[first:] for cell in row)
            if best is None or filled > best[0]:
                best = (filled, delimiter, decimal)
    return best[1:] if best else None


def _table_in(rows: Sequence[Sequence[str]], decimal: str) -> tuple[int, int]:
    """Return where rows of values begin, and how many there are; the widest run counts."""
    widths = Counter(
        len(row) for row in rows if len(row) > 1 and _share_of_values(row, decimal) >= 0.5
    )
    if not widths:
        return 0, 0
    width, count = max(widths.items(), key=lambda item: (item[1] * item[0], item[0]))
    for number_of_row, row in enumerate(rows):
        if len(row) == width and _share_of_values(row, decimal) >= 0.5:
            return number_of_row, count
    return 0, 0


def _share_of_values(row: Sequence[str], decimal: str) -> float:
    filled = [cell for cell in row if cell.strip()]
    return sum(_is_value(cell, decimal) for cell in filled) / len(filled) if filled else 0.0


def _is_value(cell: str, decimal: str) -> bool:
    if cell.strip().lower() in ("nan", "inf", "-inf"):
        return True
    return any(
        isfinite(value) for value in (number(cell, decimal), timestamp_s(cell), clock_s(cell))
    )


def _names_before(
    rows: Sequence[Sequence[str]], width: int
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the row of names and the row of units that stand before the values."""
    near = [row for row in rows if abs(len(row) - width) <= 1 and len(row) > 1][-2:]
    if not near:
        return (), ()
    last = near[-1]
    filled = [cell for cell in last if cell.strip()]
    known = sum(re.sub(r"[\s()\[\]]", "", cell).lower() in _UNITS for cell in filled)
    if len(near) == 2 and filled and known >= max(1, len(filled) // 2):
        return _to_width(near[0], width), _to_width(last, width)
    return _to_width(last, width), ()


def _to_width(row: Sequence[str], width: int) -> tuple[str, ...]:
    cells = [cell.strip().lstrip("#/ ").strip() for cell in row[:width]]
    return (*cells, *[""] * (width - len(cells)))


def _bracketed(name: str) -> str:
    found = re.search(r"[(\[]([^()\[\]]{1,16})[)\]]\s*$", name)
    return found.group(1) if found else ""


def _made_different(names: Sequence[str], width: int) -> tuple[str, ...]:
    seen: Counter[str] = Counter()
    different = []
    for place in range(width):
        name = (names[place] if place < len(names) else "")[:80] or f"column {place + 1}"
        seen[name] += 1
        different.append(name if seen[name] == 1 else f"{name} #{seen[name]}")
    return tuple(different)


def _rate_in(lines: Sequence[str]) -> float | None:
    for line in lines:
        if (found := _RATE.search(line)) and 0 < (rate_hz := float(found.group(1))) <= 100_000:
            return rate_hz
    return None


def require_columns(path: Path, layout: Layout, wanted: Sequence[str]) -> None:
    """Check that columns are there.

    Raises:
        SessionFileError: One is not.
    """
    if missing := [name for name in wanted if name not in layout.names]:
        there = printable(f"it has {', '.join(layout.names[:12])}")
        raise SessionFileError(f"{path} has no column {missing[0]!r}", there)
