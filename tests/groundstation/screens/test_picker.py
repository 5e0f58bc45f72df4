from __future__ import annotations

import asyncio
from collections.abc import Callable, Sequence

import pytest

from groundstation.screens.picker import Offer, PickerApp
from groundstation.screens.widgets.panel import Panel

Compare = Callable[..., bool]
HOSTILE = "[red]x[/]\x1b[31m\u202eevil " + "long " * 40
FOUND = [Offer("serial:/dev/ttyUSB0", "USB adapter"), Offer("ble:AA:BB", "Sandpiper, -61 dBm")]
SCENES = {
    "found": (FOUND[:1], FOUND[1:], ""),
    "nothing": ([], [], "no car advertises over Bluetooth LE"),
    "hostile": ([Offer(HOSTILE, HOSTILE)], [], HOSTILE),
}


def picker(name: str) -> PickerApp:
    at_once, later, said = SCENES[name]

    async def look() -> tuple[Sequence[Offer], str]:
        return later, said

    return PickerApp(lambda: at_once, look)


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("name", SCENES)
def test_pictures(snap_compare: Compare, name: str, size: tuple[int, int]) -> None:
    assert snap_compare(picker(name), terminal_size=size)


def test_sunlight(snap_compare: Compare) -> None:
    assert snap_compare(picker("found"), terminal_size=(80, 24), press=["t"])


@pytest.mark.parametrize(
    ("name", "keys", "chosen"),
    [
        ("found", ["enter"], "serial:/dev/ttyUSB0"),
        ("found", ["down", "enter"], "ble:AA:BB"),
        ("found", ["t", "r", "down", "enter"], "ble:AA:BB"),
        ("nothing", ["enter", "q"], None),
        ("found", ["escape"], None),
        ("hostile", ["enter"], HOSTILE),
    ],
)
def test_what_is_chosen_is_returned(name: str, keys: list[str], chosen: str | None) -> None:
    app = picker(name)

    async def work() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.pause()
            for key in keys:
                await pilot.press(key)
                await pilot.pause()

    asyncio.run(work())
    assert app.return_value == chosen


def test_without_colours_the_chosen_row_is_still_marked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    app = picker("found")
    rows: list[tuple[str, bool]] = []

    async def work() -> None:
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("t", "down")
            await pilot.pause()
            (panel,) = app.screen.query(Panel)
            for y in range(panel.size.height):
                strip = panel.render_line(y)
                styles = [segment.style for segment in strip if segment.style]
                assert all(style.color is None and style.bgcolor is None for style in styles)
                rows.append((strip.text, any(style.reverse for style in styles)))

    asyncio.run(work())
    assert [text.split()[:2] for text, reverse in rows if reverse] == [["▶", "ble:AA:BB"]]
