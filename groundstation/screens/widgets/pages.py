"""Pages that take the place of charts and lists; the figures above them stay."""

from __future__ import annotations

from groundstation.screens.drawing.distance_chart import distance_chart
from groundstation.screens.drawing.ink import Ink, Line
from groundstation.screens.drawing.keys import keys_page
from groundstation.screens.drawing.own_channels import own_table
from groundstation.screens.drawing.text import blank, line
from groundstation.screens.view import Page, View
from groundstation.screens.widgets.panel import Panel


class Pages(Panel):
    """The builder's own channels, the margin over distance, or what every key does."""

    def lines(self, view: View) -> list[Line]:
        """Return the page that is open, if any."""
        plan, width = view.plan, view.width
        rows = plan.page + (plan.figures + plan.banner if view.is_waiting else 0)
        if view.page in (Page.CHARTS, Page.LARGE):
            return []
        if view.page is Page.KEYS:
            page = keys_page(is_replay=view.replay is not None, width=width, rows=rows)
        elif view.page is Page.DISTANCE:
            page = _distance_page(view, rows)
        else:
            page = own_table(view.snapshot, view.table, width=width, rows=rows)
        return page + [blank(width)] * (rows - len(page))


def _distance_page(view: View, rows: int) -> list[Line]:
    forecast = view.snapshot.forecast
    if forecast.distance_m is None:
        said = (" margin over distance: no distance known yet", Ink.TITLE)
        return [line(view.width, said, pad=Ink.TITLE)][:rows]
    return distance_chart(
        view.course.places(), forecast, limits=view.limits, width=view.width, rows=rows
    )
