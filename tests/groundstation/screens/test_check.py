"""The screen of the range check: pictures of every step, keys, and every size of terminal."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest
from rich.cells import cell_len
from textual import events
from textual.pilot import Pilot

from groundstation.screens.check import CheckApp
from groundstation.screens.drawing.glyphs import large
from groundstation.screens.widgets.panel import Panel
from tests.groundstation.screens.check_desks import FakeCheckDesk, check_scenes

Compare = Callable[..., bool]
Script = Callable[[Pilot[Exception]], Awaitable[None]]

SMALL, LARGE = (80, 24), (120, 40)
SIZES = [SMALL, LARGE, (200, 60), (79, 23), (60, 18), (40, 12), (20, 5), (8, 3), (1, 1)]


def shown(name: str, theme: str = "dark") -> CheckApp:
    return CheckApp(check_scenes()[name], theme=theme)


def text_of(app: CheckApp) -> str:
    return "\n".join(
        panel.render_line(y).text
        for panel in app.screen.query(Panel)
        if panel.display
        for y in range(panel.size.height)
    )


def play(app: CheckApp, script: Script, size: tuple[int, int] = SMALL) -> None:
    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await script(pilot)

    asyncio.run(run())


def read(
    desk: FakeCheckDesk, *keys: str, size: tuple[int, int] = SMALL, app: CheckApp | None = None
) -> str:
    texts: list[str] = []
    app = app or CheckApp(desk)

    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.press(*keys)
        await pilot.pause()
        texts.append(text_of(app))

    play(app, script, size)
    return texts[0]


@pytest.mark.parametrize("name", check_scenes())
def test_dark_80x24(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown(name), terminal_size=SMALL)


@pytest.mark.parametrize("name", check_scenes())
def test_sunlight_120x40(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown(name, "sunlight"), terminal_size=LARGE)


@pytest.mark.parametrize("name", ["sensors", "failsafe_active", "walk", "go", "hold"])
def test_sunlight_80x24(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown(name, "sunlight"), terminal_size=SMALL)


@pytest.mark.parametrize("name", ["sensors", "failsafe_active", "walk", "go", "hold"])
def test_dark_120x40(snap_compare: Compare, name: str) -> None:
    assert snap_compare(shown(name), terminal_size=LARGE)


def test_keys_page(snap_compare: Compare) -> None:
    assert snap_compare(shown("walk"), terminal_size=SMALL, press=["question_mark"])


@pytest.mark.parametrize("size", SIZES, ids=lambda size: f"{size[0]}x{size[1]}")
@pytest.mark.parametrize("name", check_scenes())
def test_every_scene_fills_every_screen_and_nothing_more(name: str, size: tuple[int, int]) -> None:
    rows = read(check_scenes()[name], size=size).split("\n")
    assert len(rows) == size[1]
    assert {cell_len(row) for row in rows} == {size[0]}
    assert all(row.isprintable() for row in rows)


def test_steps_are_told_by_mark_and_word() -> None:
    text = read(check_scenes()["walk"])
    for said in ("✓ 1 sensors at rest", "✓ 2 failsafe proof", "▶ 3 walk", "○ 4 verdict"):
        assert said in text
    assert "to do" in text
    assert "✗ 2 failsafe proof   HOLD" in read(check_scenes()["hold"])


def test_what_a_step_found_is_cut_after_a_clause() -> None:
    row = next(row for row in read(check_scenes()["failsafe"]).split("\n") if "sensors at" in row)
    assert row.rstrip().endswith("ok      gyro bias 0.3 deg/s; |accel| 1.01 g…")


def test_no_color_in_the_environment_leaves_no_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = shown("hold")

    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.press("t")
        await pilot.pause()
        panels = [panel for panel in app.screen.query(Panel) if panel.display]
        strips = [panel.render_line(y) for panel in panels for y in range(panel.size.height)]
        styles = [segment.style for strip in strips for segment in strip if segment.style]
        assert all(style.color is None and style.bgcolor is None for style in styles)
        verdict = [strip for strip in strips if any(s.style and s.style.reverse for s in strip)]
        assert len(verdict) == 5
        assert all(segment.style and segment.style.reverse for s in verdict for segment in s)

    play(app, script)


def test_the_instruction_and_its_caution_stand_together() -> None:
    text = read(check_scenes()["failsafe"])
    assert "Switch the transmitter off" in text
    assert "driven wheels free" in text
    assert "advice only" in text


def test_a_running_hold_is_in_the_bar_and_in_the_table() -> None:
    text = read(check_scenes()["walk"])
    assert "hold 3.2 of 5 s" in text
    assert "▶ -63.4" in text
    assert "turned 41 deg" in read(check_scenes()["turning"])


@pytest.mark.parametrize(("name", "scale"), [("go", 2), ("hold", 2)])
def test_the_verdict_is_large_and_says_why(name: str, scale: int) -> None:
    text = read(check_scenes()[name])
    assert all(row in text for row in large(name.upper(), scale))
    if name == "hold":
        assert "the throttle stayed at 10 %" in text
        assert "→ the failsafe setting of the receiver" in text
        assert "how the antennas lie" in text


def test_a_bound_is_written_as_one() -> None:
    text = read(check_scenes()["hostile"], size=LARGE)
    assert "≤-40.0" in text
    assert "mapped" in text
    assert "[red]x[/]" in text


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        (("n",), ["next"]),
        (("o", "o", "o"), ["off", "on", "off"]),
        (("f", "h", "v"), ["mark", "heading", "verdict"]),
        (("r", "1", "r", "2"), ["repeat sensors", "repeat failsafe"]),
        (("r", "x", "escape", "r", "3", "1", "2"), ["repeat walk"]),
        (("o", "r", "2", "o"), ["off", "repeat failsafe", "off"]),
        (("m", "2", "5", ".", "5", "enter"), ["mark 25.5"]),
        (("m", "2", "n", "backspace", "1", "0", "enter", "n"), ["mark 10", "next"]),
        (("m", "1", "escape", "h"), ["heading"]),
        (("m", "enter", "7", "enter"), ["mark 7"]),
    ],
)
def test_keys_say_plain_words(keys: tuple[str, ...], told: list[str]) -> None:
    desk = check_scenes()["walk"]
    read(desk, *keys)
    assert desk.told == told


def test_a_distance_is_typed_at_the_foot() -> None:
    assert "mark at 25▏ m" in read(check_scenes()["walk"], "m", "2", "5")
    assert "not a distance" in read(check_scenes()["walk"], "m", "enter")


def test_a_step_to_repeat_is_asked_for_at_the_foot() -> None:
    text = read(check_scenes()["walk"], "r")
    assert "repeat 1 sensors  2 failsafe  3 walk" in text
    assert "forgotten" in text


def test_keys_typed_at_once_belong_to_the_distance() -> None:
    desk = check_scenes()["walk"]
    app = CheckApp(desk)

    async def script(pilot: Pilot[Exception]) -> None:
        for key in ("m", "2", "0", "enter"):
            app.post_message(events.Key(key, key if len(key) == 1 else None))
        await pilot.pause()
        await pilot.pause()

    play(app, script)
    assert desk.told == ["mark 20"]


def test_s_says_where_the_driver_stands() -> None:
    desk = check_scenes()["sensors"]
    read(desk, "s")
    assert desk.stood == 1


def test_w_shows_the_table_in_place_of_the_verdict_and_back() -> None:
    table = read(check_scenes()["go"], "w")
    assert "80 m" in table
    assert "VERDICT  ✓ GO" in read(check_scenes()["go"], "w", "w")


def test_the_theme_changes() -> None:
    desk = check_scenes()["sensors"]
    app = CheckApp(desk)
    read(desk, "t", app=app)
    assert app._palette.name == "sunlight"


def test_without_colours(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = shown("hold")
    assert "✗ HOLD" in read(check_scenes()["hold"], "t", app=app)
    assert app._palette.name == "colourless"


def test_quitting_waits_for_the_session_and_an_error_is_returned() -> None:
    ended: list[str] = []

    async def session() -> None:
        try:
            await asyncio.Event().wait()
        finally:
            ended.append("kept")

    app = CheckApp(check_scenes()["walk"], on_start=session)

    async def quit_it(pilot: Pilot[Exception]) -> None:
        await pilot.press("q")

    play(app, quit_it)
    assert ended == ["kept"]

    async def failing() -> None:
        raise OSError("the port is gone")

    app = CheckApp(check_scenes()["walk"], on_start=failing)

    async def wait(pilot: Pilot[Exception]) -> None:
        await pilot.pause()

    play(app, wait)
    assert isinstance(app.return_value, OSError)
