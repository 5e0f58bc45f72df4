"""The baseline of the screen benchmark: the live screen with `textual-plotext` for its charts."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual_plotext import PlotextPlot

from groundstation.screens.app import LiveApp
from groundstation.screens.palette import Palette
from groundstation.screens.view import View
from groundstation.screens.widgets.charts import Charts
from groundstation.vehicle.traces import CHARTED

WINDOW_S = 51.0
POINTS = {"speed_mps": 51, "margin_db": 51}


class PlotextCharts(Horizontal):
    """The same five charts of the same columns, drawn every second time too."""

    def __init__(self) -> None:
        super().__init__()
        self._plots = {channel: PlotextPlot() for channel in CHARTED}
        self._rests = False

    def compose(self) -> ComposeResult:
        with Vertical():
            yield self._plots["speed_mps"]
            yield self._plots["margin_db"]
        with Vertical():
            yield self._plots["yaw_rate_dps"]
            yield self._plots["accel_y_g"]
            yield self._plots["accel_z_g"]

    def use_palette(self, palette: Palette) -> None:
        """Keep the plotting library's own colours."""

    def draw(self, view: View) -> None:
        self.styles.height = view.plan.charts
        self._rests = not self._rests
        if self._rests:
            return
        for channel, plot in self._plots.items():
            count = POINTS.get(channel, 102)
            spans = view.traces.columns(channel, seconds=WINDOW_S, count=count)
            at = [place for place, span in enumerate(spans) if span]
            high = [span[1] for span in spans if span]
            plot.plt.clear_data()
            if channel in POINTS:
                plot.plt.plot(at, high, marker="hd", fillx=True)
            else:
                plot.plt.plot(at, high, marker="braille")
                plot.plt.plot(at, [span[0] for span in spans if span], marker="braille")
            plot.refresh()


class PlotextApp(LiveApp):
    """The live screen in which only the charts are others."""

    def on_load(self) -> None:
        self._panels = tuple(  # type: ignore[assignment]
            PlotextCharts() if isinstance(panel, Charts) else panel for panel in self._panels
        )
