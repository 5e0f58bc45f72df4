"""A whole recording as NumPy columns.

Owns the way from bytes to columns by kind and vehicle. Accepts exactly the frames that `Receiver`
accepts, places them in time exactly as `order.Order` does, and gives the same values bit for bit:
analysis after the run and the screen during it can never disagree.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from protocol.batch_frames import (
    GOOD,
    HEADER_DTYPE,
    HEADER_WORD,
    REASONS,
    FrameRows,
    read_frames,
    split_blocks,
)
from protocol.batch_groups import Group, grouped, record_dtype
from protocol.batch_order import Counters, Places, place_all
from protocol.events import RejectReason
from protocol.table import HEADER, Table, read_text, standard_table

_Own = NDArray[np.intp] | slice


@dataclass(frozen=True, slots=True)
class Times:
    """When frames were stamped, when they arrived, and how they stand in their order."""

    vehicle_s: NDArray[np.float64]
    """The vehicle's clock, unrolled; goes on over a reboot."""
    at_s: NDArray[np.float64]
    """Arrival of the chunk that completed the frame; NaN where it is not known."""
    sequence: NDArray[np.uint16]
    missed: NDArray[np.int32]
    """Frames lost just before this one, of whatever kind."""
    late: NDArray[np.bool_]
    """Overtaken by a later frame, or heard twice."""
    rebooted: NDArray[np.bool_]
    """The vehicle's clock started again with this frame."""


@dataclass(frozen=True, slots=True)
class Batch:
    """The good frames of a recording, and a count of all that was lost."""

    table: Table
    frames: int
    """Good ones, of known and of unknown kinds."""
    rejected: Mapping[RejectReason, int]
    unknown: Mapping[int, int]
    """Good frames of kinds that are not in the table, by code."""
    vehicles: tuple[int, ...]
    """Numbers of the vehicles, in the order in which they were first heard."""
    missed: Mapping[int, int]
    """Frames lost, by vehicle."""
    reboots: Mapping[int, int]
    """By vehicle."""
    _times: Times
    """Of all frames, in the order of the stream."""
    _groups: Mapping[tuple[int, int], Group]
    """By kind code and vehicle."""

    @property
    def first_vehicle(self) -> int | None:
        """The vehicle heard first; the one that is meant where none is named."""
        return self.vehicles[0] if self.vehicles else None

    def column(self, channel: str, vehicle: int | None = None) -> NDArray[Any]:
        """Return the values of a channel, one a frame of its kind, in the order of arrival.

        Numbers are float64 with NaN for "not measured"; bits are bool, False where they are not
        measured (`known` tells); text is an object array of str, None where it is empty.

        Raises:
            KeyError: No such channel in the table.
        """
        kind, field = self.table.by_channel[channel]
        raw = self.raw(kind.name, vehicle)[field.name]
        if field.bits:
            is_set: NDArray[np.bool_] = raw & (1 << field.bits.index(channel)) != 0
            is_set &= raw != field.unknown
            return is_set
        if field.is_text:
            return np.array([read_text(each) for each in raw.tolist()], np.object_)
        values = raw.astype(np.float64)
        values /= field.per_unit
        values[(raw < field.raw_min) | (raw > field.raw_max)] = np.nan
        return values

    def known(self, channel: str, vehicle: int | None = None) -> NDArray[np.bool_]:
        """Return where a channel was measured.

        Raises:
            KeyError: No such channel in the table.
        """
        kind, field = self.table.by_channel[channel]
        raw = self.raw(kind.name, vehicle)[field.name]
        if field.is_text:
            return np.array([read_text(each) is not None for each in raw.tolist()], np.bool_)
        known: NDArray[np.bool_] = raw != field.unknown
        if not field.bits:
            known = (raw >= field.raw_min) & (raw <= field.raw_max)
        return known

    def times(self, kind: str | int, vehicle: int | None = None) -> Times:
        """Return when the frames of a kind were stamped and arrived.

        Args:
            kind: Its name; the code for a kind that is not in the table.
            vehicle: Its number; None takes the one heard first.

        Raises:
            KeyError: No kind of that name in the table.
        """
        place = self._group(kind, vehicle).place
        times = self._times
        return Times(
            times.vehicle_s[place],
            times.at_s[place],
            times.sequence[place],
            times.missed[place],
            times.late[place],
            times.rebooted[place],
        )

    def raw(self, kind: str, vehicle: int | None = None) -> NDArray[np.void]:
        """Return the fields of a kind as they came, one record a frame.

        Raises:
            KeyError: No kind of that name in the table.
        """
        body = self._group(kind, vehicle).body
        return body.view(record_dtype(self.table.by_name[kind], body.shape[1]))[:, 0]

    def payloads(self, kind: str | int, vehicle: int | None = None) -> list[bytes]:
        """Return whole payloads, also of an unknown kind, also bytes behind the known fields.

        Args:
            kind: Its name; the code for a kind that is not in the table.
            vehicle: Its number; None takes the one heard first.

        Raises:
            KeyError: No kind of that name in the table.
        """
        group = self._group(kind, vehicle)
        sizes = group.size.tolist()
        return [
            body[HEADER.size : size].tobytes() for body, size in zip(group.body, sizes, strict=True)
        ]

    def _group(self, kind: str | int, vehicle: int | None) -> Group:
        code = kind if isinstance(kind, int) else self.table.by_name[kind].code
        vehicle = self.first_vehicle if vehicle is None else vehicle
        if vehicle is not None and (code, vehicle) in self._groups:
            return self._groups[code, vehicle]
        known = self.table.by_code.get(code)
        size = HEADER.size + (known.layout.size if known else 0)
        none = np.empty(0, np.int64)
        return Group(none, np.empty((0, size), np.uint8), none)


