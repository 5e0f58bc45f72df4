"""Invented frames for the decoder's benchmarks: many, seeded, some of them damaged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from protocol import Kind, standard_table
from protocol.framing import wrap
from protocol.table import HEADER

_SIXTEEN = "\n".join(
    f"[[kind.field]]\nname = 'own_{n}'\ntype = 'i16'\nmin = -3000\nmax = 3000\nunknown = -32768"
    for n in range(16)
)
TABLE = standard_table().extended(
    f"[[kind]]\nname = 'sixteen'\ncode = 0x80\n{_SIXTEEN}", "invented kind"
)
"""With a kind of sixteen channels, whose frames take 44 bytes on the wire; motion takes 33."""


@dataclass(frozen=True)
class Stream:
    """Frames as they come, and when."""

    data: bytes
    at_s: NDArray[np.float64]
    sizes: NDArray[np.int64]
    """One chunk a frame."""


def stream_of(kind_name: str, *, frames: int, damaged: float = 0.0, seed: int = 1) -> Stream:
    """Return frames of one kind at 100 Hz, some of them with a wrong bit."""
    kind, number = TABLE.by_name[kind_name], np.arange(frames)
    bodies = _bodies(kind, number, 10_000 * number, np.random.default_rng(seed))
    return _stream([wrap(body) for body in bodies], 0.01 * number, damaged=damaged, seed=seed)


def hour_of_all_kinds(*, minutes: float = 60.0, seed: int = 1) -> Stream:
    """Return what a car sends: motion at 100 Hz, the slower kinds between; a fix is sent late."""
    rates_hz = {"motion": 100.0, "radio": 20.0, "fix": 10.0, "power": 2.0, "ident": 0.5}
    delay_us = {"fix": 60_000}
    chance = np.random.default_rng(seed)
    sent_s, names = np.empty(0), np.empty(0, np.int64)
    for place, rate_hz in enumerate(rates_hz.values()):
        times_s = 1.0 + (np.arange(round(minutes * 60 * rate_hz)) + 0.1 * place) / rate_hz
        sent_s = np.concatenate([sent_s, times_s])
        names = np.concatenate([names, np.full(len(times_s), place)])
    turn = np.argsort(sent_s, kind="stable")
    sent_s, names = sent_s[turn], names[turn]
    frames: list[bytes] = [b""] * len(turn)
    for place, name in enumerate(rates_hz):
        number = np.flatnonzero(names == place)
        clock_us = np.rint(sent_s[number] * 1e6).astype(np.int64) - delay_us.get(name, 0)
        for each, body in zip(
            number.tolist(), _bodies(TABLE.by_name[name], number, clock_us, chance), strict=True
        ):
            frames[each] = wrap(body)
    return _stream(frames, sent_s)


def record_dtype(kind: Kind) -> np.dtype[np.void]:
    """Return a whole frame without COBS as one record: header, fields, CRC."""
    header = [("kind", "u1"), ("vehicle", "u1"), ("sequence", "<u2"), ("clock_us", "<u4")]
    fields = [
        (each.name, f"S{each.size}" if each.is_text else f"<{each.code}") for each in kind.fields
    ]
    return np.dtype([*header, *fields, ("crc", ">u2")])


def _bodies(
    kind: Kind, number: NDArray[np.int64], clock_us: NDArray[np.int64], chance: np.random.Generator
) -> list[bytes]:
    rows = np.zeros(len(number), record_dtype(kind))
    rows["kind"], rows["vehicle"] = kind.code, 1
    rows["sequence"], rows["clock_us"] = number % (1 << 16), clock_us % (1 << 32)
    for each in kind.fields:
        if not each.is_text:
            # Telemetry is mostly near zero, so that many upper bytes are 00 or FF.
            spread = max(each.raw_max / 50, 1)
            values = np.rint(chance.normal(0, spread, len(number)))
            rows[each.name] = np.clip(values, each.raw_min, each.raw_max)
    whole, body_bytes = rows.tobytes(), HEADER.size + kind.layout.size
    return [
        whole[begin : begin + body_bytes] for begin in range(0, len(whole), rows.dtype.itemsize)
    ]


def _stream(
    frames: list[bytes], at_s: NDArray[np.float64], *, damaged: float = 0.0, seed: int = 1
) -> Stream:
    data, chance = bytearray(b"".join(frames)), np.random.default_rng(seed)
    for place in chance.integers(0, len(data), round(len(frames) * damaged)):
        data[place] ^= 1 << int(chance.integers(8))
    sizes = np.fromiter(map(len, frames), np.int64, len(frames))
    return Stream(bytes(data), at_s, sizes)
