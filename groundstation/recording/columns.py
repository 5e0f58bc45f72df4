"""All bytes of a session at once, for batch decoding; checked as a whole, not chunk by chunk."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from itertools import groupby

import numpy as np

from groundstation.inbound import LinkChanged, LinkState
from groundstation.recording.rows import BYTES, Row, inbound_of
from groundstation.recording.tape import RawColumns

_TIME_BYTES, _SIZE_BYTES = 8, 4


@dataclass(slots=True)
class _Gathered:
    times: list[bytes] = field(default_factory=list)
    sizes: list[bytes] = field(default_factory=list)
    data: list[bytes] = field(default_factory=list)
    starts_s: list[float] = field(default_factory=list)
    """What each row says of its own first chunk."""


def gather(batches: Iterable[list[Row]]) -> RawColumns:
    """Return the columns of all rows.

    Raises:
        ValueError, TypeError, KeyError: A row is damaged.
    """
    gathered, restarts, size = _Gathered(), list[int](), 0
    for rows in batches:
        for are_bytes, run in groupby(rows, lambda row: row[2] == BYTES):
            if not are_bytes:
                restarts += [size for row in run if _opens_link(row)]
                continue
            _, starts_s, _, times, sizes, data = zip(*run, strict=True)
            gathered.starts_s += starts_s
            gathered.times += times
            gathered.sizes += sizes
            gathered.data += data
            size += sum(map(len, data))
    return _checked(gathered, restarts)


def _opens_link(row: Row) -> bool:
    return any(
        isinstance(inbound, LinkChanged) and inbound.state is LinkState.CONNECTED
        for inbound in inbound_of(row)
    )


def _checked(gathered: _Gathered, restarts: list[int]) -> RawColumns:
    at_s = np.frombuffer(b"".join(gathered.times), "<f8").astype(np.float64, copy=False)
    sizes = np.frombuffer(b"".join(gathered.sizes), "<u4").astype(np.uint32, copy=False)
    data_lengths, time_lengths, size_lengths = (
        np.fromiter(map(len, parts), np.int64, len(parts))
        for parts in (gathered.data, gathered.times, gathered.sizes)
    )
    counts = time_lengths // _TIME_BYTES
    if (
        np.any(counts < 1)
        or np.any(time_lengths != counts * _TIME_BYTES)
        or np.any(size_lengths != counts * _SIZE_BYTES)
    ):
        raise ValueError("times and sizes that do not belong together")
    if len(counts):
        firsts = np.cumsum(counts) - counts
        if np.any(np.add.reduceat(sizes.astype(np.int64), firsts) != data_lengths):
            raise ValueError("sizes that do not add up")
        if np.any(at_s[firsts] != np.array(gathered.starts_s, np.float64)):
            raise ValueError("a row at another time than its first bytes")
    if not np.all(np.isfinite(at_s)) or np.any(np.diff(at_s) < 0):
        raise ValueError("arrival times that go back")
    return RawColumns(b"".join(gathered.data), at_s, sizes, np.unique(np.array(restarts, np.int64)))