def decode(
    data: bytes | memoryview,
    chunk_at_s: NDArray[np.float64] | None = None,
    chunk_sizes: NDArray[np.integer] | None = None,
    table: Table | None = None,
    *,
    restarts: Sequence[int] | NDArray[np.integer] = (),
) -> Batch:
    """Return the frames of a recording as columns.

    Args:
        data: All bytes, in the order of arrival.
        chunk_at_s: Arrival of each chunk on the session clock; NaN or no array: not known.
        chunk_sizes: Bytes of each chunk; together all of `data`.
        table: The kinds to know; None takes the standard ones.
        restarts: Offsets in `data` at which the link had been opened anew: what was unfinished
            before is dropped, as by `Receiver.link_restarted`.

    Raises:
        ValueError: The chunks do not add up to the data.
    """
    table = table or standard_table()
    stream = np.frombuffer(data, np.uint8)
    blocks = split_blocks(stream, restarts)
    needed = np.zeros(256, np.uint8)
    for kind in table.kinds:
        needed[kind.code] = kind.layout.size
    rows, verdict = read_frames(stream, blocks, needed)
    good = verdict == GOOD
    at_s = _arrivals(blocks.end, len(stream), chunk_at_s, chunk_sizes)[good]
    headers = _in_stream_order(rows)
    by_vehicle = _by_vehicle(headers["vehicle"])
    order = _order(headers, at_s, by_vehicle)
    groups = grouped(rows)
    count = np.bincount(verdict[~good], minlength=GOOD)
    return Batch(
        table=table,
        frames=len(headers),
        rejected={reason: int(count[code]) for code, reason in enumerate(REASONS) if count[code]},
        unknown=_unknown(groups, table),
        vehicles=tuple(by_vehicle),
        missed={each: int(order.missed[own].sum()) for each, own in by_vehicle.items()},
        reboots={each: int(order.rebooted[own].sum()) for each, own in by_vehicle.items()},
        _times=Times(
            order.vehicle_us / 1e6,
            at_s,
            headers["sequence"],
            order.missed,
            order.late,
            order.rebooted,
        ),
        _groups=groups,
    )


def _arrivals(
    ends: NDArray[np.int64],
    data_bytes: int,
    chunk_at_s: NDArray[np.float64] | None,
    chunk_sizes: NDArray[np.integer] | None,
) -> NDArray[np.float64]:
    """Return the arrival of the chunk that holds each block's end."""
    if chunk_at_s is None:
        return np.broadcast_to(np.nan, len(ends))
    chunk_ends = np.cumsum(np.zeros(0) if chunk_sizes is None else chunk_sizes, dtype=np.int64)
    if len(chunk_at_s) != len(chunk_ends) or data_bytes != chunk_ends[-1:].sum():
        raise ValueError("the chunks do not add up to the data")
    ended = np.diff(np.searchsorted(ends, chunk_ends), prepend=0)
    return np.repeat(np.asarray(chunk_at_s, np.float64), ended)


def _in_stream_order(rows: list[FrameRows]) -> NDArray[np.void]:
    """Return the headers of all frames."""
    if len(rows) == 1:
        return rows[0].header
    headers = np.empty(sum(len(each.place) for each in rows), HEADER_WORD)
    for each in rows:
        headers[each.place] = each.header.view(HEADER_WORD)
    return headers.view(HEADER_DTYPE)


def _by_vehicle(vehicle: NDArray[np.uint8]) -> dict[int, _Own]:
    """Return the frames of each vehicle, the vehicles in the order in which they come first."""
    if len(vehicle) and np.all(vehicle == vehicle[0]):
        return {int(vehicle[0]): slice(None)}
    numbers, first = np.unique(vehicle, return_index=True)
    return {int(each): np.flatnonzero(vehicle == each) for each in numbers[np.argsort(first)]}


def _order(
    headers: NDArray[np.void], at_s: NDArray[np.float64], by_vehicle: Mapping[int, _Own]
) -> Places:
    """Return where each frame stands among the frames of its vehicle."""
    if len(by_vehicle) == 1:
        return place_all(Counters(headers["sequence"], headers["clock_us"], at_s))
    count = len(headers)
    all_places = Places(
        np.empty(count, np.int64),
        np.empty(count, np.int32),
        np.empty(count, np.bool_),
        np.empty(count, np.bool_),
    )
    for own in by_vehicle.values():
        header = headers.view(HEADER_WORD)[own].view(HEADER_DTYPE)
        places = place_all(Counters(header["sequence"], header["clock_us"], at_s[own]))
        for each in fields(Places):
            getattr(all_places, each.name)[own] = getattr(places, each.name)
    return all_places


def _unknown(groups: Mapping[tuple[int, int], Group], table: Table) -> dict[int, int]:
    """Return the frames of kinds that are not in the table, by code."""
    counts: dict[int, int] = {}
    for (code, _), group in groups.items():
        if code not in table.by_code:
            counts[code] = counts.get(code, 0) + len(group.place)
    return counts
