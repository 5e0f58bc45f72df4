"""The generated parts of `WIRE.md`; the prose around them is written by hand.

A part stands between `<!-- generated: NAME -->` and `<!-- end: NAME -->`. All numbers that
follow from the frame table are computed here, so that the specification cannot grow stale.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from math import ceil

from protocol.framing import CRC_BYTES, DELIMITER, crc16
from protocol.generators.vectors import CLOCK_US, VEHICLE, Vector, vectors
from protocol.generators.wording import hexadecimal, number, unit_of
from protocol.table import HEADER, Field, Kind, Table

RATES_HZ: dict[str, tuple[float, ...]] = {
    "motion": (50, 100, 200),
    "fix": (5, 10, 25),
    "radio": (10, 25, 50),
    "power": (1, 2, 5),
    "ident": (0.5, 0.5, 0.5),
}
"""Slow, usual (that of c/example_car.c) and fast."""

BAUD = (57_600, 115_200)
BITS_PER_BYTE = 10
"""Eight data bits, a start bit, a stop bit."""

NOTIFICATION_BYTES = (20, 244)
"""Of one BLE notification: ATT_MTU 23 (the default) and 247, less its 3 bytes of header."""


def filled(document: str, table: Table) -> str:
    """Return `document` with its generated parts made anew.

    Raises:
        ValueError: A part's markers are missing.
    """
    parts = {
        "kinds": _kinds(table),
        "fields": _fields(table),
        "example": _example(vectors(table)[0]),
        "rates": _rates(table),
    }
    for name, lines in parts.items():
        opening, closing = f"<!-- generated: {name} -->", f"<!-- end: {name} -->"
        before, found, rest = document.partition(opening)
        _, found_end, after = rest.partition(closing)
        if not found or not found_end:
            raise ValueError(f"WIRE.md has no part {opening} ... {closing}")
        document = f"{before}{opening}\n\n" + "\n".join(lines) + f"\n\n{closing}{after}"
    return document


def on_the_wire_bytes(kind: Kind) -> int:
    """Return the size of a frame with its COBS byte and delimiter."""
    return 1 + HEADER.size + kind.layout.size + CRC_BYTES + len(DELIMITER)


def _table(columns: Iterable[str], rows: Iterable[Iterable[object]]) -> list[str]:
    """Return a Markdown table; a column whose title begins with `>` is set to the right."""
    titles = list(columns)
    lines = [
        "| " + " | ".join(title.lstrip(">") for title in titles) + " |",
        "|" + "|".join("--:" if title.startswith(">") else "---" for title in titles) + "|",
    ]
    lines += ["| " + " | ".join(str(cell) for cell in row) + " |" for row in rows]
    return lines


def _kinds(table: Table) -> list[str]:
    rows = [
        (f"`0x{k.code:02X}`", k.name, k.layout.size, on_the_wire_bytes(k), _usual_hz(k), k.doc)
        for k in table.kinds
    ]
    return [
        f"This is wire version {table.wire_version}.",
        "",
        *_table(("code", "kind", ">payload", ">on the wire", ">frames/s", "what it tells"), rows),
    ]


def _usual_hz(kind: Kind) -> str:
    low, high = kind.rate_hz
    return number(low) if low == high else f"{number(low)} to {number(high)}"


def _fields(table: Table) -> list[str]:
    lines: list[str] = []
    for kind in table.kinds:
        lines += [
            f"### {kind.name} (`0x{kind.code:02X}`)",
            "",
            f"{kind.doc} {kind.layout.size} bytes.",
            "",
        ]
        titles = (">at", "field", "type", "unit", ">per unit", "range", ">unknown", "meaning")
        lines += _table(titles, _field_rows(kind))
        for each in kind.fields:
            if each.bits:
                named = ", ".join(f"{place} `{bit}`" for place, bit in enumerate(each.bits))
                lines += ["", f"Bits of `{each.name}`, bit 0 lowest: {named}."]
        lines.append("")
    return lines[:-1]


def _field_rows(kind: Kind) -> Iterator[tuple[object, ...]]:
    offset = 0
    for each in kind.fields:
        cells: tuple[object, ...] = ("", "", "", "empty")
        if not each.is_text:
            limits = f"{number(each.min)} to {number(each.max)}"
            cells = (unit_of(each), each.per_unit, limits, each.unknown)
        yield (offset, f"`{each.name}`", each.type, *cells, each.doc)
        offset += each.size


def _example(vector: Vector) -> list[str]:
    kind = vector.kind
    header = HEADER.pack(kind.code, VEHICLE, vector.sequence, CLOCK_US)
    payload = kind.encode(vector.values)
    crc = crc16(header + payload).to_bytes(CRC_BYTES, "big")
    head_rows = [
        ("kind", f"{kind.name} = `0x{kind.code:02X}`", hexadecimal(header[:1])),
        ("vehicle", VEHICLE, hexadecimal(header[1:2])),
        ("sequence", f"{vector.sequence} = `0x{vector.sequence:04X}`", hexadecimal(header[2:4])),
        ("clock", f"{CLOCK_US} us = `0x{CLOCK_US:08X}`", hexadecimal(header[4:])),
    ]
    return [
        "1. The header.",
        "",
        *_table(("field", "value", "bytes"), head_rows),
        "",
        "2. The payload: each value times its counts per unit, rounded, little-endian.",
        "",
        *_table(("field", "value", ">raw", "bytes"), _example_rows(vector, payload)),
        "",
        f"3. Header and payload, {len(header + payload)} bytes:",
        "",
        *_code(hexadecimal(header + payload)),
        "",
        f"4. Their CRC is `0x{crc.hex().upper()}`; sent high byte first it makes"
        f" {len(header + payload + crc)} bytes:",
        "",
        *_code(hexadecimal(header + payload + crc)),
        "",
        "5. COBS: cut at each zero; in front of each piece goes its length plus one, and the"
        " zeros are gone.",
        "",
        *_table((">code", "piece"), _pieces(header + payload + crc)),
        "",
        f"6. With the delimiter, the {len(vector.wire)} bytes on the wire:",
        "",
        *_code(hexadecimal(vector.wire)),
    ]


def _example_rows(vector: Vector, payload: bytes) -> Iterator[tuple[object, ...]]:
    offset = 0
    for each in vector.kind.fields:
        got = payload[offset : offset + each.size]
        raw = vector.raw[each.name]
        yield f"`{each.name}`", _example_value(each, vector), raw, hexadecimal(got)
        offset += each.size


def _example_value(each: Field, vector: Vector) -> object:
    if each.bits:
        return ", ".join(f"`{bit}`" for bit in each.bits if vector.values[bit]) + " set"
    value = vector.values[each.name]
    assert isinstance(value, int | float)
    return f"{number(value)} {unit_of(each)}".rstrip()


def _pieces(frame: bytes) -> Iterator[tuple[str, str]]:
    for piece in frame.split(DELIMITER):
        yield f"`{len(piece) + 1:02X}`", f"`{hexadecimal(piece)}`" if piece else "(none)"


def _code(text: str) -> list[str]:
    """Return bytes in hex as an indented block of lines of 24 bytes."""
    width = 3 * 24
    return [f"    {text[at : at + width].rstrip()}" for at in range(0, len(text), width)]


def _rates(table: Table) -> list[str]:
    rows = []
    for kind in table.kinds:
        size = on_the_wire_bytes(kind)
        rows += [
            _rate_row(kind.name, hz, hz * size, hz * ceil(size / NOTIFICATION_BYTES[0]))
            for hz in dict.fromkeys(RATES_HZ[kind.name])
        ]
    for place, name in enumerate(("slow", "usual", "fast")):
        rates = [(RATES_HZ[kind.name][place], on_the_wire_bytes(kind)) for kind in table.kinds]
        rows.append(
            _rate_row(
                f"**all, {name}**",
                sum(hz for hz, _ in rates),
                sum(hz * size for hz, size in rates),
                sum(hz * ceil(size / NOTIFICATION_BYTES[0]) for hz, size in rates),
            )
        )
    titles = (
        "kind",
        ">frames/s",
        ">bytes/s",
        *(f">of {number(baud / 1000)}k baud" for baud in BAUD),
        ">20-byte, a frame at a time",
        *(f">{size}-byte, filled" for size in NOTIFICATION_BYTES),
    )
    return _table(titles, rows)


def _rate_row(name: str, hz: float, bytes_per_s: float, by_frame: float) -> tuple[object, ...]:
    return (
        name,
        number(hz),
        number(bytes_per_s),
        *(f"{100 * bytes_per_s * BITS_PER_BYTE / baud:.1f} %" for baud in BAUD),
        number(by_frame),
        *(f"{bytes_per_s / size:.1f}" for size in NOTIFICATION_BYTES),
    )
