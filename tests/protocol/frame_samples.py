"""Frames to encode in every language: seeded, with the extremes of every field.

A sample holds raw integers, as firmware gives them; `python_frame` is what the Python codec
makes of the same numbers, and what the others must equal byte for byte.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from protocol import Field, Kind, Sender, Table, Value

INT32_MIN, INT32_MAX = -(2**31), 2**31 - 1

LETTERS = "az09 .-\u00e9\u00df\u20ac\u4e16\U0001f600"
"""Characters of one, two, three and four bytes."""


@dataclass(frozen=True)
class FrameSample:
    kind: Kind
    vehicle: int
    sequence: int
    clock_us: int
    raw: dict[str, int | str]


def all_samples(table: Table, *, count: int, seed: int) -> list[FrameSample]:
    """Return the extremes of every field and `count` random samples over all kinds."""
    chance = random.Random(seed)
    samples = [
        FrameSample(kind, 1, 2, 3, {**_unknown(kind), each.name: raw})
        for kind in table.kinds
        for each in kind.fields
        for raw in _extremes(each)
    ]
    for place in range(count):
        kind = table.kinds[place % len(table.kinds)]
        raw = {each.name: _random_raw(each, chance) for each in kind.fields}
        counters = chance.randrange(256), chance.randrange(1 << 16), chance.randrange(1 << 32)
        samples.append(FrameSample(kind, *counters, raw))
    return samples


def python_frame(table: Table, sample: FrameSample) -> bytes:
    values = {each.name: _value(each, sample.raw[each.name]) for each in sample.kind.fields}
    sender = Sender(table, vehicle=sample.vehicle, sequence=sample.sequence)
    return sender.encode(sample.kind.name, values, sample.clock_us)


def _unknown(kind: Kind) -> dict[str, int | str]:
    return {each.name: "" if each.unknown is None else each.unknown for each in kind.fields}


def _value(each: Field, raw: int | str) -> Value:
    if isinstance(raw, str):
        return raw
    return None if raw == each.unknown else raw / each.per_unit


def _extremes(each: Field) -> Iterator[int | str]:
    if each.is_text:
        yield from ("", "a", "z" * (each.size - 1), "z" * each.size, "z" * (each.size + 1))
        for letter in LETTERS:
            for ahead in range(5):
                yield "a" * ahead + letter * each.size
        return
    assert each.unknown is not None
    lowest, highest = _given(each)
    ends = (each.raw_min, each.raw_max, each.unknown, lowest, highest, 0, 255, 256, 32767, 65535)
    yield from sorted({min(max(end + by, lowest), highest) for end in ends for by in (-1, 0, 1)})


def _random_raw(each: Field, chance: random.Random) -> int | str:
    if each.is_text:
        return "".join(chance.choices(LETTERS, k=chance.randrange(each.size + 4)))
    assert each.unknown is not None
    what = chance.random()
    if what < 0.1:
        return each.unknown
    if what < 0.2:
        return chance.randint(*_given(each))
    return chance.randint(each.raw_min, each.raw_max)


def _given(each: Field) -> tuple[int, int]:
    """Return what the C member of a field can hold."""
    return (0, 2**32 - 1) if each.type == "u32" else (INT32_MIN, INT32_MAX)
