"""The recordings that ship are what the simulator makes, small, and tell their story."""

from __future__ import annotations

from pathlib import Path

import pytest

from groundstation.inbound import Inbound
from groundstation.radio.level import Level
from groundstation.recording.reader import open_session
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.simulator.simulation import Simulation, simulate_truth
from groundstation.vehicle.session_events import LevelChanged, Noted, PassEnded, SessionEvent
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from protocol import Receiver, SampleReceived
from tests.replay_data import FOLDER, NAMES, SEED, made_inbound

MAX_BYTES = 1_000_000


def session(name: str) -> Path:
    return FOLDER / f"{name}.session"


class Told:
    """Keeps what a listener is told."""

    def __init__(self) -> None:
        self.events: list[SessionEvent] = []

    def happened(self, event: SessionEvent) -> None:
        self.events.append(event)

    def ticked(self, tick: int, telemetry: Telemetry) -> None:
        """Only events count here."""


def told(name: str) -> tuple[list[SessionEvent], Telemetry]:
    recording, listener, telemetry = open_session(session(name)), Told(), Telemetry()
    timeline = Timeline(telemetry, [listener])
    for inbound in recording.inbound():
        timeline.accept(inbound)
    timeline.advance(recording.end_at_s)
    return listener.events, telemetry


@pytest.mark.parametrize("name", NAMES)
def test_a_recording_is_small_and_made_again_identically(name: str) -> None:
    assert session(name).stat().st_size < MAX_BYTES
    made: list[Inbound] = list(made_inbound(name))
    assert list(open_session(session(name)).inbound()) == made


def test_each_recording_is_described() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert f"seed {SEED}" in text
    assert [name for name in NAMES if f"`{name}.session`" not in text] == []


@pytest.mark.parametrize("name", NAMES)
def test_nothing_in_a_recording_is_rejected(name: str) -> None:
    _, telemetry = told(name)
    summary = telemetry.state.summary()
    assert summary["rejected"] == 0
    assert (summary["frames"] or 0) > 1000


def levels(events: list[SessionEvent]) -> list[str]:
    return [str(event.level) for event in events if isinstance(event, LevelChanged)]


def test_the_clean_passes_keep_their_margin() -> None:
    events, telemetry = told("opposite_passes")
    assert "LOST" not in levels(events)
    assert (telemetry.state.lowest_margin_db or 0) > 10
    assert len([event for event in events if isinstance(event, PassEnded)]) == 2


def test_at_the_edge_of_range_the_warnings_come_before_the_loss() -> None:
    events, _ = told("range_edge")
    assert levels(events)[:4] == ["CLEAR", "THIN", "LIFT", "LOST"]


def test_lifting_at_the_warning_stops_the_car_inside_range() -> None:
    # The same car, course and air, driven again by somebody who reacts in 0.4 s to LIFT.
    scenario, reaction_s = SCENARIOS["range_edge"], 0.4
    events, _ = told("range_edge")
    lift = next(e for e in events if isinstance(e, LevelChanged) and e.level is Level.LIFT)
    assert lift.vehicle_s is not None
    emissions = Simulation(scenario, seed=SEED)
    first_vehicle_s = next(
        event.vehicle_s
        for emission in emissions
        for event in Receiver().receive_data(emission.data)
        if isinstance(event, SampleReceived)
    )
    lift_at_s = lift.vehicle_s - first_vehicle_s + reaction_s
    held = simulate_truth(scenario, SEED)
    lifted = simulate_truth(scenario, SEED, lift_at_s=lift_at_s)
    assert held.failsafe_row is not None
    assert lifted.failsafe_row is None
    assert lifted.speed_mps[-1] < 0.1
    assert lifted.position_m.max() < held.position_m[held.failsafe_row]


def test_a_disturbed_antenna_costs_margin() -> None:
    _, disturbed = told("antenna_disturbed")
    _, clean = told("opposite_passes")
    assert (disturbed.state.lowest_margin_db or 0) < (clean.state.lowest_margin_db or 0) - 6


def test_the_crash_ends_in_shocks_and_silence() -> None:
    events, telemetry = told("crash")
    assert levels(events)[-1] == "LOST"
    assert "clipped" in [event.kind for event in events if isinstance(event, Noted)]
    heard_at_s, end_at_s = telemetry.state.heard_at_s, open_session(session("crash")).end_at_s
    assert heard_at_s is not None
    assert heard_at_s <= end_at_s
