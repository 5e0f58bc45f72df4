"""A whole check through the screen: keys pressed while the simulated car is carried about."""

from __future__ import annotations

import asyncio
from pathlib import Path

from textual.pilot import Pilot

from groundstation.cli.check_running import build_station
from groundstation.cli.options import choose
from groundstation.cli.parser import parse
from groundstation.rangecheck.finding import Rule
from groundstation.rangecheck.record import Verdict
from groundstation.rangecheck.view import Step
from groundstation.recording.checks import list_checks
from groundstation.recording.reader import list_sessions
from groundstation.screens.check import CheckApp
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.widgets.panel import Panel
from groundstation.sources.base import open_source
from tests.autojump import SteppedClock

START_S = 1000.0
COURSE = ("--course-length", "60", "--top-speed", "60")


def text_of(app: CheckApp) -> str:
    return "\n".join(
        panel.render_line(y).text
        for panel in app.screen.query(Panel)
        if panel.display
        for y in range(panel.size.height)
    )


class Person:
    """Presses keys at times of the session, and looks at the screen."""

    def __init__(self, source: str, sessions: Path, *, course: tuple[str, ...] = COURSE) -> None:
        arguments = parse(["check", source, *course, "--sessions", str(sessions)])
        self.clock = SteppedClock(START_S)
        opened = open_source(source, clock=self.clock)
        self.station = build_station(opened, arguments, choose(arguments), self.clock)
        self.app = CheckApp(self.station, on_start=self.station.run)
        self.pilot: Pilot[Exception] | None = None

    async def at(self, at_s: float, *keys: str) -> str:
        """Wait, press, and return what stands on the screen."""
        assert self.pilot is not None
        # The session starts once the first picture is drawn, and its time counts from then.
        await self.pilot.pause()
        await self.clock.run_until(START_S + at_s)
        await self.pilot.press(*keys)
        await self.pilot.pause()
        self.app.redraw()
        return text_of(self.app)


def test_a_whole_check_through_the_screen(tmp_path: Path) -> None:
    person = Person("simulated:range_check?seed=3", tmp_path)

    async def check() -> None:
        async with person.app.run_test(size=(80, 24)) as person.pilot:
            text = await person.at(3.0)
            assert "▶ 1 sensors at rest" in text
            assert "● REC" in text
            text = await person.at(8.0)
            assert "✓ 1 sensors at rest" in text
            assert "switch the transmitter off" in text
            text = await person.at(9.1, "o")
            text = await person.at(11.0)
            assert "FAILSAFE" in text
            assert all(row in text for row in large("ON", 1))
            assert "switch the transmitter on again" in text
            text = await person.at(14.0, "o")
            assert "✓ 2 failsafe proof" in text
            assert "▶ 3 walk" in text
            for carried_s, metres in ((21.0, "10"), (60.0, "20"), (108.0, "40")):
                text = await person.at(carried_s, "m", *metres, "enter")
                assert f"{metres} m" in text
            text = await person.at(114.5)
            assert "hold" in text
            assert "40 m" in text
            text = await person.at(144.0, "v")
            assert "VERDICT  ✓ GO" in text
            assert "Advice only" in text
            assert "spread" in await person.at(144.5, "w")
            await person.at(145.0, "q")

    asyncio.run(check())
    assert person.station.record().verdict is Verdict.GO
    (stored,) = list_checks(tmp_path / "checks")
    assert stored.record is not None
    assert stored.record.verdict is Verdict.GO
    assert len(stored.record.holds) == 12
    (session,) = list_sessions(tmp_path)
    assert session.ended_cleanly
    assert isinstance(session.facts["check"], dict)


def test_quitting_keeps_what_was_measured_and_a_step_can_be_done_again(tmp_path: Path) -> None:
    person = Person("simulated:range_check", tmp_path, course=())

    async def check() -> None:
        async with person.app.run_test(size=(80, 24)) as person.pilot:
            text = await person.at(3.0)
            assert "no --course-length, no --top-speed" in text
            await person.at(14.0)
            assert person.station.check.step is Step.WALK
            text = await person.at(14.2, "r", "2")
            assert "▶ 2 failsafe proof" in text
            assert "✓ 1 sensors at rest" in text
            # The transmitter stays on: nothing is proven by then.
            text = await person.at(16.0, "n")
            assert "○ 2 failsafe proof" in text
            await person.at(16.5, "q")

    asyncio.run(check())
    (stored,) = list_checks(tmp_path / "checks")
    assert stored.record is not None
    assert stored.record.verdict is Verdict.HOLD
    rules = {each.rule for each in stored.record.reasons}
    assert Rule.FAILSAFE in rules
    assert Rule.GYRO not in rules


def test_one_check_is_one_file_however_often_it_is_judged(tmp_path: Path) -> None:
    person = Person("simulated:range_check", tmp_path)

    async def check() -> None:
        async with person.app.run_test(size=(80, 24)) as person.pilot:
            await person.at(6.0, "v")
            text = await person.at(6.2)
            assert "VERDICT  ✗ HOLD" in text
            assert len(list_checks(tmp_path / "checks")) == 1
            await person.at(6.4, "r", "1")
            await person.at(12.0, "v")
            await person.at(12.2, "q")

    asyncio.run(check())
    assert len(list_checks(tmp_path / "checks")) == 1
    assert [path.suffix for path in (tmp_path / "checks").iterdir()] == [".json"]
