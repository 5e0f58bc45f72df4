"""What all screens share: panels in a theme's colours, and the session that runs below them.

Rule of Textual: a message goes to the handler of every class, the derived one first, so none calls
its base's.
"""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from typing import ClassVar, Generic, TypeVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.worker import Worker, WorkerError

from groundstation.screens.palette import COLOURLESS, THEMES, Palette
from groundstation.screens.widgets.panel import Panel

REFRESH_HZ = 20.0

T = TypeVar("T")


class PanelApp(App[T], Generic[T]):
    """A stack of panels in a theme's colours."""

    CSS = "Screen { overflow: hidden; } Panel { width: 100%; }"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
    ALLOW_SELECT = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "quit", "quit"),
        Binding("ctrl+c", "quit", "quit", priority=True),
        Binding("t", "next_theme", "theme"),
    ]

    def __init__(self, panels: Sequence[Panel], *, theme: str) -> None:
        """Set the screen up.

        Args:
            panels: From top to bottom.
            theme: "dark" or "sunlight"; without colours where NO_COLOR is set.
        """
        # With the terminal's own colours a colourless palette stays colourless.
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self._panels = tuple(panels)
        self._palette = COLOURLESS if self.no_color else THEMES[theme]

    def compose(self) -> ComposeResult:
        """Stack the panels."""
        yield from self._panels

    def on_mount(self) -> None:
        """Take the theme's colours, and draw."""
        self._use_palette(self._palette)
        self.redraw()

    def on_resize(self) -> None:
        """Draw for the new size."""
        self.redraw()

    def redraw(self) -> None:
        """Draw everything as it is now."""

    def action_next_theme(self) -> None:
        """Change the colours, where there are any."""
        if not self.no_color:
            names = list(THEMES)
            self._use_palette(THEMES[names[(names.index(self._palette.name) + 1) % len(names)]])

    def _use_palette(self, palette: Palette) -> None:
        self._palette = palette
        if palette.ground is not None:
            self.screen.styles.background = palette.ground
        for panel in self._panels:
            panel.use_palette(palette)


class SessionApp(PanelApp[Exception]):
    """Looks at a desk while its session runs.

    `run` returns None, or the error with which the session's own work ended.
    """

    def __init__(
        self,
        panels: Sequence[Panel],
        *,
        theme: str,
        on_start: Callable[[], Awaitable[None]] | None,
    ) -> None:
        """Set the screen up.

        Args:
            panels: From top to bottom.
            theme: As for `PanelApp`.
            on_start: Runs the session; cancelled, and waited for, when the user quits.
        """
        super().__init__(panels, theme=theme)
        self._on_start = on_start
        self._session: Worker[None] | None = None

    def on_mount(self) -> None:
        """Draw from now on; start the session once the first picture is on its way."""
        self.set_interval(1 / REFRESH_HZ, self.redraw)
        self.call_after_refresh(self._start_session)

    async def on_unmount(self) -> None:
        """End the session before the program goes on: what it keeps is kept by then."""
        if self._session is not None:
            self._session.cancel()
            with suppress(WorkerError):
                await self._session.wait()

    def _start_session(self) -> None:
        if self._on_start is not None:
            self._session = self.run_worker(
                self._run_session(self._on_start), name="session", exit_on_error=False
            )

    async def _run_session(self, on_start: Callable[[], Awaitable[None]]) -> None:
        try:
            await on_start()
        except Exception as error:
            self.exit(error)
