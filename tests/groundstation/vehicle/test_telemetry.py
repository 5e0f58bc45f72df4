"""One vehicle followed, from bytes to snapshots and events."""

from __future__ import annotations

import pytest

from groundstation.inbound import BytesReceived, LinkChanged, LinkState, MarkMade, TelemetrySignal
from groundstation.radio.level import Level
from groundstation.vehicle.profile import NO_CHECK, KnownCheck, VehicleProfile
from groundstation.vehicle.session_events import (
    LevelChanged,
    Noted,
    PassEnded,
    SessionEvent,
    SourceChanged,
)
from groundstation.vehicle.telemetry import Telemetry
from protocol import Sender, Value, standard_table
from tests.groundstation.radio.watched import PRIOR

IDENT: dict[str, Value] = {
    "vehicle_name": "Sandpiper",
    "firmware": "1.0",
    "control_sensitivity_dbm": -98.0,
    "accel_full_scale_g": 16.0,
}


class Car:
    """Sends frames of a car to a telemetry core, and keeps the events."""

    def __init__(self, telemetry: Telemetry, vehicle: int = 1) -> None:
        self.telemetry = telemetry
        self.sender = Sender(vehicle=vehicle)
        self.events: list[SessionEvent] = []

    def send(self, kind: str, at_s: float, values: dict[str, Value], *, lost: bool = False) -> None:
        frame = self.sender.encode(kind, values, round(at_s * 1e6))
        if not lost:
            self.events += self.telemetry.handle(BytesReceived(at_s, frame))

    def tick(self, at_s: float) -> None:
        self.events += self.telemetry.tick(at_s)

    def of(self, kind: type[SessionEvent]) -> list[SessionEvent]:
        return [event for event in self.events if isinstance(event, kind)]


@pytest.fixture
def car() -> Car:
    return Car(Telemetry())


def test_margin_is_rssi_less_the_threshold_that_the_car_told(car: Car) -> None:
    car.send("radio", 0.0, {"control_rssi_dbm": -80.0})
    assert car.telemetry.snapshot().control.margin_db is None
    car.send("ident", 0.1, IDENT)
    control = car.telemetry.snapshot().control
    assert (control.margin_db, control.threshold_origin) == (18.0, "ident frame")


def test_a_threshold_in_the_profile_comes_first() -> None:
    car = Car(Telemetry(VehicleProfile(threshold_dbm=-90.0)))
    car.send("ident", 0.0, IDENT)
    car.send("radio", 0.0, {"control_rssi_dbm": -80.0})
    control = car.telemetry.snapshot().control
    assert (control.margin_db, control.threshold_origin) == (10.0, "profile")


def test_unknown_is_none_and_never_zero(car: Car) -> None:
    car.send("motion", 0.0, {})
    snapshot = car.telemetry.snapshot()
    assert snapshot.number("speed_mps") is None
    assert snapshot.control.failsafe_active is None
    assert snapshot.control.rssi_dbm is None


def test_loss_counts_gaps_of_the_followed_vehicle_only(car: Car) -> None:
    car.send("motion", 0.0, {})
    car.send("motion", 0.01, {}, lost=True)
    car.send("motion", 0.02, {})
    other = Car(car.telemetry, vehicle=2)
    other.send("motion", 0.03, {"speed_mps": 60.0})
    other.send("motion", 0.04, {}, lost=True)
    other.send("motion", 0.05, {"speed_mps": 60.0})
    snapshot = car.telemetry.snapshot()
    assert (snapshot.telemetry.frames, snapshot.telemetry.lost) == (2, 1)
    assert snapshot.number("speed_mps") is None
    assert snapshot.identity is not None
    assert (snapshot.identity.number, snapshot.identity.others) == (1, (2,))
    assert [event.text for event in other.of(Noted) if isinstance(event, Noted)] == [
        "another vehicle on this channel: number 2"
    ]


def test_the_profile_chooses_the_vehicle() -> None:
    telemetry = Telemetry(VehicleProfile(number=2))
    Car(telemetry, vehicle=1).send("motion", 0.0, {"speed_mps": 5.0})
    assert telemetry.snapshot().identity is None
    Car(telemetry, vehicle=2).send("motion", 0.1, {"speed_mps": 7.0})
    assert telemetry.snapshot().number("speed_mps") == 7.0


def test_rejected_frames_are_counted_but_not_the_first_half_frame(car: Car) -> None:
    frame = car.sender.encode("motion", {}, 0)
    car.telemetry.handle(BytesReceived(0.0, frame[10:]))
    car.telemetry.handle(BytesReceived(0.1, b"\x03garbage\x00"))
    car.telemetry.handle(BytesReceived(0.2, frame))
    link = car.telemetry.snapshot().telemetry
    assert (link.frames, link.rejected) == (1, 1)


