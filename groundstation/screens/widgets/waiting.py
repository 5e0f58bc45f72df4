"""The screen before the first good frame."""

from __future__ import annotations

from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.waiting import waiting
from groundstation.screens.view import Page, View
from groundstation.screens.widgets.panel import Panel


class Waiting(Panel):
    """What is waited for, in place of empty figures."""

    def lines(self, view: View) -> list[Line]:
        """Return why there is nothing yet."""
        plan = view.plan
        if not view.is_waiting or view.page not in (Page.CHARTS, Page.LARGE):
            return []
        return waiting(
            view.snapshot,
            title=view.title,
            is_replay=view.replay is not None,
            width=view.width,
            rows=plan.banner + plan.figures + plan.page,
        )
