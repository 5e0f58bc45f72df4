"""The wire between the car and the ground station: frames, their table, both codecs.

Imports nothing of `groundstation`; `WIRE.md` beside this file is the specification.
"""

from protocol.errors import EncodeError, ProtocolError, TableError
from protocol.events import (
    FrameEvent,
    FrameRejected,
    FramesMissed,
    FrameUnknown,
    RejectReason,
    SampleReceived,
    VehicleRebooted,
)
from protocol.receiver import Receiver
from protocol.sender import Sender
from protocol.table import Field, Kind, Table, Value, load_table, standard_table

__all__ = (
    "EncodeError",
    "Field",
    "FrameEvent",
    "FrameRejected",
    "FrameUnknown",
    "FramesMissed",
    "Kind",
    "ProtocolError",
    "Receiver",
    "RejectReason",
    "SampleReceived",
    "Sender",
    "Table",
    "TableError",
    "Value",
    "VehicleRebooted",
    "load_table",
    "standard_table",
)
