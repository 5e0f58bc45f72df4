"""The live figures of a range check: what the car's receiver hears, and what the car would do."""

from __future__ import annotations

from groundstation.screens.drawing.figures import Figure, block, margin, ruled
from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.text import UNKNOWN, beside, number
from groundstation.vehicle.snapshot import Snapshot


def check_figures(snapshot: Snapshot, *, width: int, scale: int) -> list[Line]:
    """Return RSSI, margin, failsafe, throttle and yaw rate side by side."""
    figures = (_rssi(snapshot), margin(snapshot), _failsafe(snapshot), _throttle(snapshot))
    share = width // 5
    drawn = [(share, block(each, width=share, scale=scale)) for each in figures]
    left = width - 4 * share
    drawn.append((left, block(_yaw_rate(snapshot), width=left, scale=scale)))
    if snapshot.control.failsafe_active:
        drawn[2] = (share, [tuple((text, Ink.TROUBLE) for text, _ in row) for row in drawn[2][1]])
    return beside(drawn[0], *((cells, ruled(rows)) for cells, rows in drawn[1:]))


def _rssi(snapshot: Snapshot) -> Figure:
    control = snapshot.control
    note = ((" silent", Ink.TITLE_WARNING),) if _is_silent(snapshot) else ()
    return Figure("RSSI dBm", number(control.rssi_dbm, 0), "-88", note=note)


def _is_silent(snapshot: Snapshot) -> bool:
    control = snapshot.control
    return control.rssi_dbm is None and control.received_percent == 0


def _failsafe(snapshot: Snapshot) -> Figure:
    active = snapshot.control.failsafe_active
    text = UNKNOWN if active is None else "ON" if active else "OFF"
    return Figure("FAILSAFE", text, "OFF")


def _throttle(snapshot: Snapshot) -> Figure:
    value = snapshot.number("throttle_percent")
    note = (("brake ", Ink.TITLE_STRONG),) if value is not None and value < 0.0 else ()
    return Figure("THROTTLE %", number(value, 0), "-88", note=note)


def _yaw_rate(snapshot: Snapshot) -> Figure:
    return Figure("YAW deg/s", number(snapshot.number("yaw_rate_dps"), 0), "-88")
