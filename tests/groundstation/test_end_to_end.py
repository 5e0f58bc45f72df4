"""A simulated car, watched live, recorded, and replayed: the same numbers every time."""

from __future__ import annotations

import asyncio
import io
import json
from datetime import UTC, datetime
from math import inf
from pathlib import Path

import pytest

from groundstation.cli.json_lines import JsonLines
from groundstation.inbound import BytesReceived, DriverPlaced, MarkMade
from groundstation.player import Player
from groundstation.recording.reader import SessionFile, open_session
from groundstation.recording.writer import Recorder
from groundstation.simulator.scenarios import SCENARIOS
from groundstation.sources.base import open_source
from groundstation.station import Station
from groundstation.vehicle.keeping import StateKeeper
from groundstation.vehicle.profile import VehicleProfile
from groundstation.vehicle.snapshot import Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from groundstation.vehicle.traces import TICK_S
from protocol import standard_table
from tests.autojump import AutojumpClock

TABLE = standard_table()
PROFILE = VehicleProfile()
KEEPER = StateKeeper(PROFILE, TABLE, software_version="test")


def record(folder: Path, scenario: str, *, for_s: float) -> tuple[Path, list[str]]:
    """Watch a simulated car; return the session file and the JSON lines."""
    clock, out = AutojumpClock(), io.StringIO()
    lines = JsonLines(TABLE, out)
    station = Station(
        open_source(f"simulated:{scenario}?seed=3", clock=clock),
        clock=clock,
        telemetry=Telemetry(PROFILE, table=TABLE),
        keeper=KEEPER,
        start_recorder=lambda: Recorder(
            folder, facts={}, started=datetime(2026, 1, 1, tzinfo=UTC), software_version="test"
        ),
        listeners=[lines],
    )

    async def watch() -> None:
        async def mark_later() -> None:
            await clock.sleep(for_s / 3)
            station.mark("gust")

        marking = asyncio.create_task(mark_later())
        await station.run(for_s)
        await marking

    asyncio.run(clock.run(watch()))
    path = station.session_path()
    assert path is not None
    lines.ended(station.telemetry, path, station.record_state.trouble)
    return Path(path), out.getvalue().splitlines()


def player_of(
    session: SessionFile, *, speed: float = inf, lines: JsonLines | None = None
) -> Player:
    return Player(
        session,
        title=session.path.name,
        clock=AutojumpClock(),
        profile=PROFILE,
        table=TABLE,
        keeper=KEEPER,
        listeners=[lines] if lines else [],
        speed=speed,
    )


def replay(path: Path, speed: float) -> list[str]:
    """Replay a session at a speed; return the JSON lines."""
    clock, out = AutojumpClock(), io.StringIO()
    lines, session = JsonLines(TABLE, out), open_session(path)
    player = Player(
        session,
        title=path.name,
        clock=clock,
        profile=PROFILE,
        table=TABLE,
        keeper=KEEPER,
        listeners=[lines],
        speed=speed,
    )
    asyncio.run(clock.run(player.run(to_end=True)))
    lines.ended(player.telemetry, str(path), "")
    return out.getvalue().splitlines()


@pytest.fixture(scope="module")
def edge(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str]]:
    return record(tmp_path_factory.mktemp("edge"), "range_edge", for_s=35.0)


@pytest.mark.parametrize("speed", [1.0, 8.0, inf])
def test_a_replay_prints_the_lines_of_the_live_session(
    edge: tuple[Path, list[str]], speed: float
) -> None:
    path, live = edge
    assert replay(path, speed) == live


def test_the_live_lines_tell_the_story(edge: tuple[Path, list[str]]) -> None:
    lines = [json.loads(line) for line in edge[1]]
    kinds = [line["event"] for line in lines]
    assert kinds.count("state") == 351
    assert kinds[-1] == "end"
    assert {"source", "vehicle", "level", "pass", "mark"} <= set(kinds)
    assert lines[-1]["rejected"] == 0
    levels = [line["level"] for line in lines if line["event"] == "level"]
    assert levels[0] == "CLEAR"
    assert levels.index("THIN") < levels.index("LIFT") < levels.index("LOST")


