from __future__ import annotations

import asyncio
import subprocess
import sys
from dataclasses import replace

import pytest
from rich.cells import cell_len
from textual.pilot import Pilot

from groundstation.screens.app import LiveApp
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.palette import DARK, SUNLIGHT
from groundstation.units import SpeedUnit
from tests.groundstation.screens.desks import (
    EVENTS,
    FakeDesk,
    driven,
    readings,
    replayed,
    running,
    scenes,
)
from tests.groundstation.screens.showing import play, read, shown_app, strips_of, text_of

SCENES = scenes()
SIZES = [(80, 24), (120, 40), (200, 60), (79, 23), (60, 18), (40, 12), (20, 5), (8, 3), (1, 1)]


async def nothing(pilot: Pilot[Exception]) -> None:
    """Press no key."""


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
def test_every_scene_fills_every_screen_and_nothing_more(size: tuple[int, int]) -> None:
    desk = FakeDesk(running())
    app = shown_app(desk)

    async def script(pilot: Pilot[Exception]) -> None:
        for scene in scenes().values():
            vars(desk).update(vars(scene))
            for page in ("charts", "keys", "channels", "distance", "large"):
                app.action_page(page)
                await pilot.pause()
                rows = text_of(app).split("\n")
                assert len(rows) == size[1]
                assert {cell_len(row) for row in rows} == {size[0]}
                assert all(row.isprintable() for row in rows)

    play(app, script, size=size)


def test_a_live_session_at_a_glance() -> None:
    text = read(SCENES["clear"])
    for said in ("Sandpiper #3", "serial:/dev/ttyUSB0", "● REC", "● CLEAR  margin 31.0 dB"):
        assert said in text
    assert all(row in text for row in large("138", 2))
    assert all(row in text for row in large("31", 2))
    assert "REPLAY" not in text


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
def test_the_range_check_is_said_while_the_level_is_calm(size: tuple[int, int]) -> None:
    words = "check is stale: pack was changed"
    for name, said in (("clear", True), ("thin", True), ("lift", False), ("lost", False)):
        desk = scenes()[name]
        desk.check_words = words
        row = read(desk, size=size).split("\n")[1]
        assert (words in row) is said
        assert desk.snapshot.level_reason in row


def test_the_range_check_gives_way_to_a_long_reason() -> None:
    desk = scenes()["counting"]
    desk.check_words = "check is stale: set-up sheet was changed"
    row = read(desk).split("\n")[1]
    assert "LIFT in 2.4 s  stop margin 7.2 dB (5 %), under 10 dB" in row
    assert "check" not in row


def test_no_row_is_kept_for_a_forecast_that_is_not_there() -> None:
    text = read(SCENES["clear"], size=(120, 40)).lower()
    assert "forecast" not in text
    assert "stop" not in text


def test_markup_from_outside_is_shown_as_it_is() -> None:
    text = read(SCENES["hostile"], size=(120, 40))
    assert "[red]x[/]" in text
    assert "[@click=app.quit]port[/]" in text
    assert "[reverse]" in text


def test_waiting_takes_the_place_of_empty_figures() -> None:
    text = read(SCENES["waiting"])
    assert "waiting for frames from serial:/dev/ttyUSB0" in text
    assert "SPEED" not in text
    assert "q quit" in text


def test_m_marks_this_moment() -> None:
    desk = FakeDesk(running())
    read(desk, keys=("m", "m"))
    assert desk.marks == ["", ""]


def test_s_says_where_the_driver_stands() -> None:
    desk = FakeDesk(running())
    read(desk, keys=("s",))
    assert desk.stood == 1


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
def test_the_course_says_every_place_in_words(size: tuple[int, int]) -> None:
    text = read(SCENES["counting"], size=size)
    for said in ("DRIVER", "▶ CAR 182 m", "△ LIFT 274 m", "□ STOP 323 m", "┃ EDGE 460 m"):
        assert said in text
    assert "LIFT in 2.4 s" in text
    assert all(row in text for row in large("2.4", 2 if size[0] == 80 else 3))


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
def test_a_place_that_is_not_the_drivers_is_said_to_be(size: tuple[int, int]) -> None:
    text = read(SCENES["nearer"], size=size)
    assert "distances from the car's first fix at rest" in text
    assert "◀ CAR 88 m" in text


def test_d_draws_the_margin_over_distance() -> None:
    text = read(SCENES["counting"], keys=("d",))
    assert "margin dB over distance, 0 to 500 m" in text
    assert "TELEMETRY" not in text


@pytest.mark.parametrize(("size", "scale"), [((80, 24), 3), ((120, 40), 5)])
@pytest.mark.parametrize("scene", ["counting", "paused"])
def test_b_leaves_three_figures_over_the_whole_screen(
    scene: str, size: tuple[int, int], scale: int
) -> None:
    text = read(SCENES[scene], size=size, keys=("b",))
    assert all(row in text for row in large("138", scale))
    assert all(row in text for row in large("7.2" if scene == "counting" else "31", scale))
    below = {"counting": ("2.4", 4, 8), "paused": ("CLEAR", 4, 6)}[scene]
    assert all(row in text for row in large(below[0], below[1 if size[0] == 80 else 2]))
    assert "YAW" not in text
    assert "TELEMETRY" not in text
    assert ("PAUSED" in text) is (scene == "paused")


