"""The promise of replays: same inbound events in the same order, same everything."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import given, settings
from hypothesis import strategies as st

from groundstation.inbound import BytesReceived, Inbound, LinkChanged, LinkState
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.session_events import SessionEvent
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from groundstation.vehicle.traces import TICK_S
from protocol import Sender, standard_table


@dataclass
class Log:
    """Keeps everything that a listener is told."""

    events: list[SessionEvent] = field(default_factory=list)
    snapshots: dict[int, Snapshot] = field(default_factory=dict)

    def happened(self, event: SessionEvent) -> None:
        self.events.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        self.snapshots[tick] = telemetry.snapshot()


def drive(seconds: float, *, silent_from_s: float = 1e9) -> list[Inbound]:
    """A car that speeds up and stops, with a lost frame now and then."""
    sender, inbound = Sender(), list[Inbound]([LinkChanged(0.0, LinkState.CONNECTED)])
    for count in range(round(seconds * 50)):
        at_s = count * 0.02
        speed_mps = max(0.0, 30.0 - abs(at_s - seconds / 2) * 8)
        frames = sender.encode("motion", {"speed_mps": speed_mps}, round(at_s * 1e6))
        if count % 50 == 0:
            ident = {"control_sensitivity_dbm": -98.0, "vehicle_name": "Sandpiper"}
            frames += sender.encode("ident", ident, round(at_s * 1e6))
        radio = {"control_rssi_dbm": -70.0 - at_s * 2}
        frames += sender.encode("radio", radio, round(at_s * 1e6))
        if at_s < silent_from_s and count % 17:
            inbound.append(BytesReceived(at_s + 0.003, frames))
    return inbound


def run(inbound: list[Inbound], *, end_at_s: float) -> Log:
    log = Log()
    timeline = Timeline(Telemetry(), [log])
    for each in inbound:
        timeline.accept(each)
    timeline.advance(end_at_s)
    return log


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.0, 12.0), max_size=40))
def test_looking_at_the_clock_in_between_changes_nothing(looks: list[float]) -> None:
    inbound = drive(10.0, silent_from_s=8.0)
    plain, watched = run(inbound, end_at_s=12.0), Log()
    timeline, looks = Timeline(Telemetry(), [watched]), sorted(looks)
    for each in inbound:
        while looks and looks[0] < each.at_s:
            timeline.advance(looks.pop(0))
        timeline.accept(each)
    timeline.advance(12.0)
    assert watched == plain


def test_a_tick_comes_before_events_of_its_time() -> None:
    log = run([BytesReceived(TICK_S, b"x")], end_at_s=2 * TICK_S)
    assert [log.snapshots[tick].telemetry.bytes_received for tick in range(3)] == [0, 0, 1]


def test_an_event_stamped_before_a_tick_that_has_run_is_put_behind_it() -> None:
    timeline = Timeline(Telemetry(), [])
    timeline.advance(1.0)
    assert timeline.in_order(BytesReceived(0.97, b"x")).at_s == 1.0
    assert timeline.in_order(BytesReceived(1.01, b"x")).at_s == 1.01


def test_a_kept_state_goes_on_to_the_very_same_numbers() -> None:
    inbound, keep_tick = drive(10.0, silent_from_s=8.0), 90
    keeper = StateKeeper(VehicleProfile(), standard_table(), software_version="1")
    kept: dict[int, bytes] = {}

    class Keep(Log):
        def ticked(self, tick: int, telemetry: Telemetry) -> None:
            super().ticked(tick, telemetry)
            if tick == keep_tick:
                kept[tick] = keeper.keep(telemetry.state)

    whole = Keep()
    timeline = Timeline(Telemetry(), [whole])
    for each in inbound:
        timeline.accept(each)
    timeline.advance(12.0)

    state, rest = keeper.recall(kept[keep_tick]), Log()
    assert state is not None
    timeline = Timeline(Telemetry(state=state), [rest], next_tick=keep_tick + 1)
    for each in inbound:
        if each.at_s >= keep_tick * TICK_S:
            timeline.accept(each)
    timeline.advance(12.0)
    assert rest.snapshots == {t: s for t, s in whole.snapshots.items() if t > keep_tick}
    assert rest.events == [e for e in whole.events if e.at_s > keep_tick * TICK_S]


def test_a_state_of_other_making_is_not_opened() -> None:
    table = standard_table()
    made = StateKeeper(VehicleProfile(), table, software_version="1").keep(Telemetry().state)
    other_profile = StateKeeper(VehicleProfile(number=3), table, software_version="1")
    other_version = StateKeeper(VehicleProfile(), table, software_version="2")
    same = StateKeeper(VehicleProfile(), table, software_version="1")
    assert other_profile.recall(made) is None
    assert other_version.recall(made) is None
    assert same.recall(made[:-3]) is None
    assert same.recall(made[:16] + b"\xc1" * 40) is None
    assert same.recall(made) == Telemetry().state