def test_a_new_link_does_not_glue_two_halves_together(car: Car) -> None:
    frame = car.sender.encode("motion", {"speed_mps": 1.0}, 0)
    car.telemetry.handle(BytesReceived(0.0, b"\x00" + frame[:12]))
    car.telemetry.handle(LinkChanged(0.1, LinkState.CONNECTED))
    car.telemetry.handle(BytesReceived(0.2, frame))
    link = car.telemetry.snapshot().telemetry
    assert (link.frames, link.rejected) == (1, 0)


def test_source_changes_marks_and_signal_are_told(car: Car) -> None:
    assert car.telemetry.handle(LinkChanged(0.0, LinkState.RETRYING, "port busy")) == [
        SourceChanged(0.0, None, LinkState.RETRYING, "port busy")
    ]
    assert car.telemetry.handle(MarkMade(1.0, "gust")) == [Noted(1.0, None, "mark", "gust")]
    car.telemetry.handle(TelemetrySignal(2.0, -61.0))
    link = car.telemetry.snapshot().telemetry
    assert (link.state, link.detail, link.rssi_dbm) == (LinkState.RETRYING, "port busy", -61.0)


def test_silence_goes_over_lift_to_lost(car: Car) -> None:
    car.send("ident", 0.0, IDENT)
    car.send("radio", 0.0, {"control_rssi_dbm": -60.0})
    for tick in range(30):
        car.tick(tick * 0.05)
    levels = [event for event in car.events if isinstance(event, LevelChanged)]
    assert [(event.level, event.previous) for event in levels] == [
        (Level.CLEAR, None),
        (Level.LIFT, Level.CLEAR),
        (Level.LOST, Level.LIFT),
    ]
    assert [event.at_s for event in levels] == pytest.approx([0.0, 0.5, 1.0])
    assert levels[-1].reason == "no telemetry for 1.0 s"


def test_old_figures_do_not_pass_for_new(car: Car) -> None:
    car.send("ident", 0.0, IDENT)
    for count in range(10):
        car.send("radio", count * 0.04, {"control_rssi_dbm": -60.0})
    car.tick(3.0)
    control = car.telemetry.snapshot().control
    assert (control.rssi_dbm, control.margin_db, control.stale) == (None, None, True)


def test_a_pass_is_told_with_its_figures(car: Car) -> None:
    car.send("ident", 0.0, IDENT)
    for count, speed_mps in enumerate((0.0, 20.0, 42.5, 30.0, 1.0)):
        car.send("motion", 1.0 + count, {"speed_mps": speed_mps, "accel_z_max_g": 3.0 + count})
        car.send("radio", 1.0 + count, {"control_rssi_dbm": -70.0 - count})
    (ended,) = car.of(PassEnded)
    assert isinstance(ended, PassEnded)
    assert (ended.number, ended.peak_speed_mps, ended.clipped) == (1, 42.5, False)
    assert ended.lowest_margin_db == 25.0
    assert (ended.started_vehicle_s, ended.ended_vehicle_s) == (2.0, 5.0)
    summary = car.telemetry.state.summary()
    assert (summary["passes"], summary["peak_speed_mps"]) == (1, 42.5)
    assert summary["lowest_margin_db"] == 24.0


def test_satellite_speed_finds_the_pass_of_a_car_without_a_wheel_sensor(car: Car) -> None:
    for count, speed_mps in enumerate((0.0, 20.0, 1.0)):
        car.send("fix", float(count), {"ground_speed_mps": speed_mps})
    assert len(car.of(PassEnded)) == 1


def test_satellite_speed_counts_where_motion_frames_carry_none(car: Car) -> None:
    for count, speed_mps in enumerate((0.0, 20.0, 1.0)):
        car.send("motion", count + 0.1, {"yaw_rate_dps": 2.0})
        car.send("fix", count + 0.2, {"ground_speed_mps": speed_mps})
    assert [event.peak_speed_mps for event in car.of(PassEnded)] == [20.0]


def test_clipping_is_noted_once_for_shocks_that_follow_closely(car: Car) -> None:
    car.send("ident", 0.0, IDENT)
    for count, peak_g in enumerate((2.0, 16.0, 16.0, 3.0, 16.0, 3.0, 3.0, 3.0, 16.0)):
        car.send("motion", count * 0.7, {"accel_z_max_g": peak_g})
    assert [event.kind for event in car.events if isinstance(event, Noted)] == [
        "vehicle",
        "clipped",
        "clipped",
    ]


