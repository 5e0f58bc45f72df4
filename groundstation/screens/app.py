"""The live screen, and the same screen for a replay.

Owns the keys and the rhythm: 20 times a second it looks at the desk and lets every panel draw its
part; in between, head and figures follow new frames. Rule: the desk is only read; what goes back to
it are the named requests mark, stand here, pause, step, seek and speed.
"""

from __future__ import annotations

import os
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from typing import ClassVar

from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.timer import Timer
from textual.worker import Worker, WorkerError

from groundstation.desk import Desk
from groundstation.radio.level import Limits
from groundstation.screens.palette import COLOURLESS, THEMES, Palette
from groundstation.screens.replay_requests import REQUESTS
from groundstation.screens.view import Page, look
from groundstation.screens.widgets.charts import Charts
from groundstation.screens.widgets.course import Course
from groundstation.screens.widgets.details import Details
from groundstation.screens.widgets.figures import Figures
from groundstation.screens.widgets.foot import Foot
from groundstation.screens.widgets.pages import Pages
from groundstation.screens.widgets.panel import Panel
from groundstation.screens.widgets.progress import Progress
from groundstation.screens.widgets.top import Top
from groundstation.screens.widgets.waiting import Waiting
from groundstation.units import SpeedUnit
from protocol import Table, standard_table

REFRESH_HZ = 20.0
FIGURES_HZ = 50.0
"""How often head and figures follow new frames, at most."""


