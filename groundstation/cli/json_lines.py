"""A session as JSON lines on standard output: ten states a second and every event.

Rule: a live session and its replay print the very same lines, but for the `end` line's file name.
Unknown is null, never 0.
"""

from __future__ import annotations

import json
import sys
from typing import TextIO

from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from protocol import Table, Value, standard_table

TICKS_PER_STATE = 2


class JsonLines:
    """A listener that prints JSON lines."""

    def __init__(self, table: Table, stream: TextIO | None = None) -> None:
        self._stream = stream or sys.stdout
        self._own = own_channels(table)

    def happened(self, event: SessionEvent) -> None:
        """Print an event."""
        self._print(event_line(event))

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Print the state at every second tick."""
        if tick % TICKS_PER_STATE == 0:
            self._print(state_line(telemetry.snapshot(), self._own))

    def ended(self, telemetry: Telemetry, session: str | None, trouble: str) -> None:
        """Print the last line: the counters and the session file."""
        at_s, vehicle_s = telemetry.now_s, telemetry.state.vehicle_s
        line = _timed("end", at_s, vehicle_s) | telemetry.state.summary()
        self._print(line | {"session": session, "recording_trouble": trouble or None})

    def _print(self, line: dict[str, object]) -> None:
        print(json.dumps(line, allow_nan=False), file=self._stream, flush=True)


def own_channels(table: Table) -> tuple[str, ...]:
    """Return the channels of a builder's own kinds."""
    own = [kind for kind in table.kinds if kind.name not in standard_table().by_name]
    return tuple(name for kind in own for field in kind.fields for name in field.channels)


def state_line(snapshot: Snapshot, own: tuple[str, ...] = ()) -> dict[str, object]:
    """Return the `state` line of a snapshot."""
    control, telemetry, forecast = snapshot.control, snapshot.telemetry, snapshot.forecast
    line = _timed("state", snapshot.at_s, snapshot.vehicle_s) | {
        "speed_mps": snapshot.number("speed_mps"),
        "yaw_rate_dps": snapshot.number("yaw_rate_dps"),
        "accel_g": [snapshot.number(f"accel_{axis}_g") for axis in "xyz"],
        "control_rssi_dbm": control.rssi_dbm,
        "margin_db": _rounded(control.margin_db, 3),
        "stop_margin_db": _rounded(forecast.stop_margin_db, 3),
        "stop_margin_p05_db": _rounded(forecast.stop_margin_p05_db, 3),
        "lift_in_s": _rounded(forecast.lift_in_s, 3),
        "distance_m": _rounded(forecast.distance_m, 2),
        "level": snapshot.level,
        "telemetry": {
            "frames": telemetry.frames,
            "lost": telemetry.lost,
            "rejected": telemetry.rejected,
            "loss_ratio": _rounded(telemetry.loss_ratio, 6),
            "age_s": _rounded(telemetry.age_s, 6),
        },
    }
    if own:
        line["channels"] = {name: _plain(snapshot.value(name)) for name in own}
    return line


def event_line(event: SessionEvent) -> dict[str, object]:
    """Return the line of an event."""
    match event:
        case LevelChanged():
            return _timed("level", event.at_s, event.vehicle_s) | {
                "level": event.level,
                "previous": event.previous,
                "reason": event.reason,
                "lift_in_s": _rounded(event.lift_in_s, 3),
            }
        case SourceChanged():
            return _timed("source", event.at_s, event.vehicle_s) | {
                "state": event.state,
                "detail": event.detail,
            }
        case PassEnded():
            return _timed("pass", event.at_s, event.vehicle_s) | {
                "number": event.number,
                "started_vehicle_s": _rounded(event.started_vehicle_s, 6),
                "ended_vehicle_s": _rounded(event.ended_vehicle_s, 6),
                "peak_speed_mps": event.peak_speed_mps,
                "satellite_peak_mps": event.satellite_peak_mps,
                "lowest_margin_db": _rounded(event.lowest_margin_db, 3),
                "lowest_margin_at_m": _rounded(event.lowest_margin_at_m, 2),
                "yaw_rate_abs_dps": event.yaw_rate_abs_dps,
                "accel_z_max_g": event.accel_z_max_g,
                "braking_mps2": _rounded(event.braking_mps2, 3),
                "clipped": event.clipped,
            }
        case Noted():
            return _timed(event.kind, event.at_s, event.vehicle_s) | {"text": event.text}


def _timed(name: str, at_s: float, vehicle_s: float | None) -> dict[str, object]:
    return {"event": name, "at_s": round(at_s, 6), "vehicle_s": _rounded(vehicle_s, 6)}


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _plain(value: Value) -> Value:
    return _rounded(value, 9) if isinstance(value, float) else value
