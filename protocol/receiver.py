"""Bytes in, events out: the incremental decoder of the wire.

Owns the unfinished tail of the last read and the order of each vehicle's frames. Rules:
bytes from the air never raise; no more than `MAX_ENCODED_BYTES` are ever buffered; whatever
came before, the first whole frame after a delimiter is found. No port, no clock, no thread.
"""

from __future__ import annotations

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


class Receiver:
    """Decodes a stream of bytes that may be cut anywhere."""

    def __init__(self, table: Table | None = None) -> None:
        self.table = table or standard_table()
        self.orders: dict[int, Order] = {}
        """By vehicle number; at most 256."""
        self._tail = b""
        self._overlong = 0
        """Bytes already dropped of a block that is too long."""
        self._joined = False
        """Whether a delimiter has been seen on this link."""

    def link_restarted(self) -> None:
        """Forget the unfinished block: the link that carried its beginning is gone."""
        self._tail, self._overlong, self._joined = b"", 0, False

    def receive_data(self, data: bytes, at_s: float | None = None) -> list[FrameEvent]:
        """Return the events that `data` completes.

        Args:
            data: The next bytes of the stream, any number of them.
            at_s: Their arrival on the session clock; None where it is not known.
        """
        events: list[FrameEvent] = []
        *blocks, tail = (self._tail + data).split(DELIMITER)
        for block in blocks:
            if self._overlong:
                size, self._overlong = self._overlong + len(block), 0
                self._reject(events, RejectReason.TOO_LONG, at_s, size)
            elif block:
                self._receive_block(events, block, at_s)
            self._joined = True
        if self._overlong or len(tail) > MAX_ENCODED_BYTES:
            self._overlong += len(tail)
            tail = b""
        self._tail = tail
        return events

    def _receive_block(self, events: list[FrameEvent], block: bytes, at_s: float | None) -> None:
        if len(block) > MAX_ENCODED_BYTES:
            self._reject(events, RejectReason.TOO_LONG, at_s, len(block))
            return
        frame = unstuff(block)
        if frame is None:
            self._reject(events, RejectReason.STUFFING, at_s, len(block))
        elif len(frame) < HEADER.size + CRC_BYTES:
            self._reject(events, RejectReason.TOO_SHORT, at_s, len(block))
        elif not crc_is_good(frame):
            self._reject(events, RejectReason.CRC, at_s, len(block))
        else:
            self._receive_frame(events, frame, at_s, len(block))

    def _receive_frame(
        self, events: list[FrameEvent], frame: bytes, at_s: float | None, size: int
    ) -> None:
        code, vehicle, sequence, clock_us = HEADER.unpack_from(frame)
        payload = frame[HEADER.size : -CRC_BYTES]
        kind = self.table.by_code.get(code)
        if kind is not None and len(payload) < kind.layout.size:
            self._reject(events, RejectReason.TOO_SHORT, at_s, size)
            return
        order = self.orders.get(vehicle)
        if order is None:
            order = self.orders[vehicle] = Order()
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
        if not self._joined:
            reason = RejectReason.JOINED_MIDWAY
        events.append(FrameRejected(reason, at_s, size))
