"""What comes in from outside, in the order of arrival: the one stream that is recorded.

A live source and a recorded session give the very same events, so that everything behind this
point cannot tell them apart. Times are on the session clock: seconds, monotonic, zero at the
session's first bytes; never the car's clock, never the time of day.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class LinkState(StrEnum):
    """What a source knows of its own connection."""

    CONNECTED = "connected"
    LOST = "lost"
    RETRYING = "retrying"


@dataclass(frozen=True, slots=True)
class BytesReceived:
    """Bytes as they came, cut wherever the operating system cut them."""

    at_s: float
    data: bytes


@dataclass(frozen=True, slots=True)
class LinkChanged:
    """The source's connection changed; after CONNECTED a new stream of bytes begins."""

    at_s: float
    state: LinkState
    detail: str = ""
    """One plain sentence, with what to do where something failed."""


@dataclass(frozen=True, slots=True)
class TelemetrySignal:
    """Strength of the telemetry link at this end, where the source can tell."""

    at_s: float
    rssi_dbm: float


@dataclass(frozen=True, slots=True)
class MarkMade:
    """The person at the trackside marked this moment."""

    at_s: float
    text: str = ""


@dataclass(frozen=True, slots=True)
class DriverPlaced:
    """Somebody told where the driver stands; distances count from there."""

    at_s: float
    latitude_deg: float
    longitude_deg: float
    """WGS 84."""


Inbound = BytesReceived | LinkChanged | TelemetrySignal | MarkMade | DriverPlaced
