"""Samples in, bytes out: the car's side of the wire in Python."""

from __future__ import annotations

from collections.abc import Mapping

from protocol.errors import EncodeError
from protocol.framing import wrap
from protocol.order import CLOCK_WRAP_US, SEQUENCE_WRAP
from protocol.table import HEADER, Table, Value, standard_table


class Sender:
    """Encodes frames of one vehicle and counts them."""

    def __init__(self, table: Table | None = None, *, vehicle: int = 1, sequence: int = 0) -> None:
        self.table = table or standard_table()
        self.vehicle = vehicle
        self.sequence = sequence
        """Number of the next frame, 0 to 65535."""

    def encode(self, kind: str, values: Mapping[str, Value], clock_us: int) -> bytes:
        """Return one frame, ready for the wire.

        Args:
            kind: Name of the kind in the table.
            values: Channels by name; one that is not named is "not measured".
            clock_us: The vehicle's clock when the sample was taken, microseconds.

        Raises:
            EncodeError: No such kind or channel, or a value of the wrong type.
        """
        layout = self.table.by_name.get(kind)
        if layout is None:
            raise EncodeError(f"no kind {kind} in the frame table")
        header = HEADER.pack(layout.code, self.vehicle, self.sequence, clock_us % CLOCK_WRAP_US)
        frame = wrap(header + layout.encode(values))
        self.sequence = (self.sequence + 1) % SEQUENCE_WRAP
        return frame
