"""The strip charts."""

from __future__ import annotations

from groundstation.screens.drawing.charts import charts
from groundstation.screens.drawing.ink import Line
from groundstation.screens.view import Page, View
from groundstation.screens.widgets.panel import Panel


class Charts(Panel):
    """The last half minute or more of speed, margin, yaw rate and accelerations.

    A column covers a second, so every other redrawing is enough, and none while time stands still.
    """

    def __init__(self) -> None:
        super().__init__()
        self._drawn_for: tuple[object, ...] = ()
        self._drawn_at_s = -1.0
        self._rests = False

    def draw(self, view: View) -> None:
        """Draw anew where anything but the time has changed, else every other time."""
        wanted = (view.width, view.plan, view.unit, view.page, view.is_waiting)
        if wanted == self._drawn_for:
            self._rests = not self._rests
            if self._rests or view.snapshot.at_s == self._drawn_at_s:
                return
        self._drawn_for, self._drawn_at_s = wanted, view.snapshot.at_s
        super().draw(view)

    def lines(self, view: View) -> list[Line]:
        """Return the newest columns of all charts."""
        if view.is_waiting or view.page is not Page.CHARTS:
            return []
        full_scale = (view.snapshot.channels or {}).get("accel_full_scale_g")
        value = full_scale.value if full_scale else None
        forecast = view.snapshot.forecast
        return charts(
            view.traces,
            unit=view.unit,
            limits=view.limits,
            # How the sensors are set does not go stale.
            full_scale_g=value if isinstance(value, (int, float)) else None,
            width=view.width,
            rows=view.plan.charts,
            wide=view.plan.wide,
            course=None if forecast.distance_m is None else (view.course, forecast),
        )
