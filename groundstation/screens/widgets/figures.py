"""The large figures."""

from __future__ import annotations

from groundstation.screens.drawing.figures import figures
from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.large_figures import large_figures
from groundstation.screens.view import Page, View
from groundstation.screens.widgets.panel import Panel


class Figures(Panel):
    """Speed, margin and level; under them, or not where those are large, yaw and accelerations."""

    def lines(self, view: View) -> list[Line]:
        """Return the newest figures."""
        plan = view.plan
        if view.is_waiting or not plan.figures:
            return []
        if view.page is Page.LARGE:
            return large_figures(view.snapshot, unit=view.unit, width=view.width, rows=plan.figures)
        return figures(
            view.snapshot,
            unit=view.unit,
            width=view.width,
            scale=plan.scale,
            lower_scale=plan.lower_scale,
        )