def test_swings_hold_the_extremes_between_two_ticks(car: Car) -> None:
    car.tick(0.0)
    for count, yaw_dps in enumerate((-3.0, 9.0, 1.0)):
        car.send("motion", 0.01 * count, {"yaw_rate_dps": yaw_dps, "accel_z_max_g": 7.0})
    car.tick(0.05)
    swings = car.telemetry.snapshot().swings or {}
    assert swings["yaw_rate_dps"] == (-3.0, 9.0)
    assert swings["accel_z_g"] == (7.0, 7.0)
    car.tick(0.10)
    assert car.telemetry.snapshot().swings == {}


def test_a_reboot_is_told_and_the_clock_goes_on(car: Car) -> None:
    car.send("motion", 500.0, {})
    car.sender.sequence = 0
    frame = car.sender.encode("motion", {}, 40_000)
    events = car.telemetry.handle(BytesReceived(505.0, frame))
    assert [event.kind for event in events if isinstance(event, Noted)] == ["reboot"]
    snapshot = car.telemetry.snapshot()
    assert snapshot.reboots == 1
    assert snapshot.vehicle_s == pytest.approx(505.0)


def test_late_frames_change_nothing_but_the_count(car: Car) -> None:
    frames = [car.sender.encode("motion", {"speed_mps": float(n)}, n * 10_000) for n in range(3)]
    for place in (0, 2, 1):
        car.telemetry.handle(BytesReceived(0.1, frames[place]))
    snapshot = car.telemetry.snapshot()
    assert snapshot.number("speed_mps") == 2.0
    assert (snapshot.telemetry.frames, snapshot.telemetry.lost) == (3, 0)


@pytest.mark.parametrize(
    ("vehicle", "words", "begun"),
    [("Sandpiper", "check: 2 h old", True), ("Dunlin", NO_CHECK, False)],
)
def test_the_range_check_of_the_vehicle_that_is_heard_is_told_and_begun_from(
    vehicle: str, words: str, begun: bool
) -> None:
    known = KnownCheck(vehicle=vehicle, words="check: 2 h old", prior=PRIOR)
    car = Car(Telemetry(VehicleProfile(checks=(known,))))
    car.send("radio", 0.0, {"control_rssi_dbm": -80.0})
    assert not car.telemetry.state.watch.begun
    car.send("ident", 0.1, IDENT)
    car.send("radio", 0.2, {"control_rssi_dbm": -80.0})
    told = [event.text for event in car.of(Noted) if isinstance(event, Noted)]
    assert told == ["Sandpiper, firmware 1.0", words]
    assert car.telemetry.state.watch.begun is begun


def test_where_nobody_looked_for_checks_nothing_is_said_of_them(car: Car) -> None:
    car.send("ident", 0.1, IDENT)
    told = [event.kind for event in car.of(Noted) if isinstance(event, Noted)]
    assert told == ["vehicle"]


def test_a_pass_that_falls_silent_ends(car: Car) -> None:
    for count, speed_mps in enumerate((0.0, 20.0, 42.5)):
        car.send("motion", float(count), {"speed_mps": speed_mps})
    car.tick(2.5)
    assert car.of(PassEnded) == []
    car.tick(30.0)
    (ended,) = car.of(PassEnded)
    assert isinstance(ended, PassEnded)
    assert (ended.peak_speed_mps, ended.ended_vehicle_s) == (42.5, 2.0)
    assert not car.telemetry.snapshot().in_pass


def test_frames_of_an_unknown_kind_are_counted_and_keep_the_link_alive(car: Car) -> None:
    car.send("motion", 0.0, {"speed_mps": 3.0})
    own = standard_table().extended(
        "[[kind]]\nname = 'own'\ncode = 0x80\n[[kind.field]]\nname = 'note'\ntype = 'text4'\n",
        "own.toml",
    )
    stranger = Sender(own)
    stranger.sequence = car.sender.sequence
    frame = stranger.encode("own", {"note": "hi"}, 20_000)
    assert car.telemetry.handle(BytesReceived(0.4, frame)) == []
    car.tick(0.8)
    snapshot = car.telemetry.snapshot()
    assert car.telemetry.state.unknown == 1
    assert (snapshot.telemetry.frames, snapshot.telemetry.lost) == (2, 0)
    assert snapshot.vehicle_s == 0.02
    # By the frame at 0.4 s; the one before is silent for longer than LIFT allows.
    assert snapshot.level is not Level.LIFT
