"""The frame table: which kinds of frame exist and what each byte of a payload means.

Owns reading and checking `frames.toml` and a builder's own table, and the codec of one
payload, both ways. A value on the wire is an integer, `raw`; what it stands for is
`raw / per_unit`. Division, never multiplication by a rounded scale: it gives the nearest
double, so a value prints as it was meant and equals the NumPy column bit for bit.
"""

from __future__ import annotations

import re
import struct
import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from math import inf, isfinite, isnan
from pathlib import Path
from types import MappingProxyType
from typing import Any

from protocol.errors import EncodeError, TableError
from protocol.framing import CRC_BYTES, MAX_DECODED_BYTES

HEADER = struct.Struct("<BBHI")
"""Kind, vehicle number, sequence number, vehicle clock in microseconds."""

MAX_PAYLOAD_BYTES = MAX_DECODED_BYTES - HEADER.size - CRC_BYTES

BUILDER_CODES = range(0x80, 0xFF)
"""Kinds a builder may define; 0x01 to 0x7F belong to this table's own versions."""

MAX_PER_UNIT = 1_000_000_000
"""No field has more steps than this; scaling stays exact far below where doubles end."""

Value = float | int | bool | str | None
"""What a field stands for; None says "not measured"."""

_Step = tuple[str, int, int, int | None, int, tuple[tuple[str, int], ...]]
"""Name, raw value of "not measured", counts per unit (0 for text), bits with their weights."""

_INTEGERS = {
    "u8": ("B", 0, 255),
    "i8": ("b", -128, 127),
    "u16": ("H", 0, 65535),
    "i16": ("h", -32768, 32767),
    "u32": ("I", 0, 4294967295),
    "i32": ("i", -2147483648, 2147483647),
}
_NAME = re.compile(r"[a-z][a-z0-9_]{0,39}")
_TEXT = re.compile(r"text([1-9][0-9]?)")


@dataclass(frozen=True, slots=True)
class Field:
    """One field of a payload."""

    name: str
    """Ends with the unit where there is one."""
    type: str
    """u8, i8, u16, i16, u32, i32, or textN for N bytes of UTF-8."""
    per_unit: int = 1
    """Counts per unit; 1 keeps the value an integer."""
    min: float = 0
    max: float = 0
    unknown: int | None = None
    """The raw value of "not measured"; text fields say it by being empty."""
    label: str = ""
    digits: int = 0
    """Decimals worth showing."""
    bits: tuple[str, ...] = ()
    """Names of the bits, lowest first; each is a channel of its own."""
    doc: str = ""

    @property
    def is_text(self) -> bool:
        """Whether the field is text."""
        return self.type.startswith("text")

    @property
    def size(self) -> int:
        """Bytes on the wire."""
        return struct.calcsize("<" + self.code)

    @property
    def code(self) -> str:
        """The field's `struct` code."""
        return f"{self.type[4:]}s" if self.is_text else _INTEGERS[self.type][0]

    @property
    def raw_min(self) -> int:
        """Lowest raw value an encoder sends for a measured value."""
        return round(self.min * self.per_unit)

    @property
    def raw_max(self) -> int:
        """Highest raw value an encoder sends for a measured value."""
        return round(self.max * self.per_unit)

    @property
    def channels(self) -> tuple[str, ...]:
        """Names of the channels that the field gives: itself, or its bits."""
        return self.bits or (self.name,)

    def to_raw(self, value: Value) -> int | bytes:
        """Return the wire value: clamped to the range, `unknown` for None or NaN.

        Raises:
            EncodeError: Text where a number belongs, or the reverse.
        """
        if self.is_text:
            if value is not None and not isinstance(value, str):
                raise EncodeError(f"{self.name} is text, not {value!r}")
            return _fit_text(value or "", self.size)
        if isinstance(value, str):
            raise EncodeError(f"{self.name} is a number, not {value!r}")
        if value is None or isnan(value):
            assert self.unknown is not None
            return self.unknown
        # Clamp before scaling: rounding infinity is an error, clamping it is not.
        return round(min(max(value, self.min), self.max) * self.per_unit)


