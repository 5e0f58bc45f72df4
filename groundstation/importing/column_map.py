"""The column map: which column of a foreign table is which channel, as the user can edit it.

Owns its shape and its TOML text, both ways. A wrong key or value is named with its line.
"""

from __future__ import annotations

import json
import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal

import msgspec

from groundstation.errors import SettingsError
from groundstation.importing.layout import FileLayout
from groundstation.importing.units import QUANTITIES, find_unit, quantity_of
from groundstation.settings import parse_toml, read_text
from protocol import Table

_Name = Annotated[str, msgspec.Meta(min_length=1, max_length=80)]
_Channel = Annotated[str, msgspec.Meta(pattern=r"^[a-z][a-z0-9_]{0,39}$")]
_Rate = Annotated[float, msgspec.Meta(gt=0, le=100_000)]


class TimeColumn(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[time]`: when each row was: a column with its unit, a rate, or a counter at a rate."""

    column: _Name | None = None
    unit: Literal["s", "ms", "us", "ns", "text"] = "s"
    """ "text" is a date and time, or a time of day."""
    rate_hz: _Rate | None = None
    """Rows a second, or counts a second of the column."""
    since_1970: bool = False
    """Whether zero is the year 1970; the session then has the log's own date."""


class ColumnEntry(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """`[[column]]`: one column and what it is."""

    name: _Name
    channel: _Channel
    """A channel of the frame table; any other name becomes a channel of the builder's own."""
    unit: Annotated[str, msgspec.Meta(max_length=20)] = ""
    sign: Literal[1, -1] = 1
    """-1 turns an axis round; ours are ISO 8855: x forward, y left, z up, yaw to the left."""


class ColumnMap(msgspec.Struct, forbid_unknown_fields=True, frozen=True, kw_only=True):
    """The whole file."""

    time: TimeColumn
    file: FileLayout = FileLayout()
    column: tuple[ColumnEntry, ...] = ()
    fixes_repeat: bool = False
    """Satellite columns are repeated until they change; a fix is then taken once."""


def load_map(path: Path, table: Table) -> ColumnMap:
    """Return the map of a TOML file.

    Raises:
        SettingsError: It cannot be read, or says something impossible, named with its line.
    """
    return parse_map(read_text(path, "column map"), str(path), table)


def parse_map(text: str, origin: str, table: Table) -> ColumnMap:
    """Return the map in TOML text; `origin` is what errors call it.

    Raises:
        SettingsError: It is no TOML, or says something impossible, named with its line.
    """
    _check_entries(text, origin)
    column_map = parse_toml(text, origin, ColumnMap)
    if column_map.time.column is None and column_map.time.rate_hz is None:
        raise SettingsError(f"{origin}: [time] needs a column or rate_hz")
    seen: set[str] = set()
    for place, entry in enumerate(column_map.column):
        where = f"{origin}, line {_line_of_entry(text, place, 'channel')}"
        if entry.channel in seen:
            raise SettingsError(f"{where}: channel {entry.channel} is there twice")
        seen.add(entry.channel)
        _check_entry(entry, where, table)
    return column_map


def map_text(column_map: ColumnMap) -> str:
    """Return a map as TOML, to be edited."""
    lines = [
        "# Which column is which channel. Leave a [[column]] out and it is not imported; a channel",
        "# that the frame table does not know becomes one of your own. Axes are ISO 8855: x",
        "# forward, y left, z up (+1 g at rest), yaw positive to the left.",
        "",
        f"fixes_repeat = {_toml(column_map.fixes_repeat)}",
        "",
        "[file]",
        *_keys(column_map.file),
        "",
        "[time]",
        *_keys(column_map.time),
    ]
    for entry in column_map.column:
        lines += ["", "[[column]]", *_keys(entry)]
    return "\n".join(lines) + "\n"


def _keys(struct: msgspec.Struct) -> list[str]:
    said = msgspec.to_builtins(struct)
    return [f"{key} = {_toml(value)}" for key, value in said.items() if value is not None]


def _toml(value: object) -> str:
    # A JSON string, number or truth is a TOML one, once DEL is escaped too.
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _check_entries(text: str, origin: str) -> None:
    """Check each `[[column]]` by itself, so that an error names its own line.

    Raises:
        SettingsError: A key or a value in one is wrong.
    """
    try:
        entries = tomllib.loads(text).get("column", [])
    except tomllib.TOMLDecodeError:
        return  # told by whoever reads the whole
    for place, entry in enumerate(entries if isinstance(entries, list) else []):
        try:
            msgspec.convert(entry, ColumnEntry)
        except msgspec.ValidationError as error:
            found = re.search(r"unknown field `([^`]+)`|at `\$\.([^`[]+)", str(error))
            key = (found.group(1) or found.group(2)) if found else "name"
            reason = re.sub(r" - at `.*", "", str(error))
            raise SettingsError(
                f"{origin}, line {_line_of_entry(text, place, key)}: column.{key}: {reason}"
            ) from error


def _check_entry(entry: ColumnEntry, where: str, table: Table) -> None:
    field = table.field(entry.channel)
    fields = {each.name: each for kind in table.kinds for each in kind.fields}
    if field is None:
        if entry.channel in fields:
            bits = ", ".join(fields[entry.channel].bits)
            raise SettingsError(f"{where}: name one of {bits}, not {entry.channel}")
        return
    if field.is_text:
        raise SettingsError(f"{where}: channel {entry.channel} is text")
    quantity = quantity_of(entry.channel)
    if entry.unit and find_unit(quantity, entry.unit) is None:
        known = ", ".join(unit.name for unit in QUANTITIES[quantity] if unit.name)
        raise SettingsError(
            f"{where}: unit {entry.unit!r} is none of {entry.channel}", f"known are {known}"
        )


def _line_of_entry(text: str, place: int, key: str) -> int:
    """Return the line, counted from 1, of a key in a `[[column]]`; of its head without the key."""
    head, count = 1, -1
    for number, line in enumerate(text.splitlines(), start=1):
        stripped = line.strip()
        if stripped.startswith("["):
            if count == place:
                break
            count += stripped.replace(" ", "") == "[[column]]"
            head = number
        elif count == place and re.match(rf"{re.escape(key)}\s*=", stripped):
            return number
    return head
