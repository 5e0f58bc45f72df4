"""A raw capture: bytes as any serial terminal saves them, without arrival times.

Owns the times it gives them instead: each block of the stream arrives at the vehicle time of the
frame it is; what is no frame arrives with the frame before. Zero is the first good frame; where
several vehicles are heard, the clock of the first of them counts. Times never go back.
"""

from __future__ import annotations

import re
from array import array
from bisect import bisect_left
from collections.abc import Iterator
from math import inf
from pathlib import Path

from groundstation.inbound import BytesReceived
from groundstation.recording import store
from groundstation.recording.reader import SessionFile, open_session
from groundstation.recording.tape import IndexEntry, RawColumns
from protocol import RejectReason, Table, standard_table
from protocol.framing import DELIMITER
from protocol.order import Order
from protocol.receiver import read_block
from protocol.table import HEADER

MAX_CAPTURE_BYTES = 1 << 30
"""Two days at 100 Hz; whatever is longer is something else."""

SEARCHED_BYTES = 4 << 20
"""A capture in which no frame is found so far is refused: minutes of garbage are no session."""

_BLOCK = re.compile(rb"\x00{0,4096}[^\x00]{1,4096}\x00?|\x00{1,4096}")
"""A block with its delimiter; delimiters alone join the next, and garbage without end is cut."""


def open_tape(path: Path, table: Table | None = None) -> SessionFile | Capture:
    """Return the session or the raw capture at `path`; its content decides which it is.

    Args:
        path: Of the file.
        table: The frame table a capture was sent with; None is the standard one.

    Raises:
        SessionFileError: It cannot be read, or is neither.
    """
    try:
        return open_session(path)
    except store.NoDatabaseError:
        return open_capture(path, table)


def open_capture(path: Path, table: Table | None = None) -> Capture:
    """Return the raw capture at `path`.

    Args:
        path: Of the file.
        table: The frame table it was sent with; None is the standard one.

    Raises:
        SessionFileError: It cannot be read, or no frame is in it.
    """
    size = store.size_of(path)
    if not size:
        raise store.file_error(path, "is empty", "Name a session or a capture that holds bytes")
    if size > MAX_CAPTURE_BYTES:
        raise store.file_error(path, "is too long for a capture", "Cut it into parts")
    try:
        data = path.read_bytes()
    except OSError as error:
        raise store.unreadable(path, error) from error
    ends, times = _timed_blocks(data, table or standard_table())
    if not times:
        hint = "Name a session, or bytes as they came from the car"
        raise store.file_error(path, "holds no frame of a car", hint)
    return Capture(path, data, ends, times)


class Capture:
    """A raw capture in memory; see `Tape` for what it can be asked."""

    def __init__(self, path: Path, data: bytes, ends: array[int], times: array[float]) -> None:
        """Hold the blocks of a capture; use `open_capture`.

        Args:
            path: Of the file.
            data: All its bytes.
            ends: Where each block ends in `data`.
            times: When each block arrives.
        """
        self.path = path
        self._data = data
        self._ends = ends
        self._times = times

    @property
    def end_at_s(self) -> float:
        """Where it ends: the vehicle time of the last frame, counted from the first."""
        return self._times[-1]

    def inbound(self, from_at_s: float = -inf) -> Iterator[BytesReceived]:
        """Yield the blocks that arrive at `from_at_s` or later, in order."""
        first = bisect_left(self._times, from_at_s)
        start = self._ends[first - 1] if first else 0
        for number in range(first, len(self._times)):
            end = self._ends[number]
            yield BytesReceived(self._times[number], self._data[start:end])
            start = end

    def columns(self) -> RawColumns:
        """Return all bytes with their arrival times."""
        import numpy as np

        ends = np.frombuffer(self._ends, np.int64)
        return RawColumns(
            self._data,
            np.frombuffer(self._times, np.float64),
            np.diff(ends, prepend=0).astype(np.uint32),
            np.zeros(0, np.int64),
        )

    def events(self) -> list[IndexEntry]:
        """Return nothing: a capture has no index."""
        return []

    def checkpoint_before(self, at_s: float) -> tuple[float, bytes] | None:
        """Return None: a capture keeps no states."""
        return None


def _timed_blocks(data: bytes, table: Table) -> tuple[array[int], array[float]]:
    """Return where each block ends and when it arrives; nothing where no frame is found."""
    ends, times = array("q"), array("d")
    order, vehicle = Order(), -1
    zero_us, newest_us, begins_here = 0, 0, True
    for block in _BLOCK.finditer(data):
        end = block.end()
        header = _header(block[0].strip(DELIMITER), table) if begins_here else None
        begins_here = block[0].endswith(DELIMITER)
        if header is not None and begins_here:
            _, number, sequence, clock_us = header
            if vehicle < 0:
                vehicle, zero_us = number, clock_us
            if number == vehicle:
                vehicle_us = order.place(sequence, clock_us, None).vehicle_us
                newest_us = max(newest_us, vehicle_us - zero_us)
        if vehicle < 0 and end > SEARCHED_BYTES:
            break
        ends.append(end)
        times.append(newest_us / 1e6)
    return (ends, times) if vehicle >= 0 else (array("q"), array("d"))


def _header(block: bytes, table: Table) -> tuple[int, int, int, int] | None:
    """Return kind, vehicle, sequence number and clock of a frame that a `Receiver` accepts."""
    body = read_block(block)
    if isinstance(body, RejectReason):
        return None
    header: tuple[int, int, int, int] = HEADER.unpack_from(body)
    kind = table.by_code.get(header[0])
    too_short = kind is not None and len(body) - HEADER.size < kind.layout.size
    return None if too_short else header
