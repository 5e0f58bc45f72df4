"""A telemetry state as bytes and back, so that a replay can begin in the middle.

A kept state is a cache, never the truth: it opens only where the very same code, frame table and
profile made it, and anything else is answered with None.
"""

from __future__ import annotations

from hashlib import blake2b

import msgspec

from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.state import TelemetryState
from protocol import Table

_FINGERPRINT_BYTES = 16


class StateKeeper:
    """Keeps and recalls states for one version, table and profile."""

    def __init__(self, profile: VehicleProfile, table: Table, *, software_version: str) -> None:
        made_by = repr((software_version, table.wire_version, table.kinds, profile))
        self._fingerprint = blake2b(made_by.encode(), digest_size=_FINGERPRINT_BYTES).digest()
        self._decoder = msgspec.msgpack.Decoder(TelemetryState)

    def keep(self, state: TelemetryState) -> bytes:
        """Return the state as bytes."""
        return self._fingerprint + msgspec.msgpack.encode(state)

    def recall(self, kept: bytes) -> TelemetryState | None:
        """Return the state, None where it was made by something else or is damaged."""
        if not kept.startswith(self._fingerprint):
            return None
        try:
            return self._decoder.decode(kept[_FINGERPRINT_BYTES:])
        except msgspec.MsgspecError:
            return None