@pytest.mark.parametrize("key", ["b", "escape"])
def test_big_figures_are_left_again(key: str) -> None:
    assert read(SCENES["counting"], keys=("b", key)) == read(SCENES["counting"])


def test_while_nothing_is_heard_there_are_no_big_figures() -> None:
    assert read(SCENES["waiting"], keys=("b",)) == read(SCENES["waiting"])


def test_u_goes_through_the_units() -> None:
    assert "SPEED mph" in read(SCENES["clear"], keys=("u",))
    assert "SPEED m/s" in read(SCENES["clear"], keys=("u", "u"))
    assert "SPEED km/h" in read(SCENES["clear"], keys=("u", "u", "u"))


def test_t_changes_the_theme_and_back() -> None:
    grounds = []
    app = shown_app(SCENES["clear"])

    async def script(pilot: Pilot[Exception]) -> None:
        for _ in range(3):
            style = strips_of(app)[0]._segments[0].style
            assert style is not None
            grounds.append(style.bgcolor)
            await pilot.press("t")

    play(app, script)
    dark, light = (palette.styles["text"].bgcolor for palette in (DARK, SUNLIGHT))
    assert grounds == [dark, light, dark]


def test_c_opens_the_builders_own_channels_under_the_figures() -> None:
    text = read(SCENES["own_channels"], keys=("c",))
    assert "OWN CHANNELS" in text
    assert "31250 rpm" in text
    assert "MARGIN dB" in text
    assert "TELEMETRY" not in text
    assert "TELEMETRY" in read(SCENES["own_channels"], keys=("c", "c"))


def test_own_channels_stand_beside_the_links_on_a_wide_screen() -> None:
    text = read(SCENES["own_channels"], size=(120, 40))
    assert "OWN CHANNELS" in text
    assert "OWN CHANNELS" not in read(SCENES["clear"], size=(120, 40))


@pytest.mark.parametrize("close", ["question_mark", "escape"])
def test_help_explains_the_keys_and_keeps_the_figures(close: str) -> None:
    text = read(SCENES["lift"], keys=("question_mark",))
    assert "mark this moment" in text
    assert "▲▲▲ LIFT" in text
    assert "TELEMETRY " in read(SCENES["lift"], keys=("question_mark", close))


def test_help_while_waiting() -> None:
    assert "mark this moment" in read(SCENES["waiting"], keys=("question_mark",))


@pytest.mark.parametrize(
    ("keys", "position_s", "speed", "paused"),
    [
        (("space",), 42.3, 1.0, True),
        (("space", "space"), 42.3, 1.0, False),
        (("right",), 47.3, 1.0, False),
        (("left",), 37.3, 1.0, False),
        (("full_stop",), 42.35, 1.0, True),
        (("comma",), 42.25, 1.0, True),
        (("right_square_bracket",), 42.3, 2.0, False),
        (("left_square_bracket",), 42.3, 0.5, False),
        (("n",), 77.5, 1.0, False),
        (("p",), 12.0, 1.0, False),
        (("g", "1", "colon", "0", "3", "full_stop", "5", "enter"), 63.5, 1.0, False),
        (("g", "9", "backspace", "7", "enter"), 7.0, 1.0, False),
        (("g", "9", "escape", "space"), 42.3, 1.0, True),
    ],
)
def test_keys_of_a_replay(
    keys: tuple[str, ...], position_s: float, speed: float, paused: bool
) -> None:
    desk = replayed(paused=False)
    read(desk, keys=keys)
    assert desk.replay is not None
    assert desk.replay.state.position_s == pytest.approx(position_s)
    assert desk.replay.state.speed == speed
    assert desk.replay.state.paused is paused


def test_while_a_time_is_typed_keys_do_nothing_else() -> None:
    desk = replayed(paused=False)
    text = read(desk, keys=("g", "q", "m", "space", "1", "2", "x"))
    assert "go to 12▏" in text
    assert desk.marks == []
    assert desk.replay is not None
    assert not desk.replay.state.paused


def test_what_is_no_time_is_said_and_can_be_mended() -> None:
    desk = replayed(paused=False)
    keys = ("g", "colon", "enter")
    assert "not a time" in read(desk, keys=keys)
    read(desk, keys=(*keys, "backspace", "8", "enter"))
    assert desk.replay is not None
    assert desk.replay.state.position_s == 8.0


def test_neither_tab_nor_a_click_starts_typing() -> None:
    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.press("tab")
        await pilot.click(offset=(5, 23))
        assert app.focused is None

    app = shown_app(replayed(paused=True))
    play(app, script)


@pytest.mark.parametrize("key", ["space", "left", "n", "g", "comma", "right_square_bracket"])
def test_keys_of_a_replay_do_nothing_in_a_live_session(key: str) -> None:
    desk = FakeDesk(running(), events=EVENTS, traces=driven())
    assert read(desk, keys=(key,)) == read(desk)