def test_nothing_that_arrived_is_missing_in_the_file(edge: tuple[Path, list[str]]) -> None:
    path, live = edge
    inbound = list(open_session(path).inbound())
    size = sum(len(each.data) for each in inbound if isinstance(each, BytesReceived))
    assert size == json.loads(live[-1])["bytes"]
    assert [each.text for each in inbound if isinstance(each, MarkMade)] == ["gust"]
    times = [each.at_s for each in inbound]
    assert times == sorted(times)


def straight_run(session: SessionFile) -> dict[int, Snapshot]:
    snapshots: dict[int, Snapshot] = {}

    class Keep:
        def happened(self, event: object) -> None: ...

        def ticked(self, tick: int, telemetry: Telemetry) -> None:
            snapshots[tick] = telemetry.snapshot()

    timeline = Timeline(Telemetry(PROFILE, table=TABLE), [Keep()])
    for each in session.inbound():
        timeline.accept(each)
    timeline.advance(session.end_at_s)
    return snapshots


def test_seeking_shows_what_a_straight_replay_shows(tmp_path: Path) -> None:
    path, _ = record(tmp_path, "demo", for_s=130.0)
    session = open_session(path)
    snapshots, player = straight_run(session), player_of(session)
    # Far enough in, a seek begins at a state that was kept in the recording.
    assert session.checkpoint_before(95.0 - 60.0) is not None
    for tick in (2500, 40, 1801, 0, 2599, 600, 601, 2500):
        player.seek(tick * TICK_S)
        assert player.snapshot.at_s == tick * TICK_S
        assert player.snapshot == snapshots[tick]


def test_stepping_goes_by_whole_ticks_both_ways(edge: tuple[Path, list[str]]) -> None:
    session = open_session(edge[0])
    snapshots, player = straight_run(session), player_of(session)
    player.seek(10.0)
    for step, tick in ((1, 201), (1, 202), (-2, 200), (-500, 0)):
        player.step(step)
        assert player.state.paused
        assert player.snapshot == snapshots[tick]


def test_bookmarks_come_from_the_recording_and_can_be_gone_to(
    edge: tuple[Path, list[str]],
) -> None:
    player = player_of(open_session(edge[0]))
    marks = [mark for mark in player.bookmarks if mark.kind == "mark"]
    assert [mark.text for mark in marks] == ["gust"]
    player.seek(marks[0].at_s)
    assert player.state.position_s == marks[0].at_s
    assert [mark.kind for mark in player.bookmarks].count("pass") == 1


def test_a_seek_is_clamped_to_the_recording(edge: tuple[Path, list[str]]) -> None:
    player = player_of(open_session(edge[0]))
    player.seek(1e6)
    assert player.state.ended
    assert player.state.position_s == player.state.end_s
    player.seek(-5.0)
    assert player.state.position_s == 0.0
    assert not player.state.ended


def test_the_drivers_position_is_recorded_and_replayed(edge: tuple[Path, list[str]]) -> None:
    path, live = edge
    placed = [each for each in open_session(path).inbound() if isinstance(each, DriverPlaced)]
    course = SCENARIOS["range_edge"].course
    assert [(each.latitude_deg, each.longitude_deg) for each in placed] == [course.driver_deg]
    distances = [json.loads(line).get("distance_m") for line in live]
    assert max(metres for metres in distances if metres is not None) > 500


def test_a_replay_is_not_changed_by_watching_it(edge: tuple[Path, list[str]]) -> None:
    session = open_session(edge[0])
    before = list(session.inbound())
    player = player_of(session)
    player.seek(5.0)
    player.mark("late")
    player.stand_here()
    assert list(open_session(edge[0]).inbound()) == before
