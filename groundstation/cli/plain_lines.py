"""A session as readable lines: one a second, and every event."""

from __future__ import annotations

import sys
from typing import TextIO

from groundstation.units import SpeedUnit
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.traces import TICK_S
from groundstation.wording import clock_text, describe, kind_of

TICKS_PER_LINE = round(1 / TICK_S)


class PlainLines:
    """A listener that prints readable lines."""

    def __init__(self, unit: SpeedUnit, stream: TextIO | None = None) -> None:
        self._unit = unit
        self._stream = stream or sys.stdout

    def happened(self, event: SessionEvent) -> None:
        """Print an event."""
        kind = kind_of(event)
        self._print(f"{clock_text(event.at_s):>8}  {kind:<7} {describe(event, self._unit)}")

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Print the state once a second."""
        if tick % TICKS_PER_LINE == 0:
            self._print(state_text(telemetry.snapshot(), self._unit))

    def ended(self, telemetry: Telemetry, session: str | None, trouble: str) -> None:
        """Print the counters and where the session is."""
        summary = telemetry.state.summary()
        lost = f"{summary['frames']} frames, {summary['lost']} lost, {summary['rejected']} rejected"
        self._print(f"end: {lost}" + (f"; session {session}" if session else ""))
        if trouble:
            self._print(f"end: RECORDING TROUBLE: {trouble}")

    def _print(self, line: str) -> None:
        print(line, file=self._stream, flush=True)


def state_text(snapshot: Snapshot, unit: SpeedUnit) -> str:
    """Return the state in one line."""
    speed_mps = snapshot.number("speed_mps")
    speed = None if speed_mps is None else unit.from_mps(speed_mps)
    loss_ratio = snapshot.telemetry.recent_loss_ratio
    parts = [
        f"{clock_text(snapshot.at_s):>8}",
        f"{snapshot.level or 'waiting':<7}",
        f"speed {_figure(speed, 5, 1)} {unit}",
        f"yaw {_figure(snapshot.number('yaw_rate_dps'), 6, 1)} deg/s",
        f"lateral {_figure(snapshot.number('accel_y_g'), 5, 2)} g",
        f"distance {_figure(snapshot.forecast.distance_m, 4, 0)} m",
        f"control link {_figure(snapshot.control.rssi_dbm, 4, 0)} dBm",
        f"margin {_figure(snapshot.control.margin_db, 5, 1)} dB",
        f"stop margin {_figure(snapshot.forecast.stop_margin_p05_db, 5, 1)} dB",
        f"lift in {_figure(snapshot.forecast.lift_in_s, 4, 1)} s",
        f"telemetry loss {_figure(None if loss_ratio is None else loss_ratio * 100, 4, 1)} %",
    ]
    return "  ".join(parts)


def _figure(value: float | None, width: int, digits: int) -> str:
    return f"{'--':>{width}}" if value is None else f"{value:{width}.{digits}f}"