@dataclass(frozen=True, slots=True)
class Kind:
    """One kind of frame: a code and the fields of its payload."""

    name: str
    code: int
    fields: tuple[Field, ...]
    rate_hz: tuple[float, float] = (0.0, 0.0)
    """Lowest and highest usual rate."""
    doc: str = ""
    layout: struct.Struct = field(init=False, repr=False, compare=False)
    _names: frozenset[str] = field(init=False, repr=False, compare=False)
    """What `encode` takes: the fields and their bits."""
    _plan: tuple[_Step, ...] = field(init=False, repr=False, compare=False)
    """How `decode` reads each field."""

    def __post_init__(self) -> None:
        layout = struct.Struct("<" + "".join(each.code for each in self.fields))
        names = frozenset(name for each in self.fields for name in (each.name, *each.bits))
        object.__setattr__(self, "layout", layout)
        object.__setattr__(self, "_names", names)
        object.__setattr__(self, "_plan", tuple(map(_decode_step, self.fields)))

    def encode(self, values: Mapping[str, Value]) -> bytes:
        """Return the payload of `values`; a channel that is not named is "not measured".

        Raises:
            EncodeError: A name that is no channel of this kind, or a value of the wrong type.
        """
        if stray := values.keys() - self._names:
            raise EncodeError(f"{self.name} has no field {', '.join(sorted(stray))}")
        return self.layout.pack(*(_field_raw(each, values) for each in self.fields))

    def decode(self, payload: bytes) -> dict[str, Value]:
        """Return the channels of a payload at least `layout.size` long; more is ignored.

        A number outside its range is as little measured as the unknown value, which lies there too.
        """
        values: dict[str, Value] = {}
        for step, raw in zip(self._plan, self.layout.unpack_from(payload), strict=True):
            name, low, high, unknown, per_unit, bits = step
            if bits:
                for bit, weight in bits:
                    values[bit] = None if raw == unknown else raw & weight != 0
            elif not per_unit:
                values[name] = read_text(raw)
            elif not low <= raw <= high:
                values[name] = None
            elif per_unit == 1:
                values[name] = raw
            else:
                values[name] = raw / per_unit
        return values


@dataclass(frozen=True, slots=True)
class Table:
    """All kinds that a receiver knows."""

    wire_version: int
    kinds: tuple[Kind, ...]
    by_code: Mapping[int, Kind] = field(init=False, repr=False, compare=False)
    by_name: Mapping[str, Kind] = field(init=False, repr=False, compare=False)
    by_channel: Mapping[str, tuple[Kind, Field]] = field(init=False, repr=False, compare=False)
    """The kind and the field that give a channel."""

    def __post_init__(self) -> None:
        by_channel = {n: (k, f) for k in self.kinds for f in k.fields for n in f.channels}
        object.__setattr__(self, "by_code", MappingProxyType({k.code: k for k in self.kinds}))
        object.__setattr__(self, "by_name", MappingProxyType({k.name: k for k in self.kinds}))
        object.__setattr__(self, "by_channel", MappingProxyType(by_channel))
        _check_unique("kind code", (hex(kind.code) for kind in self.kinds))
        _check_unique("kind", (kind.name for kind in self.kinds))
        _check_unique(
            "channel", (n for k in self.kinds for f in k.fields for n in (f.name, *f.bits))
        )

    def field(self, channel: str) -> Field | None:
        """Return the field that gives `channel`, or None."""
        _, found = self.by_channel.get(channel, (None, None))
        return found

    def extended(self, toml_text: str, origin: str) -> Table:
        """Return this table with the kinds of a builder's own TOML text.

        Args:
            toml_text: `[[kind]]` entries as in `frames.toml`; codes 0x80 to 0xFE.
            origin: What errors call the text, usually a path.

        Raises:
            TableError: The text is not TOML, or a kind or field in it cannot be used.
        """
        entries = _parse(toml_text, origin)
        try:
            if stray := entries.keys() - {"kind"}:
                raise TableError(f"unknown key {', '.join(sorted(stray))}, only [[kind]] is read")
            added = [_read_kind(entry) for entry in _list_of_tables(entries, "kind")]
            for kind in added:
                if kind.code not in BUILDER_CODES:
                    raise TableError(
                        f"kind {kind.name}: code {kind.code:#04x} is not in 0x80 to 0xfe"
                    )
            return Table(self.wire_version, self.kinds + tuple(added))
        except TableError as error:
            raise TableError(f"{origin}: {error}") from error


@cache
def standard_text() -> str:
    """Return the text of `frames.toml`."""
    return files("protocol").joinpath("frames.toml").read_text(encoding="utf-8")


@cache
def standard_table() -> Table:
    """Return the table of `frames.toml`."""
    entries = _parse(standard_text(), "frames.toml")
    return Table(entries["wire_version"], tuple(_read_kind(entry) for entry in entries["kind"]))


def load_table(extra: Path | None = None) -> Table:
    """Return the standard table, with a builder's own kinds where a file is given.

    Raises:
        TableError: The file cannot be read or used.
    """
    if extra is None:
        return standard_table()
    try:
        text = extra.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
        raise TableError(f"{extra}: cannot be read ({reason})") from error
    return standard_table().extended(text, str(extra))


