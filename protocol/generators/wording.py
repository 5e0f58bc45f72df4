"""How a field is written down outside Python: its unit, its numbers, its member name.

Shared by the C header, the MicroPython module and WIRE.md, so that the three speak alike.
"""

from __future__ import annotations

from protocol.table import Field

NOTICE = "Generated from protocol/frames.toml by `python -m protocol.generate`: do not edit."

_UNITS = {
    "mps": "m/s",
    "dps": "deg/s",
    "g": "g",
    "percent": "%",
    "deg": "deg",
    "m": "m",
    "dbm": "dBm",
    "db": "dB",
    "v": "V",
    "a": "A",
    "c": "deg C",
    "rpm": "1/min",
}
"""By the last part of a field's name."""


def unit_of(each: Field) -> str:
    """Return the unit that a field's name ends with, empty where it has none."""
    return _UNITS.get(each.name.rpartition("_")[2], "") if "_" in each.name else ""


def with_unit(text: str, each: Field) -> str:
    """Return `text` followed by the field's unit, where it has one."""
    return f"{text} {unit_of(each)}".rstrip()


def number(value: float) -> str:
    """Return a number as one writes it: 655, not 655.0."""
    return str(int(value)) if value == int(value) else repr(value)


def member_name(each: Field) -> str:
    """Return the name of a field's raw integer: `speed_mps_x100` counts hundredths of m/s.

    The bare name would say m/s of a number that is not in m/s.
    """
    return each.name if each.per_unit == 1 else f"{each.name}_x{each.per_unit}"


def hexadecimal(data: bytes) -> str:
    """Return bytes as `0A 1B`."""
    return data.hex(" ").upper()
