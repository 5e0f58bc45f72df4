"""The live screen, and the same screen for a replay.

Owns the keys and the rhythm: 20 times a second it looks at the desk and lets every panel draw its
part; in between, head and figures follow new frames. Rule: the desk is only read; what goes back to
it are the named requests mark, stand here, pause, step, seek and speed.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.timer import Timer

from groundstation.desk import Desk
from groundstation.radio.level import Limits
from groundstation.screens.base import SessionApp
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

FIGURES_HZ = 50.0
"""How often head and figures follow new frames, at most."""


class LiveApp(SessionApp):
    """Shows a desk until the user quits."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("m", "mark", "mark"),
        Binding("s", "stand_here", "I stand here"),
        Binding("d", "page('distance')", "distance"),
        Binding("b", "page('large')", "big figures"),
        Binding("u", "next_unit", "units"),
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
        self._foot = Foot()
        panels: tuple[Panel, ...] = (
            Top(), Waiting(), Figures(), Course(), Charts(), Details(), Pages(), Progress(),
            self._foot,
        )  # fmt: skip
        super().__init__(panels, theme=theme, on_start=on_start)
        self._desk = desk
        self._unit = speed_unit
        self._limits = limits or Limits()
        self._table = table or standard_table()
        self._page = Page.CHARTS
        self._following: Timer | None = None
        self._frames_drawn = self._frames_of_whole = 0
        self._swift_panels = tuple(panel for panel in panels if isinstance(panel, Top | Figures))

    def on_mount(self) -> None:
        """Let the figures follow."""
        self._following = self.set_interval(1 / FIGURES_HZ, self.redraw_figures, pause=True)

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
            self._foot.begin()

    def on_foot_time_chosen(self, message: Foot.TimeChosen) -> None:
        """Go to the time that was typed."""
        if (replay := self._desk.replay) is not None:
            replay.seek(replay.state.start_s + message.seconds)
            self.redraw()
