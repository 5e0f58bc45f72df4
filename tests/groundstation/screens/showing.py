"""Running the screen inside a test, and reading what stands on it."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

from textual.pilot import Pilot
from textual.strip import Strip

from groundstation.screens.app import LiveApp
from groundstation.screens.widgets.panel import Panel
from groundstation.units import SpeedUnit
from tests.groundstation.screens.desks import FakeDesk

Script = Callable[[Pilot[Exception]], Awaitable[None]]


def shown_app(desk: FakeDesk, theme: str = "dark") -> LiveApp:
    """Return the screen of a desk."""
    return LiveApp(desk, speed_unit=SpeedUnit.KMH, theme=theme, on_start=None)


def play(app: LiveApp, script: Script, *, size: tuple[int, int] = (80, 24)) -> LiveApp:
    """Run the screen without a terminal, follow the script, and return the app."""

    async def run() -> None:
        async with app.run_test(size=size) as pilot:
            await pilot.pause()
            await script(pilot)

    asyncio.run(run())
    return app


def strips_of(app: LiveApp) -> list[Strip]:
    """Return the rows of the screen, top first."""
    return [
        panel.render_line(y)
        for panel in app.screen.query(Panel)
        if panel.display
        for y in range(panel.size.height)
    ]


def text_of(app: LiveApp) -> str:
    """Return the screen as plain text, without any colour or style."""
    return "\n".join(strip.text for strip in strips_of(app))


def read(desk: FakeDesk, *, size: tuple[int, int] = (80, 24), keys: tuple[str, ...] = ()) -> str:
    """Return the text of a desk's screen after some keys."""
    texts: list[str] = []

    async def script(pilot: Pilot[Exception]) -> None:
        await pilot.press(*keys)
        await pilot.pause()
        texts.append(text_of(app))

    app = shown_app(desk)
    play(app, script, size=size)
    return texts[0]
