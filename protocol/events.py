"""What a receiver says about the bytes it was given: frozen, in the order of arrival."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from protocol.table import Kind, Value


class RejectReason(StrEnum):
    """Why a block of bytes was no frame."""

    JOINED_MIDWAY = "joined in the middle of a frame"
    """The first block of a new link: its beginning was sent before we listened. Not an error."""
    STUFFING = "not a COBS block"
    CRC = "wrong CRC"
    TOO_LONG = "longer than a frame can be"
    TOO_SHORT = "shorter than its kind"


@dataclass(frozen=True, slots=True)
class SampleReceived:
    """A good frame of a known kind."""

    kind: Kind
    vehicle: int
    sequence: int
    vehicle_s: float
    """The vehicle's clock, unrolled: seconds since it was switched on; goes on over a reboot."""
    at_s: float | None
    values: Mapping[str, Value]
    extra: bytes = b""
    """Bytes behind the fields that this table knows, from a newer firmware."""
    late: bool = False
    """Overtaken by a later frame, or heard twice."""


@dataclass(frozen=True, slots=True)
class FrameUnknown:
    """A good frame of a kind that is not in the table: kept, counted, not an error."""

    code: int
    vehicle: int
    sequence: int
    vehicle_s: float
    at_s: float | None
    payload: bytes
    late: bool = False


@dataclass(frozen=True, slots=True)
class FrameRejected:
    """A block of bytes that is no good frame."""

    reason: RejectReason
    at_s: float | None
    size: int
    """Bytes thrown away, delimiter not counted."""


@dataclass(frozen=True, slots=True)
class FramesMissed:
    """The sequence numbers of a vehicle have a gap before the frame that follows."""

    vehicle: int
    count: int
    at_s: float | None


@dataclass(frozen=True, slots=True)
class VehicleRebooted:
    """A vehicle's clock started again."""

    vehicle: int
    at_s: float | None


FrameEvent = SampleReceived | FrameUnknown | FrameRejected | FramesMissed | VehicleRebooted
