"""Desks with fixed content, for pictures and keys: a working session without a source.

All names, numbers and places are invented.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from math import exp, log10, sin

from groundstation.desk import Bookmark, RecordState, ReplayState
from groundstation.inbound import LinkState
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
from groundstation.vehicle.snapshot import (
    ControlLink,
    Forecast,
    HeldPeaks,
    Identity,
    Level,
    LinkFit,
    Reading,
    Snapshot,
    TelemetryLink,
)
from groundstation.vehicle.traces import TICK_S, CourseTrace, Span, Traces
from protocol import Value

NOW_S = 75.0
RECORDING = RecordState(True, "2031-05-04_11-20-07_sandpiper.session")


class FakeReplay:
    """A replay that goes where it is told and remembers it."""

    def __init__(self, position_s: float = 42.3, *, paused: bool = False) -> None:
        self.state = ReplayState(position_s, 0.0, 186.0, 1.0, paused=paused, ended=False)
        self.bookmarks: Sequence[Bookmark] = (
            Bookmark(12.0, "pass", "pass 1: peak 141.2 km/h"),
            Bookmark(41.9, "mark", "second joint"),
            Bookmark(77.5, "level", "LIFT: margin 2.6 dB, under 3 dB"),
            Bookmark(130.0, "source", "retrying: the cable was pulled"),
        )

    def pause(self, paused: bool) -> None:
        self.state = replace(self.state, paused=paused)

    def step(self, ticks: int) -> None:
        self.pause(True)
        self.seek(self.state.position_s + ticks * TICK_S)

    def seek(self, at_s: float) -> None:
        self.state = replace(self.state, position_s=min(max(at_s, 0.0), self.state.end_s))

    def set_speed(self, speed: float) -> None:
        self.state = replace(self.state, speed=speed)


@dataclass
class FakeDesk:
    """A desk that stands still."""

    snapshot: Snapshot
    title: str = "serial:/dev/ttyUSB0"
    events: Sequence[SessionEvent] = ()
    traces: Traces = field(default_factory=Traces)
    record_state: RecordState = RECORDING
    replay: FakeReplay | None = None
    check_words: str = ""
    marks: list[str] = field(default_factory=list)
    course: CourseTrace = field(default_factory=CourseTrace)
    stood: int = 0

    def range_check(self, _: Snapshot) -> str:
        return self.check_words

    def mark(self, text: str = "") -> None:
        self.marks.append(text)

    def stand_here(self) -> None:
        self.stood += 1


def readings(at_s: float = NOW_S, *, stale: bool = False, **values: Value) -> dict[str, Reading]:
    """Return channels by name, all of one age."""
    return {name: Reading(value, at_s, at_s, stale) for name, value in values.items()}


STANDARD: dict[str, Value] = {
    "speed_mps": 38.46,
    "yaw_rate_dps": -12.4,
    "accel_x_g": 0.31,
    "accel_y_g": -0.42,
    "accel_z_g": 1.08,
    "steering_percent": 2.0,
    "failsafe_active": False,
    "ground_speed_mps": 38.2,
    "control_rssi_dbm": -69.0,
    "control_snr_db": 9.0,
    "accel_full_scale_g": 16.0,
}

GOOD_FIX: dict[str, Value] = {
    "latitude_deg": 0.0417,
    "longitude_deg": 0.0377,
    "fix_type": 3,
    "satellites": 14,
    "horizontal_accuracy_m": 1.2,
}


def running(**changes: object) -> Snapshot:
    """Return a car in the middle of its second pass; changes replace whole fields."""
    snapshot = Snapshot(
        at_s=NOW_S,
        vehicle_s=512.25,
        identity=Identity(3, "Sandpiper", "1.4.0"),
        channels=readings(**STANDARD),
        peaks=HeldPeaks(7.4, -2.1, 0.93, 46.0, clipped=False),
        control=ControlLink(
            rssi_dbm=-69.0,
            snr_db=9.0,
            received_percent=100.0,
            antenna=1,
            failsafe_active=False,
            failsafe_count=0,
            threshold_dbm=-100.0,
            threshold_origin="ident frame",
            margin_db=31.0,
        ),
        telemetry=TelemetryLink(
            state=LinkState.CONNECTED,
            frames=7421,
            lost=15,
            rejected=3,
            bytes_received=301_442,
            loss_ratio=0.002,
            recent_loss_ratio=0.004,
            frames_per_s=98.6,
            age_s=0.012,
            latency_s=0.006,
            jitter_s=0.0014,
        ),
        level=Level.CLEAR,
        level_reason="margin 31.0 dB",
        level_since_s=12.0,
        in_pass=True,
        passes=1,
        pass_peak_speed_mps=39.2,
    )
    return replace(snapshot, **changes)  # type: ignore[arg-type]


def with_margin(margin_db: float, level: Level, reason: str, **changes: object) -> Snapshot:
    """Return a running car whose control link stands at a margin."""
    snapshot = running(**changes)
    rssi_dbm = -100.0 + margin_db
    return replace(
        snapshot,
        channels={**(snapshot.channels or {}), **readings(control_rssi_dbm=rssi_dbm)},
        control=replace(snapshot.control, margin_db=margin_db, rssi_dbm=rssi_dbm, snr_db=2.0),
        level=level,
        level_reason=reason,
        level_since_s=NOW_S - 1.4,
    )


def swings(at_s: float, *, weakest_db: float = 28.0) -> dict[str, Span]:
    """Return what the charted channels did in the tick before a moment: two passes, one bump."""
    since_s = at_s % 40.0
    speed_mps = max(40.0 * (1 - exp(-since_s / 6)) if since_s < 25 else 40 - 6 * (since_s - 25), 0)
    yaw_dps = (speed_mps / 2) * sin(9 * at_s) * exp(-((since_s - 18) ** 2) / 60)
    bump_g = 6.4 if 21.0 < since_s < 21.1 else 0.02 * speed_mps
    lateral_g = 0.02 * yaw_dps
    margin_db = weakest_db + 24 * (1 - speed_mps / 40) + 1.5 * sin(5 * at_s)
    return {
        "speed_mps": (speed_mps, speed_mps + 0.1),
        "yaw_rate_dps": (yaw_dps - 3, yaw_dps + 3),
        "accel_y_g": (lateral_g - 0.1, lateral_g + 0.1),
        "accel_z_g": (1 - bump_g / 2, 1 + bump_g),
        "margin_db": (margin_db - 1, margin_db + 1),
    }


def driven(*, weakest_db: float = 28.0, silent_s: float = 0.0) -> Traces:
    """Return a minute of traces, ending in silence of some length."""
    traces = Traces()
    for tick in range(round(NOW_S / TICK_S) + 1):
        at_s = tick * TICK_S
        heard = at_s <= NOW_S - silent_s
        traces.add(at_s, swings(at_s, weakest_db=weakest_db) if heard else {})
    return traces


EVENTS: tuple[SessionEvent, ...] = (
    SourceChanged(0.0, None, LinkState.CONNECTED, "115200 baud"),
    Noted(0.4, 437.6, "vehicle", "Sandpiper, firmware 1.4.0"),
    LevelChanged(0.9, 438.1, Level.CLEAR, None, "margin 52.0 dB"),
    PassEnded(
        38.2, 475.4, 1, 440.1, 475.4, 39.2, lowest_margin_db=27.4, accel_z_max_g=7.4, clipped=False
    ),
    Noted(44.0, 481.2, "mark", "mark"),
)


def replayed(*, paused: bool) -> FakeDesk:
    """Return a desk that shows a recording."""
    return FakeDesk(
        running(),
        title="2031-05-04_11-20-07_sandpiper",
        events=EVENTS,
        traces=driven(),
        record_state=RecordState(),
        replay=FakeReplay(paused=paused),
    )


FIT = LinkFit(margin_at_1m_db=108.0, exponent=3.8, sigma_db=3.2)

FORECAST = Forecast(
    distance_m=182.0,
    distance_origin="the driver's position",
    away_mps=38.2,
    stop_margin_db=12.5,
    stop_margin_p05_db=7.2,
    lift_in_s=2.4,
    stop_point_m=323.0,
    lift_point_m=274.0,
    range_edge_m=460.0,
    fit=FIT,
)


def measured(to_m: float = 182.0) -> CourseTrace:
    """Return the margins measured up to a distance."""
    trace = CourseTrace()
    for place in range(4, int(to_m), 5):
        middle_db = FIT.margin_at_1m_db - 38.0 * log10(place) + 2.0 * sin(place)
        trace.add(float(place), (middle_db - 2.0, middle_db + 2.0))
    return trace


def scenes() -> dict[str, FakeDesk]:
    """Return a desk for every situation that the screen must tell apart, by name."""
    old = {**STANDARD, "control_rssi_dbm": -80.0}
    stale = running(
        channels=readings(NOW_S - 3.2, stale=True, **old),
        peaks=HeldPeaks(2.2, 0.1, 0.4, 12.0),
        control=replace(
            running().control,
            rssi_dbm=None, snr_db=None, received_percent=None, antenna=None, margin_db=None,
            stale=True,
        ),
        telemetry=replace(running().telemetry, age_s=3.2, frames_per_s=0.0, recent_loss_ratio=None),
        level=Level.LOST,
        level_reason="no telemetry for 3.2 s",
        level_since_s=NOW_S - 2.2,
    )  # fmt: skip
    hostile_name = "[red]x[/] \x1b[31m\u202eevil\u200b \U0001f3ce\ufe0f " + "very long " * 20
    own = readings(motor_speed_rpm=31250, tyre_temperature_c=61.5, pump_on=True, note="ok")
    busy = "the port is busy: close the other program that uses it"
    thin = "margin 8.2 dB, under 10 dB"
    lift = "margin 2.6 dB, under 3 dB"
    full = "the disk is full: make room, and start again"
    return {
        "waiting": FakeDesk(
            Snapshot(telemetry=TelemetryLink(state=LinkState.RETRYING, detail=busy)),
            record_state=RecordState(),
        ),
        "clear": FakeDesk(running(), events=EVENTS, traces=driven()),
        "thin": FakeDesk(
            with_margin(8.2, Level.THIN, thin),
            events=(*EVENTS, LevelChanged(73.6, 510.8, Level.THIN, Level.CLEAR, thin)),
            traces=driven(weakest_db=9.0),
        ),
        "lift": FakeDesk(
            with_margin(2.6, Level.LIFT, lift),
            events=(
                *EVENTS,
                LevelChanged(72.6, 509.8, Level.THIN, Level.CLEAR, thin),
                LevelChanged(73.6, 510.8, Level.LIFT, Level.THIN, lift),
            ),
            traces=driven(weakest_db=2.0),
        ),
        "lost": FakeDesk(
            with_margin(
                -1.0,
                Level.LOST,
                "failsafe active",
            ),
            events=(
                *EVENTS,
                LevelChanged(73.6, 510.8, Level.LOST, Level.LIFT, "failsafe active"),
            ),
            traces=driven(weakest_db=-2.0),
        ),
        "stale": FakeDesk(
            stale,
            events=(
                *EVENTS,
                LevelChanged(72.8, 509.0, Level.LOST, Level.CLEAR, "no telemetry for 1.0 s"),
            ),
            traces=driven(silent_s=3.2),
        ),
        "clipped": FakeDesk(
            running(peaks=HeldPeaks(15.98, -6.3, 1.2, 88.0, clipped=True)),
            events=(
                *EVENTS,
                Noted(74.1, 511.3, "clipped", "a shock went beyond the accelerometer"),
            ),
            traces=driven(),
        ),
        "hostile": FakeDesk(
            running(
                identity=Identity(3, hostile_name, "[b]"),
                level_reason="[reverse]" + hostile_name,
                channels=readings(**STANDARD, note_text=hostile_name),
            ),
            title="[@click=app.quit]port[/] " + hostile_name,
            events=(*EVENTS, Noted(74.0, 511.0, "mark", hostile_name)),
            traces=driven(),
            record_state=RecordState(True, hostile_name),
        ),
        "paused": replayed(paused=True),
        "trouble": FakeDesk(
            running(),
            events=EVENTS,
            traces=driven(),
            record_state=RecordState(
                False, "2031-05-04_11-20-07_sandpiper.session", full, lost_bytes=12_288
            ),
        ),
        "counting": FakeDesk(
            with_margin(
                22.0,
                Level.THIN,
                "stop margin 7.2 dB (5 %), under 10 dB",
                forecast=FORECAST,
                channels={**readings(**STANDARD), **readings(**GOOD_FIX)},
            ),
            events=EVENTS,
            traces=driven(),
            course=measured(),
        ),
        "lift_now": FakeDesk(
            with_margin(
                16.0,
                Level.LIFT,
                "stop margin 2.1 dB (5 %), under 3 dB",
                forecast=replace(
                    FORECAST,
                    distance_m=278.0,
                    stop_point_m=419.0,
                    lift_in_s=0.0,
                    stop_margin_p05_db=2.1,
                ),
            ),
            events=EVENTS,
            traces=driven(),
            course=measured(278.0),
        ),
        "no_fix": FakeDesk(
            with_margin(
                22.0,
                Level.THIN,
                "stop margin 7.2 dB (5 %), under 10 dB",
                forecast=replace(FORECAST, lift_in_s=None, lift_point_m=None),
                channels={**readings(**STANDARD), **readings(**GOOD_FIX | {"fix_type": 0})},
            ),
            events=EVENTS,
            traces=driven(),
            check_words="no range check today",
            course=measured(),
        ),
        "nearer": FakeDesk(
            running(
                forecast=Forecast(
                    distance_m=88.0,
                    distance_origin="the car's first fix at rest",
                    away_mps=-21.0,
                    range_edge_m=460.0,
                    fit=FIT,
                )
            ),
            events=EVENTS,
            traces=driven(),
            course=measured(),
        ),
        "own_channels": FakeDesk(
            running(channels={**readings(**STANDARD), **own}), events=EVENTS, traces=driven()
        ),
    }