class LiveApp(App[Exception]):
    """Shows a desk until the user quits.

    `run` returns None, or the error with which the session's own work ended.
    """

    CSS = "Screen { overflow: hidden; } Panel { width: 100%; }"
    ENABLE_COMMAND_PALETTE = False
    AUTO_FOCUS = None
    ALLOW_SELECT = False
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q", "quit", "quit"),
        Binding("ctrl+c", "quit", "quit", priority=True),
        Binding("m", "mark", "mark"),
        Binding("s", "stand_here", "I stand here"),
        Binding("d", "page('distance')", "distance"),
        Binding("b", "page('large')", "big figures"),
        Binding("u", "next_unit", "units"),
        Binding("t", "next_theme", "theme"),
        Binding("c", "page('channels')", "channels"),
        Binding("question_mark", "page('keys')", "keys"),
        Binding("escape", "page('charts')", "charts"),
        Binding("space", "replay('toggle_pause')", "pause"),
        Binding("left", "replay('skip_back')", "back"),
        Binding("right", "replay('skip_forward')", "forward"),
        Binding("comma", "replay('step_back')", "step back"),
        Binding("full_stop", "replay('step_forward')", "step"),
        Binding("left_square_bracket", "replay('slower')", "slower"),
        Binding("right_square_bracket", "replay('faster')", "faster"),
        Binding("n", "replay('next_bookmark')", "next"),
        Binding("p", "replay('previous_bookmark')", "previous"),
        Binding("g", "go_to", "go to"),
    ]

    def __init__(
        self,
        desk: Desk,
        *,
        speed_unit: SpeedUnit = SpeedUnit.KMH,
        theme: str = "dark",
        on_start: Callable[[], Awaitable[None]] | None = None,
        limits: Limits | None = None,
        table: Table | None = None,
    ) -> None:
        """Set the screen up.

        Args:
            desk: What is watched.
            speed_unit: How speed is shown at first.
            theme: "dark" or "sunlight"; without colours where NO_COLOR is set.
            on_start: Runs the session; cancelled, and waited for, when the user quits.
            limits: Of the margin, drawn as lines in its chart.
            table: Gives a builder's own channels their labels.
        """
        # With the terminal's own colours a colourless palette stays colourless.
        super().__init__(ansi_color=True if "NO_COLOR" in os.environ else None)
        self._desk = desk
        self._unit = speed_unit
        self._palette = COLOURLESS if self.no_color else THEMES[theme]
        self._on_start = on_start
        self._limits = limits or Limits()
        self._table = table or standard_table()
        self._page = Page.CHARTS
        self._session: Worker[None] | None = None
        self._foot = Foot()
        self._following: Timer | None = None
        self._frames_drawn = self._frames_of_whole = 0
        self._panels: tuple[Panel, ...] = (
            Top(), Waiting(), Figures(), Course(), Charts(), Details(), Pages(), Progress(),
            self._foot,
        )  # fmt: skip
        self._swift_panels = tuple(
            panel for panel in self._panels if isinstance(panel, Top | Figures)
        )

    def compose(self) -> ComposeResult:
        """Stack the panels."""
        yield from self._panels

    def on_mount(self) -> None:
        """Begin to draw; start the session once the first picture is on its way."""
        self._use_palette(self._palette)
        self.redraw()
        self.set_interval(1 / REFRESH_HZ, self.redraw)
        self._following = self.set_interval(1 / FIGURES_HZ, self.redraw_figures, pause=True)
        self.call_after_refresh(self._start_session)

    async def on_unmount(self) -> None:
        """End the session before the program goes on: a recording is closed by then."""
        if self._session is not None:
            self._session.cancel()
            with suppress(WorkerError):
                await self._session.wait()

    def on_resize(self) -> None:
        """Share the rows out anew."""
        self.redraw()

    def redraw(self) -> None:
        """Look at the desk once and let every panel draw its part."""
        before = self._frames_of_whole
        self._draw(self._panels)
        self._frames_of_whole = self._frames_drawn
        if self._following is not None:
            # While nothing comes, nothing wakes between two drawings of the whole.
            if self._frames_drawn == before:
                self._following.pause()
            else:
                self._following.resume()

    def redraw_figures(self) -> None:
        """Let head and figures follow, between two drawings of the whole, what has come since."""
        if self._desk.snapshot.telemetry.frames != self._frames_drawn:
            self._draw(self._swift_panels)

    def _draw(self, panels: Sequence[Panel]) -> None:
        if not self.is_mounted(self._foot):
            return
        view = look(
            self._desk,
            unit=self._unit,
            limits=self._limits,
            table=self._table,
            page=self._page,
            width=self.size.width,
            height=self.size.height,
        )
        self._frames_drawn = view.snapshot.telemetry.frames
        for panel in panels:
            panel.draw(view)

    def action_mark(self) -> None:
        """Mark this moment."""
        self._desk.mark()

    def action_stand_here(self) -> None:
        """Tell that the driver stands where the car is now."""
        self._desk.stand_here()
        self.redraw()

    def action_next_unit(self) -> None:
        """Show speed in the next unit."""
        units = list(SpeedUnit)
        self._unit = units[(units.index(self._unit) + 1) % len(units)]
        self.redraw()

    def action_next_theme(self) -> None:
        """Change the colours, where there are any."""
        if not self.no_color:
            names = list(THEMES)
            name = names[(names.index(self._palette.name) + 1) % len(names)]
            self._use_palette(THEMES[name])

    def action_page(self, page: str) -> None:
        """Open a page below the figures, or close it where it is open."""
        self._page = Page.CHARTS if page == self._page else Page(page)
        self.redraw()

    def action_replay(self, request: str) -> None:
        """Ask something of the replay; a live session has none to ask."""
        if (replay := self._desk.replay) is not None:
            REQUESTS[request](replay)
            self.redraw()

    def action_go_to(self) -> None:
        """Ask for a time to go to."""
        if self._desk.replay is not None:
            self._foot.ask()

    def on_foot_time_chosen(self, message: Foot.TimeChosen) -> None:
        """Go to the time that was typed."""
        if (replay := self._desk.replay) is not None:
            replay.seek(replay.state.start_s + message.seconds)
            self.redraw()

    def _use_palette(self, palette: Palette) -> None:
        self._palette = palette
        if palette.ground is not None:
            self.screen.styles.background = palette.ground
        for panel in self._panels:
            panel.use_palette(palette)

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
