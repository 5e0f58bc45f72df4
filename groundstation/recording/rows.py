"""Inbound events as rows of a session file, and back.

A row of bytes holds one chunk or many, exactly as they were received: their arrival times, their
sizes, and the bytes one after the other. Everything else is a row of its own, JSON in `data`.
Owns the order that arrival times must keep; the writer mends by it, the reader checks by it.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import accumulate
from math import inf, isfinite

from groundstation.inbound import (
    BytesReceived,
    DriverPlaced,
    Inbound,
    LinkChanged,
    LinkState,
    MarkMade,
    TelemetrySignal,
)

BYTES, LINK, SIGNAL, MARK, DRIVER = "bytes", "link", "signal", "mark", "driver"

Columns = tuple[float, str, bytes | None, bytes | None, bytes]
"""at_s, kind, times, sizes, data."""

Row = tuple[int, float, str, bytes | None, bytes | None, bytes]
"""id, then the columns."""

STRAY_S = 1.0
"""How far an event may be stamped before the newest one: a mark comes from another thread than
bytes do. Bytes among themselves never go back."""

_TIME = struct.Struct("<d")
_SIZE = struct.Struct("<I")


@dataclass(slots=True)
class ArrivalOrder:
    """Follows the arrival times of one session."""

    newest_s: float = -inf
    newest_bytes_s: float = -inf

    def earliest_s(self, inbound: Inbound) -> float:
        """Return the earliest time that the event may have."""
        stray_s = self.newest_s - STRAY_S
        return max(stray_s, self.newest_bytes_s) if isinstance(inbound, BytesReceived) else stray_s

    def allows(self, inbound: Inbound) -> bool:
        """Return whether the event's time is one that may come next."""
        return isfinite(inbound.at_s) and inbound.at_s >= self.earliest_s(inbound)

    def follow(self, inbound: Inbound) -> None:
        """Take note of the next event."""
        self.newest_s = max(self.newest_s, inbound.at_s)
        if isinstance(inbound, BytesReceived):
            self.newest_bytes_s = inbound.at_s

    def mended(self, inbound: Inbound) -> Inbound:
        """Take note of the next event, and return it, with a time that is allowed."""
        if not self.allows(inbound):
            earliest_s = self.earliest_s(inbound)
            inbound = replace(inbound, at_s=earliest_s if isfinite(earliest_s) else 0.0)
        self.follow(inbound)
        return inbound


def columns_of(inbound: Inbound) -> Columns:
    """Return the row of one event, without its id."""
    match inbound:
        case BytesReceived(at_s, data):
            return at_s, BYTES, _TIME.pack(at_s), _SIZE.pack(len(data)), data
        case LinkChanged(at_s, state, detail):
            return at_s, LINK, None, None, _packed(state=state, detail=detail)
        case TelemetrySignal(at_s, rssi_dbm):
            return at_s, SIGNAL, None, None, _packed(rssi_dbm=rssi_dbm)
        case MarkMade(at_s, text):
            return at_s, MARK, None, None, _packed(text=text)
        case DriverPlaced(at_s, latitude_deg, longitude_deg):
            place = _packed(latitude_deg=latitude_deg, longitude_deg=longitude_deg)
            return at_s, DRIVER, None, None, place


def inbound_of(row: Row) -> Iterator[Inbound]:
    """Yield the events of one row.

    Raises:
        ValueError, TypeError, KeyError: The row is damaged.
    """
    _, at_s, kind, times, sizes, data = row
    if not isinstance(at_s, float) or not isinstance(data, bytes):
        raise TypeError("a value of the wrong type")
    if kind == BYTES:
        yield from _chunks(at_s, times, sizes, data)
        return
    content = json.loads(data)
    if kind == LINK:
        yield LinkChanged(at_s, LinkState(content["state"]), text_of(content["detail"]))
    elif kind == SIGNAL:
        yield TelemetrySignal(at_s, float(content["rssi_dbm"]))
    elif kind == MARK:
        yield MarkMade(at_s, text_of(content["text"]))
    elif kind == DRIVER:
        latitude_deg, longitude_deg = content["latitude_deg"], content["longitude_deg"]
        yield DriverPlaced(at_s, float(latitude_deg), float(longitude_deg))
    else:
        raise ValueError("a row of an unknown kind")


def _chunks(
    at_s: float, times: bytes | None, sizes: bytes | None, data: bytes
) -> Iterator[BytesReceived]:
    if not isinstance(times, bytes) or not isinstance(sizes, bytes):
        raise TypeError("a value of the wrong type")
    count, rest = divmod(len(times), _TIME.size)
    if rest or not count or len(sizes) != count * _SIZE.size:
        raise ValueError("times and sizes that do not belong together")
    ends = list(accumulate(struct.unpack(f"<{count}I", sizes)))
    if ends[-1] != len(data):
        raise ValueError("sizes that do not add up")
    start, arrivals = 0, struct.unpack(f"<{count}d", times)
    if arrivals[0] != at_s:
        raise ValueError("a row at another time than its first bytes")
    for arrival_s, end in zip(arrivals, ends, strict=True):
        yield BytesReceived(arrival_s, data[start:end])
        start = end


def _packed(**content: object) -> bytes:
    # ASCII, so that even text that is no valid Unicode comes back as it was.
    return json.dumps(content, ensure_ascii=True).encode("ascii")


def text_of(value: object) -> str:
    """Return a value that must be text.

    Raises:
        TypeError: It is something else.
    """
    if not isinstance(value, str):
        raise TypeError("a value of the wrong type")
    return value
