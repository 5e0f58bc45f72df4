"""Bytes in, events out: the incremental decoder of the wire.

Owns the unfinished tail of the last read and the order of each vehicle's frames. Rules:
bytes from the air never raise; no more than `MAX_ENCODED_BYTES` are ever buffered; whatever
came before, the first whole frame after a delimiter is found. No port, no clock, no thread.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from protocol.events import (
    FrameEvent,
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    RejectReason,
    SampleReceived,
    VehicleRebooted,
)
from protocol.framing import CRC_BYTES, DELIMITER, MAX_ENCODED_BYTES, crc_is_good, unstuff
from protocol.order import Order
from protocol.table import HEADER, Table, standard_table


def read_block(block: bytes) -> bytes | RejectReason:
    """Return the header and payload of what came between two delimiters, or why it is no frame."""
    if len(block) > MAX_ENCODED_BYTES:
        return RejectReason.TOO_LONG
    frame = unstuff(block)
    if frame is None:
        return RejectReason.STUFFING
    if len(frame) < HEADER.size + CRC_BYTES:
        return RejectReason.TOO_SHORT
    if not crc_is_good(frame):
        return RejectReason.CRC
    return frame[:-CRC_BYTES]


@dataclass(slots=True)
class Stream:
    """All that a receiver remembers between two reads; plain data, so that it can be kept."""

    tail: bytes = b""
    """The unfinished block."""
    overlong: int = 0
    """Bytes already dropped of a block that is too long."""
    joined: bool = False
    """Whether a delimiter has been seen on this link."""
    orders: dict[int, Order] = field(default_factory=dict)
    """By vehicle number; at most 256."""


class Receiver:
    """Decodes a stream of bytes that may be cut anywhere."""

    def __init__(self, table: Table | None = None, stream: Stream | None = None) -> None:
        self.table = table or standard_table()
        self.stream = stream or Stream()

    def link_restarted(self) -> None:
        """Forget the unfinished block: the link that carried its beginning is gone."""
        self.stream.tail, self.stream.overlong, self.stream.joined = b"", 0, False

    def receive_data(self, data: bytes, at_s: float | None = None) -> list[FrameEvent]:
        """Return the events that `data` completes.

        Args:
            data: The next bytes of the stream, any number of them.
            at_s: Their arrival on the session clock; None where it is not known.
        """
        events: list[FrameEvent] = []
        stream = self.stream
        *blocks, tail = (stream.tail + data).split(DELIMITER)
        for block in blocks:
            if stream.overlong:
                size, stream.overlong = stream.overlong + len(block), 0
                self._reject(events, RejectReason.TOO_LONG, at_s, size)
            elif block:
                self._receive_block(events, block, at_s)
            stream.joined = True
        if len(tail) > MAX_ENCODED_BYTES:
            stream.overlong += len(tail)
            tail = b""
        stream.tail = tail
        return events

    def _receive_block(self, events: list[FrameEvent], block: bytes, at_s: float | None) -> None:
        body = read_block(block)
        if isinstance(body, RejectReason):
            self._reject(events, body, at_s, len(block))
            return
        code, vehicle, sequence, clock_us = HEADER.unpack_from(body)
        payload = body[HEADER.size :]
        kind = self.table.by_code.get(code)
        if kind is not None and len(payload) < kind.layout.size:
            self._reject(events, RejectReason.TOO_SHORT, at_s, len(block))
            return
        order = self.stream.orders.get(vehicle)
        if order is None:
            order = self.stream.orders[vehicle] = Order()
        place = order.place(sequence, clock_us, at_s)
        if place.rebooted:
            events.append(VehicleRebooted(vehicle, at_s))
        if place.missed:
            events.append(FramesMissed(vehicle, place.missed, at_s))
        vehicle_s = place.vehicle_us / 1e6
        if kind is None:
            events.append(
                FrameUnknown(code, vehicle, sequence, vehicle_s, at_s, payload, place.late)
            )
            return
        values, extra = kind.decode(payload), payload[kind.layout.size :]
        events.append(
            SampleReceived(kind, vehicle, sequence, vehicle_s, at_s, values, extra, place.late)
        )

    def _reject(
        self, events: list[FrameEvent], reason: RejectReason, at_s: float | None, size: int
    ) -> None:
        if not self.stream.joined:
            reason = RejectReason.JOINED_MIDWAY
        events.append(FrameRejected(reason, at_s, size))
