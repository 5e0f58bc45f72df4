"""What is heard of a session as it runs."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import cast

import pytest

from groundstation.inbound import BytesReceived
from groundstation.radio.level import Level
from groundstation.sound import listener
from groundstation.sound.command import LevelCommands
from groundstation.sound.listener import SoundListener, build_sound
from groundstation.sound.outputs import Beat
from groundstation.vehicle.session_events import LevelChanged, Noted
from groundstation.vehicle.snapshot import ControlLink, Forecast, Snapshot
from groundstation.vehicle.telemetry import Telemetry
from groundstation.vehicle.timeline import Timeline
from groundstation.vehicle.traces import TICK_S
from protocol import Sender


@dataclass
class Ear:
    """An output that remembers what it was given, while it is able to."""

    able: bool = True
    trouble: str = ""
    heard: list[Beat] = field(default_factory=list)
    prepared: int = 0
    closed: int = 0

    def prepare(self) -> None:
        self.prepared += 1

    def sound(self, beat: Beat) -> bool:
        if self.able:
            self.heard.append(beat)
        return self.able

    def close(self) -> None:
        self.closed += 1


class HandClock:
    """Stands until it is moved."""

    def __init__(self) -> None:
        self.at_s = 50.0

    def now_s(self) -> float:
        return self.at_s

    async def sleep(self, seconds: float) -> None:
        self.at_s += seconds


@dataclass
class Scene:
    """A telemetry that knows what the test says."""

    now: Snapshot = field(default_factory=Snapshot)

    def snapshot(self) -> Snapshot:
        return self.now


class Bench:
    """A sound listener with ears for outputs."""

    def __init__(self, *, commands: LevelCommands | None = None, ears: int = 2) -> None:
        self.ears = [Ear() for _ in range(ears)]
        self.clock, self.scene, self.tick = HandClock(), Scene(), 0
        self.told: list[str] = []
        self.sound = SoundListener(
            list(self.ears), commands=commands, clock=self.clock, trouble=self.told.append
        )

    def run(self, ticks: int, *, speed: float = 1.0, **changes: object) -> None:
        self.scene.now = replace(self.scene.now, **changes)  # type: ignore[arg-type]
        for _ in range(ticks):
            self.sound.ticked(self.tick, cast("Telemetry", self.scene))
            self.tick += 1
            self.clock.at_s += TICK_S / speed


def test_clear_is_silent_and_worse_is_heard() -> None:
    bench = Bench()
    bench.run(40)
    assert [ear.prepared for ear in bench.ears] == [0, 0]
    bench.run(40, level=Level.CLEAR)
    assert bench.ears[0].heard == []
    assert bench.ears[0].prepared > 0
    bench.run(20, level=Level.LIFT)
    assert [beat.level for beat in bench.ears[0].heard] == [Level.LIFT] * 4
    bench.run(40, level=Level.CLEAR)
    assert len(bench.ears[0].heard) == 4
    assert bench.ears[1].heard == []


def test_countdown_is_heard() -> None:
    bench = Bench()
    bench.run(40, level=Level.THIN, forecast=Forecast(lift_in_s=1.0))
    # One each 0.3 s, in 2 s.
    assert len(bench.ears[0].heard) == 7


@pytest.mark.parametrize(
    ("forecast", "margin_db"),
    [
        (Forecast(stop_margin_db=7.0, stop_margin_p05_db=2.0), 2.0),
        (Forecast(stop_margin_db=7.0), 7.0),
        (Forecast(), 15.0),
    ],
)
def test_pitch_follows_the_stop_margin_where_it_is_known(
    forecast: Forecast, margin_db: float
) -> None:
    bench = Bench()
    bench.run(1, level=Level.THIN, forecast=forecast, control=ControlLink(margin_db=15.0))
    assert [beat.stop_margin_db for beat in bench.ears[0].heard] == [margin_db]


def test_what_cannot_sound_leaves_it_to_the_next() -> None:
    bench = Bench()
    bench.ears[0].able = False
    bench.run(10, level=Level.LIFT)
    bench.ears[0].able = True
    bench.run(10)
    assert [len(ear.heard) for ear in bench.ears] == [2, 2]


def test_a_fast_replay_does_not_rattle() -> None:
    bench = Bench()
    bench.run(2000, speed=50.0, level=Level.LIFT)
    # 100 s in 2 s of the listener's time: no more than one beat each 0.15 s.
    assert 2 <= len(bench.ears[0].heard) <= 14


def test_each_trouble_is_told_once() -> None:
    bench = Bench()
    bench.run(3, level=Level.CLEAR)
    bench.ears[0].trouble = "no device"
    bench.run(3)
    bench.ears[0].trouble = ""
    bench.run(3)
    bench.ears[0].trouble = "no device"
    bench.run(3)
    assert bench.told == ["no device"]


def test_commands_run_at_changes_with_the_figures_of_their_tick() -> None:
    ran: list[tuple[Level, float | None]] = []

    class Commands(LevelCommands):
        def run(self, change: LevelChanged, snapshot: Snapshot) -> None:
            ran.append((change.level, snapshot.control.margin_db))

    bench = Bench(commands=Commands({}))
    bench.run(5, level=Level.CLEAR)
    bench.sound.happened(Noted(0.2, None, "mark", "mark"))
    bench.sound.happened(LevelChanged(0.25, None, Level.LIFT, Level.CLEAR, "why"))
    assert ran == []
    bench.run(5, level=Level.LIFT, control=ControlLink(margin_db=2.5))
    assert ran == [(Level.LIFT, 2.5)]


def test_trouble_of_a_command_is_told() -> None:
    bench = Bench(commands=LevelCommands({Level.LIFT: "/no/such/horn"}, start_thread=_at_once))
    bench.sound.happened(LevelChanged(0.0, None, Level.LIFT, Level.CLEAR, "why"))
    bench.run(2, level=Level.LIFT)
    assert bench.told == [
        "cannot run the command for LIFT, /no/such/horn: No such file or directory"
    ]


def test_closing_closes_every_output() -> None:
    bench = Bench()
    bench.sound.close()
    assert [ear.closed for ear in bench.ears] == [1, 1]


def test_quiet_builds_nothing() -> None:
    assert build_sound(quiet=True, bell=print, clock=HandClock(), trouble=print) is None


def test_without_the_extra_a_silent_car_rings_the_bell(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listener, "tones_installed", lambda: False)
    rings: list[float] = []
    clock = HandClock()
    sound = build_sound(
        quiet=False, bell=lambda: rings.append(clock.at_s), clock=clock, trouble=print
    )
    assert sound is not None
    timeline = Timeline(Telemetry(), [sound])
    frames = Sender().encode("radio", {"control_rssi_dbm": -60.0}, 0)
    timeline.accept(BytesReceived(0.0, frames))
    for tick in range(100):
        clock.at_s = 50.0 + tick * TICK_S
        timeline.advance(tick * TICK_S)
    sound.close()
    # Nothing more is heard from the car: LIFT soon, then LOST in groups of three.
    assert len(rings) >= 5
    assert sum(ring > 52.5 for ring in rings) == 3


def test_the_bell_alone_can_be_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail() -> None:
        raise AssertionError("no tones were asked for")

    monkeypatch.setattr(listener, "tones_installed", lambda: True)
    monkeypatch.setattr(listener, "ToneOutput", fail)
    assert build_sound(quiet=False, bell=print, clock=HandClock(), trouble=print, tones=False)
    with pytest.raises(AssertionError):
        build_sound(quiet=False, bell=print, clock=HandClock(), trouble=print)


def test_building_sound_loads_no_audio_library_and_no_numpy() -> None:
    program = (
        "import sys\n"
        "from groundstation.clock import MonotonicClock\n"
        "from groundstation.sound.listener import build_sound\n"
        "built = build_sound(quiet=False, bell=print, clock=MonotonicClock(), trouble=print)\n"
        "assert built is not None\n"
        "assert not {'sounddevice', 'scipy', '_sounddevice', 'numpy'} & set(sys.modules)\n"
    )
    subprocess.run([sys.executable, "-c", program], check=True)


def _at_once(job: Callable[[], None]) -> None:
    job()