def _parse(text: str, origin: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise TableError(f"{origin}: not TOML: {error}") from error


def _list_of_tables(entry: Mapping[str, Any], key: str) -> list[dict[str, Any]]:
    tables = entry.get(key, [])
    if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
        raise TableError(f"`{key}` must be a list of tables, written [[{key}]]")
    return tables


def _read_kind(entry: Mapping[str, Any]) -> Kind:
    name = _checked_name(entry.get("name"), "a kind")
    code = entry.get("code")
    if type(code) is not int or not 1 <= code <= 0xFE:
        raise TableError(f"kind {name}: code must be a whole number from 0x01 to 0xfe")
    if stray := entry.keys() - {"name", "code", "field", "rate_hz", "doc"}:
        raise TableError(f"kind {name}: unknown key {', '.join(sorted(stray))}")
    rate = entry.get("rate_hz", [0.0, 0.0])
    if not (_is_list(rate, (int, float)) and len(rate) == 2 and all(0 <= hz < inf for hz in rate)):
        raise TableError(f"kind {name}: rate_hz must be two numbers, lowest and highest")
    fields = tuple(_read_field(each, name) for each in _list_of_tables(entry, "field"))
    kind = Kind(name, code, fields, (float(rate[0]), float(rate[1])), str(entry.get("doc", "")))
    if not 0 < kind.layout.size <= MAX_PAYLOAD_BYTES:
        raise TableError(
            f"kind {name}: payload has {kind.layout.size} bytes, 1 to {MAX_PAYLOAD_BYTES} fit"
        )
    return kind


def _read_field(entry: Mapping[str, Any], kind: str) -> Field:
    name = _checked_name(entry.get("name"), f"a field of kind {kind}")
    where = f"kind {kind}, field {name}"
    if stray := entry.keys() - set(Field.__slots__):
        raise TableError(f"{where}: unknown key {', '.join(sorted(stray))}")
    bits = entry.get("bits", [])
    if not _is_list(bits, (str,)):
        raise TableError(f"{where}: bits must be a list of names")
    known = dict(entry) | {"bits": tuple(bits)}
    wanted = {"type": str, "label": str, "doc": str, "per_unit": int, "digits": int, "unknown": int}
    for key, kind_of_value in wanted.items():
        if key in known and type(known[key]) is not kind_of_value:
            raise TableError(f"{where}: {key} is {known[key]!r}, not {kind_of_value.__name__}")
    known.setdefault("label", name)
    if _TEXT.fullmatch(known.get("type", "")):
        if stray := entry.keys() - {"name", "type", "label", "doc"}:
            raise TableError(f"{where}: text has no {', '.join(sorted(stray))}")
        return Field(**known)
    if known.get("type") not in _INTEGERS:
        raise TableError(f"{where}: type must be one of {', '.join(_INTEGERS)} or textN")
    for key in ("min", "max", "unknown"):
        if type(known.get(key)) not in (int, float) or not isfinite(known[key]):
            raise TableError(f"{where}: {key} must be given as a number")
    for bit in bits:
        _checked_name(bit, where)
    return _checked_numbers(Field(**known), where)


def _checked_numbers(each: Field, where: str) -> Field:
    _, lowest, highest = _INTEGERS[each.type]
    if not 1 <= each.per_unit <= MAX_PER_UNIT:
        raise TableError(f"{where}: per_unit must be 1 to {MAX_PER_UNIT}")
    if not 0 <= each.digits <= 9:
        raise TableError(f"{where}: digits must be 0 to 9")
    if not lowest <= each.raw_min <= each.raw_max <= highest:
        raise TableError(f"{where}: min to max does not fit {each.type}")
    assert each.unknown is not None
    if not lowest <= each.unknown <= highest or each.raw_min <= each.unknown <= each.raw_max:
        raise TableError(f"{where}: unknown must fit {each.type} and lie outside min to max")
    if each.bits and (each.per_unit != 1 or each.min != 0):
        raise TableError(f"{where}: bits need per_unit 1 and min 0")
    if each.bits and (1 << len(each.bits)) - 1 > each.raw_max:
        raise TableError(f"{where}: more bits than max has room for")
    return each


def _is_list(value: Any, types: tuple[type, ...]) -> bool:
    return isinstance(value, list) and all(type(each) in types for each in value)


def _checked_name(name: Any, what: str) -> str:
    if not isinstance(name, str) or not _NAME.fullmatch(name):
        raise TableError(f"{what}: name {name!r} must be lower-case letters, digits and _")
    return name


def _check_unique(what: str, names: Iterable[str]) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            raise TableError(f"{what} {name} is there twice")
        seen.add(name)


def _field_raw(each: Field, values: Mapping[str, Value]) -> int | bytes:
    if each.bits and each.name not in values:
        bits = [values.get(name) for name in each.bits]
        for name, bit in zip(each.bits, bits, strict=True):
            if isinstance(bit, str):
                raise EncodeError(f"{name} is a bit, not {bit!r}")
        if all(bit is None for bit in bits):
            return each.to_raw(None)
        return sum(1 << place for place, bit in enumerate(bits) if bit)
    return each.to_raw(values.get(each.name))


def _decode_step(each: Field) -> _Step:
    bits = tuple((name, 1 << place) for place, name in enumerate(each.bits))
    per_unit = 0 if each.is_text else each.per_unit
    return each.name, each.raw_min, each.raw_max, each.unknown, per_unit, bits


def _fit_text(text: str, size: int) -> bytes:
    # A zero byte ends the text, also for the reader; a lone surrogate has no place in UTF-8.
    data = text.split("\0", 1)[0].encode("utf-8", "replace")
    # Cut at a character boundary: half a character would read as a replacement mark.
    return data[:size].decode("utf-8", "ignore").encode("utf-8").ljust(size, b"\0")


def read_text(raw: bytes) -> str | None:
    """Return text that is safe to print: bytes from the air may hold control characters."""
    text = raw.split(b"\0", 1)[0].decode("utf-8", "replace")
    return "".join(mark if mark.isprintable() else "\ufffd" for mark in text) or None