def test_a_replay_is_plainly_one() -> None:
    text = read(SCENES["paused"])
    assert text.startswith(" REPLAY ")
    assert " PAUSED " in text
    assert "mark: second joint" in text


def test_new_numbers_appear_without_a_key() -> None:
    desk = FakeDesk(running())

    async def script(pilot: Pilot[Exception]) -> None:
        desk.snapshot = SCENES["lost"].snapshot
        app.redraw()
        await pilot.pause()
        assert "■■■ LOST" in text_of(app)

    app = shown_app(desk)
    play(app, script)


def test_resizing_shares_the_rows_out_anew() -> None:
    texts = []

    async def script(pilot: Pilot[Exception]) -> None:
        for size in ((120, 40), (50, 12), (80, 24)):
            await pilot.resize_terminal(*size)
            await pilot.pause()
            texts.append(text_of(app))

    app = shown_app(SCENES["clear"])
    play(app, script)
    assert texts == [read(SCENES["clear"], size=size) for size in ((120, 40), (50, 12), (80, 24))]


class Session:
    """A session's own work, which has something to close."""

    def __init__(self) -> None:
        self.started = asyncio.Event()
        self.closed = False

    async def run(self) -> None:
        self.started.set()
        try:
            await asyncio.Event().wait()
        finally:
            await asyncio.sleep(0)
            self.closed = True


@pytest.mark.parametrize("key", ["q", "ctrl+c", "ctrl+q"])
def test_quitting_closes_the_session_first(key: str) -> None:
    session = Session()
    app = LiveApp(SCENES["clear"], on_start=session.run)

    async def script(pilot: Pilot[Exception]) -> None:
        await session.started.wait()
        await pilot.press(key)

    play(app, script)
    assert session.closed
    assert app.return_value is None


def test_ctrl_c_quits_while_a_time_is_typed() -> None:
    session = Session()
    app = LiveApp(replayed(paused=True), on_start=session.run)

    async def script(pilot: Pilot[Exception]) -> None:
        await session.started.wait()
        await pilot.press("g", "1", "ctrl+c")

    play(app, script)
    assert session.closed


def test_an_error_of_the_session_ends_the_screen_and_is_returned() -> None:
    error = OSError("the clock fell out")

    async def fail() -> None:
        raise error

    app = play(LiveApp(SCENES["clear"], on_start=fail), nothing)
    assert app.return_value is error


def test_figures_follow_new_frames_between_two_drawings_of_the_whole() -> None:
    desk = FakeDesk(running())
    app = shown_app(desk)

    async def script(pilot: Pilot[Exception]) -> None:
        # No await below: nothing but what is asked for here draws.
        shown = text_of(app)
        faster = running(channels=readings(speed_mps=100 / 3.6))
        desk.snapshot, desk.events = faster, EVENTS
        app.redraw_figures()
        assert text_of(app) == shown
        frames = faster.telemetry.frames + 1
        desk.snapshot = replace(faster, telemetry=replace(faster.telemetry, frames=frames))
        app.redraw_figures()
        assert all(row in text_of(app) for row in large("100", 3))
        assert "115200 baud" not in text_of(app)
        app.redraw()
        assert "115200 baud" in text_of(app)

    play(app, script, size=(120, 40))


def test_between_two_drawings_nothing_wakes_while_nothing_comes() -> None:
    class Noted:
        def __init__(self) -> None:
            self.told: list[str] = []

        def pause(self) -> None:
            self.told.append("pause")

        def resume(self) -> None:
            self.told.append("resume")

    desk, timer = FakeDesk(running()), Noted()
    app = shown_app(desk)

    async def script(pilot: Pilot[Exception]) -> None:
        app.redraw()
        app._following = timer  # type: ignore[assignment]
        link = desk.snapshot.telemetry
        for frames in (link.frames, link.frames + 1, link.frames + 2, link.frames + 2):
            telemetry = replace(link, frames=frames)
            desk.snapshot = replace(desk.snapshot, telemetry=telemetry)
            app.redraw_figures()
            app.redraw()
        assert timer.told == ["pause", "resume", "resume", "pause"]

    play(app, script)


def test_a_session_that_ends_leaves_the_screen_open() -> None:
    async def end() -> None:
        return

    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.pause()
        assert "MARGIN" in text_of(app)

    app = LiveApp(SCENES["clear"], speed_unit=SpeedUnit.MPH, on_start=end)
    play(app, script)
    assert app.return_value is None


def test_starting_the_screen_loads_no_heavy_library_and_no_port() -> None:
    code = "import sys, groundstation.screens.app; print(*sys.modules)"
    loaded = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout.split()
    heavy = {"pandas", "scipy", "pyarrow", "bleak", "serial", "numpy", "sqlite3"}
    assert not heavy & set(loaded)
    assert not [
        name
        for name in loaded
        if name.startswith(("groundstation.sources", "groundstation.recording"))
    ]
