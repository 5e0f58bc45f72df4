"""The lists under the charts: both links, a builder's own channels, what happened."""

from __future__ import annotations

from groundstation.screens.drawing.happenings import happenings
from groundstation.screens.drawing.ink import Line
from groundstation.screens.drawing.links import (
    control_panel,
    control_row,
    telemetry_panel,
    telemetry_row,
)
from groundstation.screens.drawing.own_channels import own_channels, own_table
from groundstation.screens.drawing.text import beside
from groundstation.screens.view import Page, View
from groundstation.screens.widgets.panel import Panel

CONTROL_CELLS, TELEMETRY_CELLS = 34, 32
NARROW_CONTROL_CELLS, OWN_CELLS = 26, 26
"""Where a builder's own channels want a place too."""


class Details(Panel):
    """Two rows and the newest events, or lists side by side where there is room."""

    def lines(self, view: View) -> list[Line]:
        """Return the lists as they are now."""
        rows = view.plan.details
        if view.is_waiting or view.page is not Page.CHARTS:
            return []
        return _side_by_side(view, rows) if view.plan.wide else _stacked(view, rows)


def _stacked(view: View, rows: int) -> list[Line]:
    width, snapshot = view.width, view.snapshot
    links = [control_row(snapshot, width), telemetry_row(snapshot, width)][:rows]
    left = rows - len(links)
    return links + happenings(view.events, unit=view.unit, width=width, rows=left)


def _side_by_side(view: View, rows: int) -> list[Line]:
    snapshot = view.snapshot
    has_own = bool(own_channels(snapshot))
    control_cells = NARROW_CONTROL_CELLS if has_own else CONTROL_CELLS
    blocks = [
        (control_cells, control_panel(snapshot, control_cells)[:rows]),
        (TELEMETRY_CELLS, telemetry_panel(snapshot, TELEMETRY_CELLS)[:rows]),
    ]
    if has_own:
        own = own_table(snapshot, view.table, width=OWN_CELLS, rows=rows)
        blocks.append((OWN_CELLS, own))
    left = view.width - sum(cells for cells, _ in blocks)
    listed = happenings(view.events, unit=view.unit, width=left, rows=rows, titled=True)
    return beside(*blocks, (left, listed))
